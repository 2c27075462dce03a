"""Flight without air at a fixed exit speed: the pivot that reaches a point.

A piece leaves at speed v and angle th above level; after the level distance d it is at the height
``h = d tan th - g d^2 / (2 v^2 cos^2 th)``. Solved for the angle, with T = tan th::

    T = (v^2 -+ sqrt(v^4 - g (g d^2 + 2 h v^2))) / (g d)

Ling, Sanny, Moebs, University Physics, vol. 1, OpenStax 2016, sec. 4.3 (the path); the roots are
those of the quadratic in T that follows from ``1 / cos^2 = 1 + T^2``.
"""

import numpy as np
from numpy.typing import ArrayLike

from posefuse.checks import BoolArray, FloatArray
from posefuse.fieldlayout import Goal
from posefuse.robot import Shooter

__all__ = [
    "GRAVITY_M_PER_S2",
    "launch_angles_rad",
    "least_speed_m_per_s",
    "pivot_error_rad",
    "pivot_rad",
    "pivot_slope_rad_per_m",
]

GRAVITY_M_PER_S2 = 9.80665
"""Standard gravity, exact by definition (3rd General Conference on Weights and Measures, 1901)."""


def launch_angles_rad(
    flight_m: ArrayLike,
    *,
    rise_m: ArrayLike,
    speed_m_per_s: float,
    gravity_m_per_s2: float = GRAVITY_M_PER_S2,
) -> tuple[FloatArray, FloatArray]:
    """The low and the high angle above level that reach a point; nan where it is out of reach.

    Parameters
    ----------
    flight_m
        Level distance from the release to the point; nan is given back where it is not positive.
    rise_m
        How far the point lies above the release.

    Examples
    --------
    >>> low, high = launch_angles_rad(5.0, rise_m=1.5, speed_m_per_s=10.0)
    >>> print(f"{np.degrees(low):.3f} {np.degrees(high):.3f}")
    32.950 73.749
    """
    d, h = np.asarray(flight_m, dtype=np.float64), np.asarray(rise_m, dtype=np.float64)
    v2, g = speed_m_per_s**2, gravity_m_per_s2
    inside = v2**2 - g * (g * d**2 + 2.0 * h * v2)
    within_reach = (inside >= 0.0) & (d > 0.0)
    root = np.sqrt(np.where(within_reach, inside, np.nan))
    fall = g * np.where(within_reach, d, np.nan)
    return np.arctan2(v2 - root, fall), np.arctan2(v2 + root, fall)


def least_speed_m_per_s(
    flight_m: ArrayLike, *, rise_m: ArrayLike, gravity_m_per_s2: float = GRAVITY_M_PER_S2
) -> FloatArray:
    """The least exit speed that reaches a point: where both angles meet.

    >>> print(f"{least_speed_m_per_s(5.0, rise_m=1.5):.6f}")
    8.118016
    """
    d, h = np.asarray(flight_m, dtype=np.float64), np.asarray(rise_m, dtype=np.float64)
    return np.sqrt(gravity_m_per_s2 * (h + np.hypot(d, h)))


def pivot_slope_rad_per_m(
    flight_m: ArrayLike,
    *,
    angle_rad: ArrayLike,
    speed_m_per_s: float,
    gravity_m_per_s2: float = GRAVITY_M_PER_S2,
) -> FloatArray:
    """How much the angle must change for each metre more of level distance, at the same height.

    The path equation differentiated by d at constant h; times a distance error it is the angle
    error to first order.
    """
    d, tangent = np.asarray(flight_m, dtype=np.float64), np.tan(angle_rad)
    secant2 = 1.0 + tangent**2
    drop = gravity_m_per_s2 * d / speed_m_per_s**2
    return (drop * secant2 - tangent) / (d * secant2 * (1.0 - drop * tangent))


def pivot_rad(distance_m: ArrayLike, *, shooter: Shooter, goal: Goal) -> FloatArray:
    """The pivot that hits the middle of the opening, the robot facing the goal.

    The low arc where it lies in the pivot's range, else the high arc where that does; nan where
    neither does or the exit speed is too low.

    Parameters
    ----------
    distance_m
        Level distance from the middle of the robot to the middle of the opening, as the scores
        use it. The release point's place on the robot is taken off here.
    """
    return _picked(*_arcs(distance_m, shooter=shooter, goal=goal), shooter)


def pivot_error_rad(
    estimated_m: ArrayLike, true_m: ArrayLike, *, shooter: Shooter, goal: Goal
) -> FloatArray:
    """Pivot set for the estimated distance minus the one right for the true distance.

    Both on the arc that the estimate picks, so that a change of arc at the end of the pivot's range
    does not pass for an error. nan where the estimate finds no pivot in the range or the true
    distance is out of reach.
    """
    low, high = _arcs(estimated_m, shooter=shooter, goal=goal)
    picked = _picked(low, high, shooter)
    true_low, true_high = _arcs(true_m, shooter=shooter, goal=goal)
    return picked - np.where(picked == low, true_low, true_high)


def _arcs(distance_m: ArrayLike, *, shooter: Shooter, goal: Goal) -> tuple[FloatArray, FloatArray]:
    """Both arcs from the release point, which the throw leaves along the robot's heading."""
    forward, left, up = shooter.release_in_robot_m
    across2 = np.asarray(distance_m, dtype=np.float64) ** 2 - left**2
    flight = np.sqrt(np.maximum(across2, 0.0)) - forward
    return launch_angles_rad(
        flight,
        rise_m=goal.centre_in_world_m[2] - up,
        speed_m_per_s=shooter.exit_speed_m_per_s,
    )


def _picked(low_rad: FloatArray, high_rad: FloatArray, shooter: Shooter) -> FloatArray:
    """The low arc where the pivot's range holds it, else the high one where it does, else nan."""
    chosen = np.where(_in_range(low_rad, shooter), low_rad, high_rad)
    return np.where(_in_range(chosen, shooter), chosen, np.nan)


def _in_range(angle_rad: FloatArray, shooter: Shooter) -> BoolArray:
    return (angle_rad >= shooter.pivot_low_rad) & (angle_rad <= shooter.pivot_high_rad)
