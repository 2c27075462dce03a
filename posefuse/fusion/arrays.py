"""One run as the compiled filter takes it: arrays in named tuples, which compiled code can read."""

from typing import NamedTuple

from posefuse.checks import FloatArray, IntArray

__all__ = ["FilterOutput", "FrameArrays", "MeasurementArrays", "StepArrays"]


class StepArrays(NamedTuple):
    """The odometry steps, one row each.

    Parameters
    ----------
    motions : (rows, 5) array
        See ``Timeline.motions``.
    variances : (rows, 2) array
        See ``Timeline.step_vars``.
    """

    motions: FloatArray
    variances: FloatArray


class FrameArrays(NamedTuple):
    """The frames that take part, in the order in which they are fused: by row, then by capture.

    Parameters
    ----------
    row, arrival : (frames,) ints
        The row whose state a frame corrects; the row at which it is known.
    offsets : (frames, 5) array
        See ``Timeline.offsets``.
    begin, end : (frames,) ints
        The measurements of each: from ``begin`` up to but not including ``end``.
    """

    row: IntArray
    arrival: IntArray
    offsets: FloatArray
    begin: IntArray
    end: IntArray


class MeasurementArrays(NamedTuple):
    """The measurements of one kind.

    What a kind does not use is empty, of the same type, so that the filter is compiled once.

    Parameters
    ----------
    kind
        ``POSES``, ``CORNERS`` or ``BEACONS`` of ``fusion.compiled.filter``.
    solutions : (n, 2, 10) array
        For poses: see ``place_solutions``; then the misfit of each to its corners.
    values, weights : (n, 8), (n, 2) arrays; (n, 2), (n, 2) for beacons
        For corners: x and y of the corners on the plane at depth 1, top left, then clockwise; 1
        over their variance in px^2, in the first column. For beacons: slant range and bearing; 1
        over the variance of each, 0 for a bearing that is not measured.
    target : (n,) ints
        Index into ``targets``.
    targets : (tags, 9) or (beacons, 3) array
        See ``tag_row``; place in the world.
    sensor : (frames,) ints
        Index into ``sensors``, for each frame that takes part.
    sensors : (cameras, 14) or (rangers, 4) array
        See ``camera_row``; place in the robot, and 0.
    """

    kind: int
    solutions: FloatArray
    values: FloatArray
    weights: FloatArray
    target: IntArray
    targets: FloatArray
    sensor: IntArray
    sensors: FloatArray


class FilterOutput(NamedTuple):
    """Where the filter writes.

    Parameters
    ----------
    poses, covs : (rows, 3), (rows, 3, 3) arrays
        Of every odometry row, as they stood at it.
    nis, outcome : (measurements,) array, (measurements,) ints
        Of each measurement when it was last applied.
    """

    poses: FloatArray
    covs: FloatArray
    nis: FloatArray
    outcome: IntArray
