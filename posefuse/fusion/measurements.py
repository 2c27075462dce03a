"""The measurements of a run as the filters take them: solved poses, corners, beacons."""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from posefuse.arena.arena import Beacon, Tag
from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.estimate import Outcome
from posefuse.robot.rig import Mount, Ranger

__all__ = ["BeaconMeasurements", "CornerMeasurements", "Measurements", "PoseMeasurements"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PoseMeasurements:
    """The robot's pose at each capture as solved from the corners of one frame.

    Parameters
    ----------
    frame, sighting, tag_count : (n,) ints
        Index into the recording; ``sighting`` is the frame's first of ``tag_count``.
    poses : (n, 2, 3) array
        Both solutions, the better fit first: x_m, y_m, heading_rad.
    unit_covs : (n, 2, 3, 3) array
        Their covariance for corners that err by 1 px.
    pixel_vars_px2, extra_vars : (n,), (n, 2) arrays
        Variance of the corners; variances added to x and to y, and to the heading.
    misfits : (n, 2) array
        Squares of the residuals of both solutions, in units of the corners' variance: which of the
        two is right is decided by this and by the prediction together.
    offered : (n,) ints
        How many of the solutions the filter may choose from.
    outcome : (n,) ints
        ``Outcome.FUSED`` where there is something to fuse; else why there is not.
    """

    frame: IntArray
    sighting: IntArray
    tag_count: IntArray
    poses: FloatArray
    unit_covs: FloatArray
    pixel_vars_px2: FloatArray
    extra_vars: FloatArray
    misfits: FloatArray
    offered: IntArray
    outcome: IntArray

    @property
    def dof(self) -> int:
        """Numbers in one measurement."""
        return 3

    def cov(self, index: int, solution: int) -> FloatArray:
        """Covariance (3, 3) of one solution in (x, y, heading)."""
        position_var, heading_var = self.extra_vars[index]
        from_corners = self.pixel_vars_px2[index] * self.unit_covs[index, solution]
        cov: FloatArray = from_corners + np.diag([position_var, position_var, heading_var])
        return cov


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CornerMeasurements:
    """The four corners of one tag, as they were seen.

    Parameters
    ----------
    frame, sighting : (n,) ints
        Index into the recording.
    target : (n,) ints
        Index into ``tags``.
    corners_px : (n, 8) array
        As seen: x and y of the corners, top left, then clockwise.
    corners : (n, 4, 2) array
        On the plane at depth 1 of the camera, without distortion; nan where the lens has no such
        point.
    vars_px2 : (n,) array
        Variance of each corner on each axis.
    mount_of_frame : (frames,) ints
        Index into ``mounts``, for each frame of the recording.
    """

    frame: IntArray
    sighting: IntArray
    target: IntArray
    corners_px: FloatArray
    corners: FloatArray
    vars_px2: FloatArray
    mount_of_frame: IntArray
    mounts: tuple[Mount, ...]
    tags: tuple[Tag, ...]

    @property
    def outcome(self) -> IntArray:
        """``Outcome.FUSED`` for all: each has something to fuse."""
        return np.full(len(self.frame), Outcome.FUSED, dtype=np.int64)

    @property
    def dof(self) -> int:
        """Numbers in one measurement."""
        return 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeaconMeasurements:
    """Range, or range and bearing, of one beacon.

    Parameters
    ----------
    frame, sighting : (n,) ints
        Index into the recording.
    target : (n,) ints
        Index into ``beacons``.
    ranges_m, bearings_rad : (n,) arrays
        Slant range; bearing left of the robot's forward, ``None`` where none is measured.
    range_vars_m2 : (n,) array
        Variance of each range.
    ranger_of_frame : (frames,) ints
        Index into ``rangers``, for each frame of the recording.
    """

    frame: IntArray
    sighting: IntArray
    target: IntArray
    ranges_m: FloatArray
    bearings_rad: FloatArray | None
    range_vars_m2: FloatArray
    bearing_std_rad: float
    ranger_of_frame: IntArray
    rangers: tuple[Ranger, ...]
    beacons: tuple[Beacon, ...]

    @property
    def outcome(self) -> IntArray:
        """``Outcome.FUSED`` for all: each has something to fuse."""
        return np.full(len(self.frame), Outcome.FUSED, dtype=np.int64)

    @property
    def dof(self) -> int:
        """Numbers in one measurement."""
        return 1 if self.bearings_rad is None else 2


Measurements: TypeAlias = PoseMeasurements | CornerMeasurements | BeaconMeasurements
