"""Which tags each frame can see: known once the rig and the course are, before any noise."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from posefuse.arena.arena import Tag
from posefuse.checks import BoolArray, FloatArray, IntArray, frozen_array, frozen_ints, locked
from posefuse.errors import InputError
from posefuse.robot.rig import Mount
from posefuse.sensing.arrays import (
    CameraArrays,
    FrameArrays,
    MarginArrays,
    RobotBoxes,
    SightingArrays,
    TagArrays,
    WorldBoxes,
    camera_arrays,
    tag_arrays,
)
from posefuse.sensing.compiled.visibility import describe_views, mark_views
from posefuse.sensing.detector_law import DetectorResponse, detector_response
from posefuse.sensing.frames import CapturedFrames

__all__ = ["TagViews", "still_views", "tag_views", "visible_tags"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TagViews:
    """The frames of one course and every tag sighting they can give, sorted by frame, then tag.

    All arrays are read-only.

    Parameters
    ----------
    camera, number, captured_at_s : (F,) arrays
        Of each frame: index of its mount, its number within that camera, true capture instant.
    mount_state : (F,) ints
        Which pose of ``cameras`` each frame is taken from: its mount's as designed or, once the
        mount has been knocked, one of those after them.
    rotation, translation_m : (F, 3, 3), (F, 3) arrays
        ``world_from_robot`` at the capture, lean included.
    robot_twist, robot_acceleration : (F, 6) arrays
        See ``CapturedFrames``.
    frame, tag : (S,) ints
        Of each sighting: index of its frame, index of its tag.
    edge_px
        Root of the area of the tag's image.
    velocity_px_per_s : (S, 2) array
        How fast the tag's centre crosses the image.
    blur_px
        Length of that motion over the exposure.
    std_px .. found_probability
        The detector's response, (S,) and of the shift (S, 2): see ``DetectorResponse``.
    """

    cameras: CameraArrays
    tags: TagArrays
    camera: IntArray
    number: IntArray
    captured_at_s: FloatArray
    mount_state: IntArray
    rotation: FloatArray
    translation_m: FloatArray
    robot_twist: FloatArray
    robot_acceleration: FloatArray
    frame: IntArray
    tag: IntArray
    distance_m: FloatArray
    cos_incidence: FloatArray
    edge_px: FloatArray
    velocity_px_per_s: FloatArray
    blur_px: FloatArray
    std_px: FloatArray
    shared_fraction: FloatArray
    persistent_fraction: FloatArray
    inward_px: FloatArray
    narrowing_px: FloatArray
    shift_px: FloatArray
    found_probability: FloatArray

    @property
    def frame_count(self) -> int:
        """Number of frames."""
        return len(self.camera)

    @property
    def sighting_count(self) -> int:
        """Number of sightings, found or not."""
        return len(self.frame)

    @property
    def frame_arrays(self) -> FrameArrays:
        """The frames as kernels take them."""
        return FrameArrays(
            camera=self.camera,
            number=self.number,
            state=self.mount_state,
            rotation=self.rotation,
            translation_m=self.translation_m,
            twist=self.robot_twist,
            acceleration=self.robot_acceleration,
        )

    @property
    def sighting_arrays(self) -> SightingArrays:
        """The sightings as kernels take them."""
        return SightingArrays(**{name: getattr(self, name) for name in SightingArrays._fields})


def tag_views(
    frames: CapturedFrames,
    mounts: Sequence[Mount],
    tags: Sequence[Tag],
    boxes: WorldBoxes,
    robot_boxes: RobotBoxes,
    *,
    margin: MarginArrays | None = None,
    knocked: Sequence[Mount] = (),
    mount_state: IntArray | None = None,
) -> TagViews:
    """Every sighting of a tag that the frames can give, with how large, far, oblique and blurred.

    A tag can be seen when it faces the camera within ``most_incidence_rad``, its four corners lie
    in the image, its edge is at least ``least_edge_px``, and no box hides a corner or the centre.

    Parameters
    ----------
    margin
        How far corners may lie outside the image, so that a camera that is built a little off
        still has its sightings among them; ``None``: not at all.
    knocked
        Mounts as knocks leave them.
    mount_state : (F,) ints
        Which of the mounts, then of those knocked, each frame is taken from; ``None``: none is
        knocked.

    Raises
    ------
    InputError
        A camera index or a state without a mount, box rows that do not fit the frames, a margin
        below 0.
    """
    placed = _placed(frames, len(mounts), len(knocked), mount_state)
    cameras, tag_rows = camera_arrays(mounts, knocked), tag_arrays(tags)
    is_seen = _seen(placed, cameras, tag_rows, boxes, robot_boxes, margin)
    frame, tag = (locked(np.ascontiguousarray(i)) for i in np.nonzero(is_seen))
    figures = np.empty((len(frame), 5))
    describe_views(frame, tag, placed, cameras, tag_rows, figures)
    distance, cosine, edge = (locked(figures[:, k].copy()) for k in range(3))
    velocity, camera = locked(figures[:, 3:].copy()), placed.camera
    blur = locked(np.hypot(velocity[:, 0], velocity[:, 1]) * cameras.exposure_s[camera[frame]])
    return TagViews(
        cameras=cameras,
        tags=tag_rows,
        camera=camera,
        number=placed.number,
        captured_at_s=frames.captured_at_s,
        mount_state=placed.state,
        rotation=placed.rotation,
        translation_m=placed.translation_m,
        robot_twist=placed.twist,
        robot_acceleration=placed.acceleration,
        frame=frame,
        tag=tag,
        distance_m=distance,
        cos_incidence=cosine,
        edge_px=edge,
        velocity_px_per_s=velocity,
        blur_px=blur,
        **_responses(mounts, camera[frame], distance, cosine, edge, blur),
    )


def still_views(
    world_from_robot: FloatArray,
    mounts: Sequence[Mount],
    tags: Sequence[Tag],
    boxes: WorldBoxes,
    robot_boxes: RobotBoxes,
) -> TagViews:
    """What a robot at rest sees from each of the poses (M, 4, 4).

    Frame ``m * len(mounts) + c`` is camera c at pose m; its number is m. Boxes stand still.
    """
    return tag_views(_still(world_from_robot, len(mounts)), mounts, tags, boxes, robot_boxes)


def visible_tags(
    world_from_robot: FloatArray,
    mounts: Sequence[Mount],
    tags: Sequence[Tag],
    boxes: WorldBoxes,
    robot_boxes: RobotBoxes,
) -> BoolArray:
    """Which tags each camera can see from each of the poses (M, 4, 4): (M, mounts, tags).

    Boxes stand still.
    """
    placed = _placed(_still(world_from_robot, len(mounts)), len(mounts))
    is_seen = _seen(placed, camera_arrays(mounts), tag_arrays(tags), boxes, robot_boxes, None)
    return is_seen.reshape(len(world_from_robot), len(mounts), len(tags))


def _still(world_from_robot: FloatArray, mount_count: int) -> CapturedFrames:
    """One frame of each mount from each of the poses (M, 4, 4)."""
    poses = frozen_array("world_from_robot", world_from_robot, (None, 4, 4))
    pose, camera = np.divmod(np.arange(len(poses) * mount_count), max(mount_count, 1))
    return CapturedFrames(
        camera=camera,
        number=pose,
        captured_at_s=np.zeros(len(pose)),
        world_from_robot=poses[pose],
        robot_twist=np.zeros((len(pose), 6)),
        robot_acceleration=np.zeros((len(pose), 6)),
    )


def _placed(
    frames: CapturedFrames,
    mount_count: int,
    knocked_count: int = 0,
    mount_state: IntArray | None = None,
) -> FrameArrays:
    camera, matrix = frames.camera, frames.world_from_robot
    state = camera if mount_state is None else mount_state
    state = frozen_ints("mount_state", state, (len(camera),))
    for name, index, count in (
        ("camera", camera, mount_count),
        ("mount_state", state, mount_count + knocked_count),
    ):
        if len(index) and not (index.min() >= 0 and index.max() < count):
            raise InputError(
                f"{name}: must be between 0 and {count - 1} (got {index.min()} to {index.max()})"
            )
    return FrameArrays(
        camera=camera,
        number=frames.number,
        state=state,
        rotation=locked(matrix[:, :3, :3].copy()),
        translation_m=locked(matrix[:, :3, 3].copy()),
        twist=frames.robot_twist,
        acceleration=frames.robot_acceleration,
    )


def _seen(
    frames: FrameArrays,
    cameras: CameraArrays,
    tags: TagArrays,
    boxes: WorldBoxes,
    robot_boxes: RobotBoxes,
    margin: MarginArrays | None,
) -> BoolArray:
    count = len(frames.camera)
    margin = margin or MarginArrays(px=np.zeros(count), px_m=np.zeros(count))
    margin = MarginArrays(*(frozen_array("margin", each, (count,)) for each in margin))
    least = min(each.min(initial=0.0) for each in margin)
    if least < 0.0:
        raise InputError(f"margin: must be 0 or more (got {least:g})")
    is_seen = np.empty((count, len(tags.ids)), dtype=np.bool_)
    mark_views(
        frames,
        cameras,
        tags,
        boxes.arrays(count),
        robot_boxes.arrays(count),
        margin,
        is_seen,
    )
    return is_seen


def _responses(
    mounts: Sequence[Mount],
    camera: IntArray,
    distance_m: FloatArray,
    cos_incidence: FloatArray,
    edge_px: FloatArray,
    blur_px: FloatArray,
) -> dict[str, FloatArray]:
    """The response of each sighting's own detector, by the names of ``DetectorResponse``."""
    count = len(camera)
    columns = {
        name: np.empty((count, 2) if name == "shift_px" else count)
        for name in DetectorResponse.__dataclass_fields__
    }
    for index, mount in enumerate(mounts):
        own = np.flatnonzero(camera == index)
        response = detector_response(
            mount.camera.detector,
            distance_m=distance_m[own],
            cos_incidence=cos_incidence[own],
            edge_px=edge_px[own],
            blur_px=blur_px[own],
            noise_grey=mount.camera.image.noise_grey,
        )
        for name, column in columns.items():
            column[own] = getattr(response, name)
    return {name: locked(column) for name, column in columns.items()}
