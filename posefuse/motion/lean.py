"""How the chassis leans when the robot speeds up, brakes or takes a bend."""

import numpy as np
from numpy.typing import ArrayLike

from posefuse.checks import FloatArray

__all__ = ["lean_angles_rad"]


def lean_angles_rad(
    accelerations_m_per_s2: ArrayLike, *, heading_rad: ArrayLike, lean_rad_per_m_per_s2: float
) -> FloatArray:
    """Roll and pitch (..., 2) as ``SpacePose.from_plane`` takes them.

    The chassis leans away from the acceleration: speeding up lifts the nose (negative pitch about
    y), accelerating to the left lifts the left side (positive roll about x).

    Parameters
    ----------
    accelerations_m_per_s2 : (..., 2) array
        x and y in the world.

    Examples
    --------
    >>> lean_angles_rad([2.0, 0.0], heading_rad=0.0, lean_rad_per_m_per_s2=0.01)
    array([ 0.  , -0.02])
    """
    acceleration = np.asarray(accelerations_m_per_s2, dtype=np.float64)
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    forward = c * acceleration[..., 0] + s * acceleration[..., 1]
    left = c * acceleration[..., 1] - s * acceleration[..., 0]
    return lean_rad_per_m_per_s2 * np.stack([left, -forward], axis=-1)
