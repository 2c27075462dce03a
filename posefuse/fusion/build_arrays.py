"""What the filters that know of build errors take: arrays in named tuples, which kernels read."""

from typing import NamedTuple

from posefuse.checks import FloatArray, IntArray

__all__ = ["BuildArrays", "BuildMeasured", "BuildOutput", "Room"]


class BuildArrays(NamedTuple):
    """The constants of the build, and what they change.

    A place is an index into the state: x, y, heading, then the constants that are not known; -1
    for those that are.

    Parameters
    ----------
    variances : (n,) array
        Of the constants before the first measurement, at their places; the pose's own are zero.
    is_estimated
        Whether the constants are estimated, not only considered.
    own_place, lean_place, tag_place, wheel_place : (C, 11), (2,), (T, 7), (wheels + 3,) ints
    cameras : (C, 11) array
        As stated: pan, tilt, roll; forward, left, up in the robot; focal lengths, principal point,
        first radial term.
    tags : (T, 13) array
        As surveyed: rotation of ``world_from_tag`` by rows, middle, half the edge.
    twists : (rows, 3) array
        Measured motion from the row before: forward, left, turn.
    slopes : (rows, 3, wheels + 3) array
        By how much the twist is too large for one unit of each wheel constant.
    """

    variances: FloatArray
    is_estimated: bool
    own_place: IntArray
    lean_place: IntArray
    tag_place: IntArray
    wheel_place: IntArray
    cameras: FloatArray
    tags: FloatArray
    twists: FloatArray
    slopes: FloatArray


class BuildMeasured(NamedTuple):
    """The measurements of a run, n of them in F frames that take part, with S sightings.

    Parameters
    ----------
    is_solved
        Poses solved frame by frame; else the corners of one tag each.
    eye, velocities : (F,) ints, (F, 3) array
        Camera; velocity at the capture in the robot's axes, forward, left, turn.
    leans, lean_vars : (F, 2), (F,) arrays
        Roll and pitch of the accelerating chassis, and their variance.
    first, tag_count : (n,) ints
        The sightings of each measurement.
    target : (S,) ints
        Tag of each sighting.
    solutions : (n, 2, 10) array
        For poses: see ``MeasurementArrays``.
    own, of_tag : (n, 2, 3, 13), (S, 2, 3, 7) arrays
        For poses: see ``write_pose_slopes``.
    corners_px, variances_px2 : (S, 8), (n,) arrays
        For corners: as seen, nan where the lens has no such point; their variance.
    """

    is_solved: bool
    eye: IntArray
    velocities: FloatArray
    leans: FloatArray
    lean_vars: FloatArray
    first: IntArray
    tag_count: IntArray
    target: IntArray
    solutions: FloatArray
    own: FloatArray
    of_tag: FloatArray
    corners_px: FloatArray
    variances_px2: FloatArray


class BuildOutput(NamedTuple):
    """Where such a filter writes the constants.

    Parameters
    ----------
    values, variances : (n,) arrays
        Of the state at the last row.
    cross : (rows, 3, n) array
        Covariance of x, y, heading with the state at every row; no rows where it is not wanted.
    """

    values: FloatArray
    variances: FloatArray
    cross: FloatArray


class Room(NamedTuple):
    """Room for one measurement of m numbers about a state of n.

    Parameters
    ----------
    rows, places : (8, most) array, (most,) ints
        Jacobian by the parts of the state that the measurement depends on, and which these are.
    off : (8,) array
        Innovation; later in units of its own spread.
    spread : (n, 8) array
        Covariance of the state with the innovation; divided by the innovation's root later on.
    cov : (8, 8) array
        Of the innovation; later its root.
    taken : (3, 3) array
        Gain times Jacobian of the pose.
    """

    rows: FloatArray
    places: IntArray
    off: FloatArray
    spread: FloatArray
    cov: FloatArray
    taken: FloatArray
