"""Flight without air at a fixed exit speed: the pivot that reaches a point.

A piece leaves at speed v and angle th above level; after the level distance d it is at the height
``h = d tan th - g d^2 / (2 v^2 cos^2 th)``. Solved for the angle, with T = tan th::

    T = (v^2 -+ sqrt(v^4 - g (g d^2 + 2 h v^2))) / (g d)

Ling, Sanny, Moebs, University Physics, vol. 1, OpenStax 2016, sec. 4.3 (the path); the roots are
those of the quadratic in T that follows from ``1 / cos^2 = 1 + T^2``.
"""

import numpy as np
from numpy.typing import ArrayLike

from posefuse.aim.air import GRAVITY_M_PER_S2
from posefuse.checks import FloatArray

__all__ = ["launch_angles_rad", "least_speed_m_per_s", "pivot_slope_rad_per_m"]


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
