"""A scene, a seed and a trial number to one Recording."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from posefuse.build_errors.draw import AsBuilt
from posefuse.checks import BoolArray, FloatArray, IntArray, locked
from posefuse.geometry.plane import PlanePose
from posefuse.motion.wheels import OdometryRows
from posefuse.randomness.streams import stream, stream_key
from posefuse.recording.recording import (
    Frames,
    Odometry,
    Recording,
    Shots,
    SightingKind,
    Sightings,
    StartPose,
    Truth,
)
from posefuse.sensing.frames import arrivals, lost_in_outages, outages
from posefuse.sensing.mistakes import mistaken
from posefuse.sensing.sightings import sense
from posefuse.sensing.views import TagViews
from posefuse.simulation.built import BuiltScene, build
from posefuse.simulation.compiled.gathering import add_information, count_kept, gather_kept
from posefuse.simulation.scene import Scene, SightingSource

__all__ = ["SimulatedTrial", "simulate", "simulate_trial", "true_corners"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimulatedTrial:
    """A recording, with what only a simulator can know of it.

    Parameters
    ----------
    step_covs : (rows, 3, 3) array
        Covariance of the white part of each odometry row's error.
    frame_order : (frames,) ints
        The scene's frame behind each of the recording's frames.
    is_found : (candidates,) bools
        Which of the scene's candidate sightings the detectors found.
    """

    recording: Recording
    scene: Scene
    step_covs: FloatArray
    frame_order: IntArray
    is_found: BoolArray

    def candidate_of_sighting(self) -> IntArray:
        """The scene's candidate behind each of the recording's sightings, (S,)."""
        firsts = self.scene.first_sighting
        counts = firsts[self.frame_order + 1] - firsts[self.frame_order]
        ends = np.cumsum(counts)
        shift = np.repeat(firsts[self.frame_order] - (ends - counts), counts)
        candidates = np.arange(len(shift)) + shift
        found: IntArray = candidates[self.is_found[candidates]]
        return found

    def frame_information(self) -> FloatArray:
        """Fisher information (frames, 3, 3) about the true pose in each frame recorded."""
        summed = np.zeros((len(self.frame_order), 3, 3))
        scene = self.scene
        add_information(
            self.frame_order, scene.first_sighting, self.is_found, scene.information, summed
        )
        return locked(summed)


def simulate(scene: Scene, *, seed: int, trial: int, workers: int = 1) -> Recording:
    """What this trial's run leaves behind.

    Rival scenes run with the same seed and trial share the wheels' noise, the start, the tags'
    survey errors, and the errors and noise of mounts that bear the same name.

    Parameters
    ----------
    workers
        Threads that render images, where the scene's sightings come from them; the result does
        not depend on their number.
    """
    return simulate_trial(scene, seed=seed, trial=trial, workers=workers).recording


def simulate_trial(
    scene: Scene, *, seed: int, trial: int, workers: int = 1, as_built: AsBuilt | None = None
) -> SimulatedTrial:
    """The same, with what only a simulator can know.

    Parameters
    ----------
    as_built
        The build; drawn from the scene's spreads when not given.
    """
    built = build(scene, seed=seed, trial=trial, as_built=as_built)
    rows = scene.wheels.rows(seed=seed, trial=trial, constants=built.errors.odometry)
    captured_at_s, arrived_at_s, is_dropped = _stamps(built)
    order = np.argsort(captured_at_s, kind="stable")
    order = order[~is_dropped[order]]
    sightings, is_found = _sightings(built, order, workers)
    recording = Recording(
        name=f"{scene.rig.name}, {scene.course.name}, seed {seed}, trial {trial}",
        sensor_names=scene.rig.sensor_names,
        odometry=Odometry(stamps_s=rows.stamps_s, twists=rows.twists),
        frames=Frames(
            sensor=locked(scene.views.camera[order]),
            captured_at_s=locked(captured_at_s[order]),
            arrived_at_s=locked(arrived_at_s[order]),
        ),
        sightings=sightings,
        start=_start(scene, rows, seed, trial),
        truth=Truth(stamps_s=rows.stamps_s, poses=rows.true_poses),
        shots=Shots(
            stamps_s=np.array([shot.at_s for shot in scene.course.shots]),
            goals=tuple(shot.goal for shot in scene.course.shots),
        ),
        dropped_frame_count=int(is_dropped.sum()),
    )
    return SimulatedTrial(
        recording=recording,
        scene=scene,
        step_covs=rows.step_covs,
        frame_order=order,
        is_found=is_found,
    )


def _sightings(built: BuiltScene, order: IntArray, workers: int) -> tuple[Sightings, BoolArray]:
    """What was found in the frames that arrived, and which of the candidates that is."""
    if built.scene.sightings is SightingSource.IMAGES:
        # OpenCV is loaded for those alone who need it
        from posefuse.simulation.images import sightings_in_images

        return sightings_in_images(built, order, workers=workers)
    scene = built.scene
    ids, corners_px, is_found = mistaken(
        scene.views,
        *_drawn_corners(built, scene.views),
        mounts=scene.rig.mounts,
        tags=scene.arena.tags,
        keys=_mount_keys(built, "mistakes"),
    )
    return _arrived(scene, order, ids, is_found, corners_px), is_found


def _mount_keys(built: BuiltScene, source: str) -> NDArray[np.uint64]:
    """The key of each mount's random numbers of one source, (mounts,)."""
    names = [f"{source}: {mount.name}" for mount in built.scene.rig.mounts]
    return np.array([stream_key(built.seed, built.trial, name) for name in names])


