"""How far off an estimate may be so that the shot still goes in."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from posefuse.aim.aim import Aim
from posefuse.aim.compiled.shot import ERRORS
from posefuse.aim.compiled.tolerance import find_scoring_reach
from posefuse.checks import FloatArray

__all__ = ["ToleranceBand", "tolerance_band"]

STEPS = np.array([0.01, 0.01, 0.002, 0.002])
MOST = np.array([5.0, 5.0, 0.8, 0.8])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ToleranceBand:
    """For each true distance, how far off the estimate may be; one error at a time.

    0 where even a perfect estimate misses; 5 m or 0.8 rad where that much still scores.

    Parameters
    ----------
    short_m, long_m : (n,) arrays
        How much less, and more, than the true distance the estimated one may be.
    left_rad, right_rad : (n,) arrays
        How far to the left, and to the right, of the true direction the estimated one may be.
    """

    distances_m: FloatArray
    short_m: FloatArray
    long_m: FloatArray
    left_rad: FloatArray
    right_rad: FloatArray

    @property
    def left_m(self) -> FloatArray:
        """The same to the left, as a length across the line of sight at the goal."""
        return np.asarray(self.distances_m * np.tan(self.left_rad))

    @property
    def right_m(self) -> FloatArray:
        """The same to the right, as a length across the line of sight at the goal."""
        return np.asarray(self.distances_m * np.tan(self.right_rad))


def tolerance_band(aim: Aim, distances_m: ArrayLike, *, approach_rad: float = 0.0) -> ToleranceBand:
    """The band of a robot at rest, with a shooter that throws exactly as set.

    Parameters
    ----------
    approach_rad
        The robot's direction from the goal, counter-clockwise from where the opening looks.
    """
    distances = np.array(distances_m, dtype=np.float64)
    states = np.zeros((len(distances), 5))
    states[:, :2] = aim.positions_m(distances, approach_rad=approach_rad)
    away = aim.goal.facing_rad + approach_rad
    outward = np.array([np.cos(away), np.sin(away)])
    directions = np.zeros((len(distances), 4, ERRORS))
    directions[:, 0, :2], directions[:, 1, :2] = -outward, outward
    directions[:, 2, 2], directions[:, 3, 2] = -1.0, 1.0
    reach = np.empty((len(distances), 4))
    find_scoring_reach(states, directions, STEPS, MOST, aim.arrays, reach)
    short, long, left, right = reach.T
    return ToleranceBand(
        distances_m=distances, short_m=short, long_m=long, left_rad=left, right_rad=right
    )
