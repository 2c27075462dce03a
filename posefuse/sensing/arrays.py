"""What the compiled kernels of sensing take: read-only arrays in named tuples.

Named tuples, because compiled code reads them; read-only throughout, so that each kernel is
compiled for one kind of array only.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from posefuse.arena.arena import Obstacle, Tag
from posefuse.checks import FloatArray, IntArray, frozen_array, frozen_ints
from posefuse.errors import InputError
from posefuse.robot.body import Body
from posefuse.robot.rig import Mount
from posefuse.sensing.projection import lens_row, valid_radius

__all__ = [
    "BoxArrays",
    "BuiltArrays",
    "CameraArrays",
    "FrameArrays",
    "MarginArrays",
    "RobotBoxes",
    "SightingArrays",
    "TagArrays",
    "WorldBoxes",
    "camera_arrays",
    "tag_arrays",
]

TAG_ID_LIMIT = 1 << 20
"""Ids from here on do not fit into the counters of the random numbers."""

SKIN_M = 1e-6
"""Boxes are taken this much smaller on each side: a line along a face, or one that starts or ends
on it, does not enter the box, whatever the rounding."""


class CameraArrays(NamedTuple):
    """Mounted cameras, one row each.

    Parameters
    ----------
    rotation, translation_m : (K, 3, 3), (K, 3) arrays
        ``robot_from_camera`` in each state that a mount can be in: the C mounts as designed, then
        as knocks leave them.
    lens_rows, radius_limit : (C, 12), (C,) arrays
        See ``lens_row`` and ``valid_radius``.
    size_px : (C, 2) array
        Width and height of the image.
    """

    rotation: FloatArray
    translation_m: FloatArray
    lens_rows: FloatArray
    radius_limit: FloatArray
    size_px: FloatArray
    row_time_s: FloatArray
    exposure_s: FloatArray
    least_edge_px: FloatArray
    least_cos_incidence: FloatArray


class TagArrays(NamedTuple):
    """Tags in the world, one row each: corners (N, 4, 3), centres (N, 3), face normals (N, 3)."""

    ids: IntArray
    corners_m: FloatArray
    centres_m: FloatArray
    normals: FloatArray


class FrameArrays(NamedTuple):
    """Frames, one row each.

    Parameters
    ----------
    camera, number : (F,) ints
        Row of the frame's camera in ``CameraArrays``; its number within that camera.
    state : (F,) ints
        Row of the frame's mount, as it is then, in the poses of ``CameraArrays``.
    rotation, translation_m : (F, 3, 3), (F, 3) arrays
        ``world_from_robot`` at the capture, lean included.
    twist, acceleration : (F, 6) arrays
        See ``CapturedFrames``.
    """

    camera: IntArray
    number: IntArray
    state: IntArray
    rotation: FloatArray
    translation_m: FloatArray
    twist: FloatArray
    acceleration: FloatArray


class MarginArrays(NamedTuple):
    """How far outside the image corners may lie, by frame: px + px_m / distance, (F,) each."""

    px: FloatArray
    px_m: FloatArray


class SightingArrays(NamedTuple):
    """Sightings and how their detectors respond, one row each, (S,); shift (S, 2).

    Parameters
    ----------
    frame, tag : (S,) ints
        Rows in ``FrameArrays`` and ``TagArrays``.
    """

    frame: IntArray
    tag: IntArray
    std_px: FloatArray
    shared_fraction: FloatArray
    persistent_fraction: FloatArray
    inward_px: FloatArray
    narrowing_px: FloatArray
    shift_px: FloatArray
    found_probability: FloatArray


class BuiltArrays(NamedTuple):
    """What one trial's build and noise are.

    Parameters
    ----------
    corners_m : (N, 4, 3) array
        Of the tags, in the world.
    rotation, translation_m : (K, 3, 3), (K, 3) arrays
        ``robot_from_camera`` in each state that a mount can be in.
    lens_rows, keys : (C, 12) array, (C,) uint64
        Lens and key of the random numbers of each camera.
    """

    corners_m: FloatArray
    rotation: FloatArray
    translation_m: FloatArray
    lens_rows: FloatArray
    keys: NDArray[np.uint64]


class BoxArrays(NamedTuple):
    """Upright boxes: centres (one row for all frames, or one for each), half sizes, headings."""

    centres_m: FloatArray
    half_sizes_m: FloatArray
    cosines: FloatArray
    sines: FloatArray


def camera_arrays(mounts: Sequence[Mount], knocked: Sequence[Mount] = ()) -> CameraArrays:
    """The mounts' cameras, in their order; ``knocked`` adds poses, not cameras."""
    cameras = [mount.camera for mount in mounts]
    poses = [mount.robot_from_camera for mount in (*mounts, *knocked)]
    return CameraArrays(
        rotation=_rows([pose.rotation for pose in poses], (3, 3)),
        translation_m=_rows([pose.translation_m for pose in poses], (3,)),
        lens_rows=_rows([lens_row(camera.lens) for camera in cameras], (12,)),
        radius_limit=_rows([valid_radius(camera.lens) for camera in cameras], ()),
        size_px=_rows([(c.sensor.width_px, c.sensor.height_px) for c in cameras], (2,)),
        row_time_s=_rows([camera.sensor.row_time_s for camera in cameras], ()),
        exposure_s=_rows([camera.timing.exposure_s for camera in cameras], ()),
        least_edge_px=_rows([camera.detector.least_edge_px for camera in cameras], ()),
        least_cos_incidence=_rows([math.cos(c.detector.most_incidence_rad) for c in cameras], ()),
    )


