"""The paths of throws, for pictures."""

import numpy as np

from posefuse.aim.aim import Aim
from posefuse.aim.flight import fly
from posefuse.aim.law import flight_law
from posefuse.checks import FloatArray

__all__ = ["flight_paths_m"]

DEEP_M = -20.0


def flight_paths_m(
    aim: Aim, distances_m: FloatArray, pivots_rad: FloatArray, *, points: int = 80
) -> FloatArray:
    """Points of throws from some distances to the goal's middle, (n, points, 2).

    Level distance to the goal's middle, negative before it, and height; seen square to the throw.
    """
    shooter = aim.shooter
    starts = shooter.release_at(pivots_rad)
    ahead = np.sqrt(distances_m**2 - starts[:, 1] ** 2)
    starts[:, 1] = 0.0
    directions = np.stack([np.cos(pivots_rad), 0.0 * pivots_rad, np.sin(pivots_rad)], axis=-1)
    share = np.linspace(0.0, 1.0, points)
    along = starts[:, :1] + (ahead[:, None] - starts[:, :1]) * share[1:]
    flown = fly(
        starts[:, None],
        shooter.exit_speed_m_per_s * directions[:, None],
        law=flight_law(shooter),
        plane_points_m=np.stack([along, 0.0 * along, 0.0 * along], axis=-1),
        plane_normals=(-1.0, 0.0, 0.0),
        floor_m=DEEP_M,
    )
    x = np.concatenate([starts[:, :1], along], axis=1) - ahead[:, None]
    z = np.concatenate([starts[:, 2:], flown.points_m[..., 2]], axis=1)
    return np.stack([x, z], axis=-1)
