"""Angles on the circle, in radians."""

import numpy as np
from numpy.typing import ArrayLike

from posefuse.checks import FloatArray

__all__ = ["angle_difference_rad", "wrap_angle_rad"]


def wrap_angle_rad(angle_rad: ArrayLike) -> FloatArray:
    """The same angles in [-pi, pi).

    >>> float(wrap_angle_rad(3 * np.pi)) == -np.pi
    True
    """
    angle = np.asarray(angle_rad, dtype=np.float64)
    wrapped = np.mod(angle + np.pi, 2.0 * np.pi) - np.pi
    # np.mod may round up to the full turn for an angle just below -pi
    return np.where(wrapped >= np.pi, -np.pi, wrapped)


def angle_difference_rad(a_rad: ArrayLike, b_rad: ArrayLike) -> FloatArray:
    """The turn from ``b`` to ``a``, in [-pi, pi)."""
    return wrap_angle_rad(np.asarray(a_rad, dtype=np.float64) - np.asarray(b_rad, dtype=np.float64))