def tag_arrays(tags: Sequence[Tag]) -> TagArrays:
    """The tags, in their order."""
    for tag in tags:
        if tag.id >= TAG_ID_LIMIT:
            raise InputError(f"tag id: must be less than {TAG_ID_LIMIT} (got {tag.id})")
    return TagArrays(
        ids=frozen_ints("tag ids", [tag.id for tag in tags], (len(tags),)),
        corners_m=_rows([tag.corners_in_world_m for tag in tags], (4, 3)),
        centres_m=_rows([tag.world_from_tag.translation_m for tag in tags], (3,)),
        normals=_rows([tag.world_from_tag.rotation[:, 2] for tag in tags], (3,)),
    )


def _rows(values: Sequence[object], shape: tuple[int, ...]) -> FloatArray:
    rows = np.array(values, dtype=np.float64).reshape(len(values), *shape)
    rows.setflags(write=False)
    return rows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorldBoxes:
    """Upright boxes in the world that hide tags.

    Parameters
    ----------
    centres_m : (F or 1, W, 3) array
        One row for each frame, or a single row for boxes that stand still.
    half_sizes_m, headings_rad : (W, 3), (W,) arrays
        Headings counter-clockwise from x.
    """

    centres_m: FloatArray
    half_sizes_m: FloatArray
    headings_rad: FloatArray

    def __post_init__(self) -> None:
        headings = frozen_array("headings_rad", self.headings_rad, (None,))
        count = len(headings)
        centres = frozen_array("centres_m", self.centres_m, (None, count, 3))
        object.__setattr__(self, "headings_rad", headings)
        object.__setattr__(self, "centres_m", centres)
        object.__setattr__(self, "half_sizes_m", _half_sizes(self.half_sizes_m, count))

    @classmethod
    def from_obstacles(cls, obstacles: Sequence[Obstacle]) -> Self:
        """The arena's obstacles, which stand still."""
        return cls(
            centres_m=_rows([o.centre_in_world_m for o in obstacles], (3,))[None],
            half_sizes_m=_rows([o.size_m / 2.0 for o in obstacles], (3,)),
            headings_rad=_rows([o.heading_rad for o in obstacles], ()),
        )

    def arrays(self, frame_count: int) -> BoxArrays:
        """The boxes as kernels take them; refused when the rows do not fit the frames."""
        return _box_arrays(self.centres_m, self.half_sizes_m, self.headings_rad, frame_count)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RobotBoxes:
    """Boxes on the robot that hide tags: centres (F or 1, B, 3) in the robot frame."""

    centres_m: FloatArray
    half_sizes_m: FloatArray

    def __post_init__(self) -> None:
        count = len(self.half_sizes_m)
        centres = frozen_array("centres_m", self.centres_m, (None, count, 3))
        object.__setattr__(self, "centres_m", centres)
        object.__setattr__(self, "half_sizes_m", _half_sizes(self.half_sizes_m, count))

    @classmethod
    def from_body(cls, body: Body) -> Self:
        """The body's boxes where they are when nothing is lifted."""
        return cls(
            centres_m=_rows([box.centre_in_robot_m for box in body.boxes], (3,))[None],
            half_sizes_m=_rows([box.size_m / 2.0 for box in body.boxes], (3,)),
        )

    def arrays(self, frame_count: int) -> BoxArrays:
        """The boxes as kernels take them; refused when the rows do not fit the frames."""
        headings = np.zeros(len(self.half_sizes_m))
        return _box_arrays(self.centres_m, self.half_sizes_m, headings, frame_count)


def _half_sizes(value: FloatArray, count: int) -> FloatArray:
    half = frozen_array("half_sizes_m", value, (count, 3))
    if (half <= 0.0).any():
        raise InputError(f"half_sizes_m: must be greater than 0 (got {half.min():g})")
    return half


def _box_arrays(
    centres: FloatArray, half_sizes: FloatArray, headings: FloatArray, frame_count: int
) -> BoxArrays:
    if len(centres) not in (1, frame_count):
        raise InputError(
            f"boxes: {len(centres)} rows of centres given, 1 or {frame_count} wanted (one a frame)"
        )
    return BoxArrays(
        centres_m=centres,
        half_sizes_m=frozen_array("half_sizes_m", half_sizes - SKIN_M, half_sizes.shape),
        cosines=frozen_array("headings_rad", np.cos(headings), headings.shape),
        sines=frozen_array("headings_rad", np.sin(headings), headings.shape),
    )