def _arrived(
    scene: Scene, order: IntArray, ids_read: IntArray, is_found: BoolArray, corners_px: FloatArray
) -> Sightings:
    """The sightings that were found in the frames that arrived, in their order."""
    count = count_kept(order, scene.first_sighting, is_found)
    frame, ids = np.empty(count, dtype=np.int64), np.empty(count, dtype=np.int64)
    values = np.empty((count, 8))
    gather_kept(
        order,
        scene.first_sighting,
        is_found,
        ids_read,
        corners_px,
        (frame, ids, values),
    )
    return Sightings(
        kind=SightingKind.CORNERS, frame=locked(frame), id=locked(ids), values=locked(values)
    )


def true_corners(built: BuiltScene) -> tuple[FloatArray, BoolArray]:
    """Where the corners (candidates, 4, 2) of all the scene's candidates truly are, in px.

    And which candidates lie whole in their image; the corners of the others are nan.
    """
    views = built.scene.views
    certain = replace(views, found_probability=np.ones(views.sighting_count))
    return _drawn_corners(built, certain, noise_scale=0.0)


def _drawn_corners(
    built: BuiltScene, views: TagViews, *, noise_scale: float = 1.0
) -> tuple[FloatArray, BoolArray]:
    """Corners of the candidates in views, drawn from the response, and which are found."""
    return sense(
        views,
        corners_in_world_m=built.tag_corners_in_world_m,
        robot_from_camera=built.level_from_camera,
        lens_rows=built.lens_rows,
        keys=_mount_keys(built, "corners"),
        noise_scale=noise_scale,
    )


def _stamps(built: BuiltScene) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Capture as stamped, arrival, and whether the frame was lost, for all frames."""
    scene, views = built.scene, built.scene.views
    arrived_at_s = np.zeros(len(views.camera))
    is_dropped = np.zeros(len(views.camera), dtype=np.bool_)
    for index, mount in enumerate(scene.rig.mounts):
        mine = scene.frames_of_mount[index]
        arrived_at_s[mine], is_dropped[mine] = arrivals(
            views.captured_at_s[mine],
            mount.camera.timing,
            stream_key(built.seed, built.trial, f"arrivals: {mount.name}"),
        )
        spans_s = outages(
            mount.camera.timing,
            stream(built.seed, built.trial, f"outages: {mount.name}"),
            start_s=scene.course.path.start_s,
            end_s=scene.course.path.end_s,
        )
        is_dropped[mine] |= lost_in_outages(views.captured_at_s[mine], arrived_at_s[mine], spans_s)
    captured_at_s = views.captured_at_s + built.errors["clock_offset_s"][views.camera, 0]
    return captured_at_s, arrived_at_s, is_dropped


def _start(scene: Scene, rows: OdometryRows, seed: int, trial: int) -> StartPose | None:
    """The true first pose, off by a draw from its stated spread."""
    if scene.start_std is None:
        return None
    off = scene.start_std * stream(seed, trial, "start").standard_normal(3)
    return StartPose(
        world_from_robot=PlanePose(rows.true_poses[0] + off), cov=np.diag(scene.start_std**2)
    )
