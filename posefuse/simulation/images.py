"""What the cameras of one trial see, as images, and the tags the detector finds in them."""

import math

import numpy as np

from posefuse.checks import BoolArray, FloatArray, IntArray, locked
from posefuse.geometry.space import SpacePose
from posefuse.motion.lean import lean_angles_rad
from posefuse.randomness.streams import stream_key
from posefuse.recording.recording import SightingKind, Sightings
from posefuse.rendering.camera_view import camera_view
from posefuse.rendering.detect import Detections, DetectorSettings, detect_tags
from posefuse.rendering.render import CameraMotion, FrameNoise, GreyImage, render
from posefuse.rendering.surroundings import Surroundings
from posefuse.robot.rig import Mount
from posefuse.simulation.built import BuiltScene
from posefuse.simulation.scene import robot_boxes, world_boxes
from posefuse.threads import side_by_side

__all__ = ["TrialImages", "sightings_in_images"]

_NODE_RAD = 0.005
"""Between two poses of a moving camera it turns by no more than about this."""


class TrialImages:
    """The images of one trial, each rendered when it is asked for; frames as in the scene."""

    def __init__(self, built: BuiltScene) -> None:
        self._built = built
        scene = built.scene
        captured_at_s = scene.views.captured_at_s
        self._surroundings = Surroundings.from_arena(
            scene.arena,
            boxes=world_boxes(scene.arena, scene.course, captured_at_s),
            robot_boxes=robot_boxes(scene.rig, scene.course, captured_at_s),
            tag_corners_in_world_m=built.tag_corners_in_world_m,
        )
        self._views = [
            camera_view(lens, mount.camera.sensor)
            for mount, lens in zip(scene.rig.mounts, built.lenses, strict=True)
        ]
        self._keys = [
            stream_key(built.seed, built.trial, f"image noise: {mount.name}")
            for mount in scene.rig.mounts
        ]
        self._known = {(tag.family, tag.id) for tag in scene.arena.tags}
        self._families = tuple(dict.fromkeys(tag.family for tag in scene.arena.tags))

    def image(self, frame: int) -> GreyImage:
        """What the camera of that frame hands to the detector."""
        views = self._built.scene.views
        mount = self._mount(frame)
        return render(
            self._surroundings,
            view=self._views[views.camera[frame]],
            motion=self._motion(frame, mount),
            exposure_s=mount.camera.timing.exposure_s,
            quality=mount.camera.image,
            noise=FrameNoise(key=self._keys[views.camera[frame]], frame=int(views.number[frame])),
            row=frame,
        )

    def detect(self, frame: int, image: GreyImage) -> Detections:
        """The arena's tags that the detector finds in that frame's image.

        Ids that hang nowhere in the arena are left out: a robot's program knows no place for them.
        """
        refinement = self._mount(frame).camera.detector.refinement
        seen = detect_tags(
            image, families=self._families, settings=DetectorSettings(refinement=refinement)
        )
        names = zip(seen.families, seen.ids.tolist(), strict=True)
        known = [place for place, name in enumerate(names) if name in self._known]
        return Detections(
            families=tuple(seen.families[place] for place in known),
            ids=seen.ids[known],
            corners_px=seen.corners_px[known],
            unfitted=tuple(name for name in seen.unfitted if name in self._known),
        )

    def _mount(self, frame: int) -> Mount:
        scene = self._built.scene
        return scene.rig.mounts[int(scene.views.camera[frame])]

    def _motion(self, frame: int, mount: Mount) -> CameraMotion:
        """Where the camera truly is while the frame's rows are exposed."""
        built, sensor = self._built, mount.camera.sensor
        scene = built.scene
        path, captured_at_s = scene.course.path, float(scene.views.captured_at_s[frame])
        span_s = mount.camera.timing.exposure_s + sensor.row_time_s * (sensor.height_px - 1)
        turn = abs(float(path.velocities(captured_at_s)[2])) * span_s
        count = 1 if span_s == 0.0 else 2 + math.ceil(turn / _NODE_RAD)
        instants = np.linspace(-0.5, 0.5, count) * span_s if count > 1 else np.zeros(1)
        at_s = np.clip(captured_at_s + instants, path.start_s, path.end_s)
        pose = path.poses(at_s)
        lean = lean_angles_rad(
            path.accelerations(at_s)[:, :2],
            heading_rad=pose.heading_rad,
            lean_rad_per_m_per_s2=scene.rig.body.lean_rad_per_m_per_s2,
        )
        world_from_level = SpacePose.from_plane(pose, lean_rad=lean)
        return CameraMotion(
            instants_s=instants,
            world_from_camera=built.world_from_camera(frame, world_from_level),
            robot_from_camera=built.camera_on_chassis(frame),
        )


def sightings_in_images(
    built: BuiltScene, order: IntArray, *, workers: int = 1
) -> tuple[Sightings, BoolArray]:
    """Renders the frames of the scene that arrived, in their order, and runs the detector on them.

    Parameters
    ----------
    workers
        Threads.

    Returns
    -------
    sightings
        Their frames are places in ``order``.
    is_found : (candidates,) bools
        Which of the scene's candidate sightings are among them. (The detector also finds a few
        tags that the scene holds for none: seen from further aside than the camera file allows.)
    """
    scene, images = built.scene, TrialImages(built)
    candidates = {
        (frame, int(scene.views.tags.ids[tag])): place
        for place, (frame, tag) in enumerate(
            zip(scene.views.frame.tolist(), scene.views.tag.tolist(), strict=True)
        )
    }
    is_found = np.zeros(scene.views.sighting_count, dtype=np.bool_)
    places: list[int] = []
    ids: list[int] = []
    corners: list[FloatArray] = []
    frames = order.tolist()
    with side_by_side(workers) as pool:
        found = pool.map(lambda frame: images.detect(frame, images.image(frame)), frames)
        for place, (frame, seen) in enumerate(zip(frames, found, strict=True)):
            for id, own in zip(seen.ids.tolist(), seen.corners_px, strict=True):
                places.append(place)
                ids.append(id)
                corners.append(own.ravel())
                if (frame, id) in candidates:
                    is_found[candidates[frame, id]] = True
    sightings = Sightings(
        kind=SightingKind.CORNERS,
        frame=np.array(places, dtype=np.int64),
        id=np.array(ids, dtype=np.int64),
        values=np.array(corners, dtype=np.float64).reshape(-1, 8),
    )
    return sightings, locked(is_found)
