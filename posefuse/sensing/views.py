"""Which tags each frame can see: known once the rig and the course are, before any noise."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from posefuse.arena.arena import Tag
from posefuse.checks import BoolArray, FloatArray, IntArray, frozen_array, frozen_ints, not_negative
from posefuse.errors import InputError
from posefuse.robot.rig import Mount
from posefuse.sensing.arrays import (
    CameraArrays,
    RobotBoxes,
    TagArrays,
    WorldBoxes,
    camera_arrays,
    tag_arrays,
)
from posefuse.sensing.compiled.visibility import describe_views, mark_views
from posefuse.sensing.detector_law import DetectorResponse, detector_response

__all__ = ["TagViews", "still_views", "tag_views", "visible_tags"]

Scalar = TypeVar("Scalar", bound=np.generic)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TagViews:
    """The frames of one course and every tag sighting they can give, sorted by frame, then tag.

    All arrays are read-only.

    Parameters
    ----------
    camera, number, captured_at_s : (F,) arrays
        Of each frame: index of its mount, its number within that camera, true capture instant.
    rotation, translation_m : (F, 3, 3), (F, 3) arrays
        ``world_from_robot`` at the capture, lean included.
    frame, tag : (S,) ints
        Of each sighting: index of its frame, index of its tag.
    edge_px
        Root of the area of the tag's image.
    velocity_px_per_s : (S, 2) array
        How fast the tag's centre crosses the image.
    blur_px
        Length of that motion over the exposure.
    std_px, shared_fraction, lasting_fraction, inward_px, narrowing_px, shift_px, found_probability
        The detector's response, (S,) and (S, 2): see ``DetectorResponse``.
    """

    cameras: CameraArrays
    tags: TagArrays
    camera: IntArray
    number: IntArray
    captured_at_s: FloatArray
    rotation: FloatArray
    translation_m: FloatArray
    frame: IntArray
    tag: IntArray
    distance_m: FloatArray
    cos_incidence: FloatArray
    edge_px: FloatArray
    velocity_px_per_s: FloatArray
    blur_px: FloatArray
    std_px: FloatArray
    shared_fraction: FloatArray
    lasting_fraction: FloatArray
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
        """Number of sightings before the detector's luck."""
        return len(self.frame)


def tag_views(
    *,
    camera_of_frame: IntArray,
    frame_number: IntArray,
    captured_at_s: FloatArray,
    world_from_robot: FloatArray,
    robot_twist: FloatArray,
    mounts: Sequence[Mount],
    tags: Sequence[Tag],
    boxes: WorldBoxes,
    robot_boxes: RobotBoxes,
    margin_px: float = 0.0,
) -> TagViews:
    """Every sighting of a tag that the frames can give, with how large, far, oblique and blurred.

    A tag can be seen when it faces the camera within ``most_incidence_rad``, its four corners lie
    in the image, its edge is at least ``least_edge_px``, and no box hides a corner or the centre.

    Parameters
    ----------
    camera_of_frame, frame_number, captured_at_s : (F,) arrays
        Index into ``mounts``; number within that camera; capture instant.
    world_from_robot : (F, 4, 4) array
        At the capture, lean included.
    robot_twist : (F, 6) array
        Turn rates about the world's axes, then velocity of the robot's origin along them.
    margin_px
        How far corners may lie outside the image, so that a camera that is built a little off
        still has its sightings among them.

    Raises
    ------
    InputError
        Shapes that do not fit, a camera index without a mount, box rows that do not fit the frames.
    """
    camera, rotation, translation = _frames(camera_of_frame, world_from_robot, len(mounts))
    count = len(camera)
    number = frozen_ints("frame_number", frame_number, (count,))
    captured = frozen_array("captured_at_s", captured_at_s, (count,))
    twist = frozen_array("robot_twist", robot_twist, (count, 6))
    cameras, tag_rows = camera_arrays(mounts), tag_arrays(tags)
    is_seen = _seen(camera, rotation, translation, cameras, tag_rows, boxes, robot_boxes, margin_px)
    frame, tag = (_locked(np.ascontiguousarray(i)) for i in np.nonzero(is_seen))
    figures = np.empty((len(frame), 5))
    describe_views(frame, tag, camera, rotation, translation, twist, cameras, tag_rows, figures)
    distance, cosine, edge = (_locked(figures[:, k].copy()) for k in range(3))
    velocity = _locked(figures[:, 3:].copy())
    blur = _locked(np.hypot(velocity[:, 0], velocity[:, 1]) * cameras.exposure_s[camera[frame]])
    return TagViews(
        cameras=cameras,
        tags=tag_rows,
        camera=camera,
        number=number,
        captured_at_s=captured,
        rotation=rotation,
        translation_m=translation,
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
    poses = frozen_array("world_from_robot", world_from_robot, (None, 4, 4))
    pose, camera = np.divmod(np.arange(len(poses) * len(mounts)), max(len(mounts), 1))
    return tag_views(
        camera_of_frame=camera,
        frame_number=pose,
        captured_at_s=np.zeros(len(pose)),
        world_from_robot=poses[pose],
        robot_twist=np.zeros((len(pose), 6)),
        mounts=mounts,
        tags=tags,
        boxes=boxes,
        robot_boxes=robot_boxes,
    )


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
    poses = frozen_array("world_from_robot", world_from_robot, (None, 4, 4))
    shape = (len(poses), len(mounts), len(tags))
    pose, cameras = np.divmod(np.arange(shape[0] * shape[1]), max(shape[1], 1))
    camera, rotation, translation = _frames(cameras, poses[pose], len(mounts))
    is_seen = _seen(
        camera,
        rotation,
        translation,
        camera_arrays(mounts),
        tag_arrays(tags),
        boxes,
        robot_boxes,
        0.0,
    )
    return is_seen.reshape(shape)


def _frames(
    camera_of_frame: IntArray, world_from_robot: FloatArray, mount_count: int
) -> tuple[IntArray, FloatArray, FloatArray]:
    camera = frozen_ints("camera_of_frame", camera_of_frame, (None,))
    matrix = frozen_array("world_from_robot", world_from_robot, (len(camera), 4, 4))
    if len(camera) and not (camera.min() >= 0 and camera.max() < mount_count):
        raise InputError(
            f"camera_of_frame: must be between 0 and {mount_count - 1}"
            f" (got {camera.min()} to {camera.max()})"
        )
    return camera, _locked(matrix[:, :3, :3].copy()), _locked(matrix[:, :3, 3].copy())


def _seen(
    camera: IntArray,
    rotation: FloatArray,
    translation: FloatArray,
    cameras: CameraArrays,
    tags: TagArrays,
    boxes: WorldBoxes,
    robot_boxes: RobotBoxes,
    margin_px: float,
) -> BoolArray:
    is_seen = np.empty((len(camera), len(tags.ids)), dtype=np.bool_)
    mark_views(
        camera,
        rotation,
        translation,
        cameras,
        tags,
        boxes.arrays(len(camera)),
        robot_boxes.arrays(len(camera)),
        not_negative("margin_px", margin_px),
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
        )
        for name, column in columns.items():
            column[own] = getattr(response, name)
    return {name: _locked(column) for name, column in columns.items()}


def _locked(array: NDArray[Scalar]) -> NDArray[Scalar]:
    array.setflags(write=False)
    return array
