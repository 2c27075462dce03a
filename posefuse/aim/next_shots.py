"""Which distances to measure next: where a shot adds most to what is known of the pivots."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from posefuse.aim.arcs import Arc, solve, within_range
from posefuse.aim.fit import (
    SCALES,
    Fitted,
    MeasuredShots,
    ShotFit,
    central_slopes,
    flown_points_m,
    with_values,
)
from posefuse.arena.arena import Goal
from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.robot.shooter import Shooter

__all__ = ["NextShots", "next_distances"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NextShots:
    """What to measure next, best first.

    Parameters
    ----------
    distances_m, pivots_rad : (k,) arrays
        Set the pivot for this distance and measure where the piece comes down on the floor.
    pivot_std_rad : (k + 1,) array
        Uncertainty of the pivots over all the distances asked about, root mean square: as it is,
        and after each of the shots.
    """

    distances_m: FloatArray
    pivots_rad: FloatArray
    pivot_std_rad: FloatArray


def next_distances(
    fit: ShotFit,
    *,
    goal: Goal,
    distances_m: ArrayLike,
    arc: Arc = Arc.LOW,
    count: int = 3,
) -> NextShots:
    """The shots that lower the variance of the predicted pivots most, each after the ones before.

    Average-variance (V-optimal) design, greedily: A. C. Atkinson, A. N. Donev, R. D. Tobias,
    Optimum Experimental Designs, with SAS, 2007. A shot is taken to scatter as those of the fit.

    Parameters
    ----------
    distances_m
        From where shots will be taken: the pivots for these count, and among these the next shots
        are chosen. Those out of reach are passed over.
    """
    distances = np.array(distances_m, dtype=np.float64)
    pivots = _pivots(fit, np.zeros(len(fit.free)), distances, goal, arc)
    reached = within_range(pivots, fit.shooter)
    if not reached.any() or count < 1:
        raise InputError(
            f"next distances: needs one distance or more within reach and a count of 1 or more "
            f"(got {int(reached.sum())} and {count})"
        )
    distances, pivots = distances[reached], pivots[reached]
    by_values = _slopes_of_pivots(fit, distances, goal, arc)
    by_landing = _slopes_of_landings(fit, pivots)
    scales = np.array([SCALES[name] for name in fit.free])
    cov = fit.cov / np.outer(scales, scales)
    stds, chosen = [_spread(by_values, cov)], []
    for _ in range(count):
        gains = [_after(cov, row, fit.residual_std_m) for row in by_landing]
        spreads = [_spread(by_values, gain) for gain in gains]
        best = int(np.argmin(spreads))
        chosen.append(best)
        cov = gains[best]
        stds.append(spreads[best])
    return NextShots(
        distances_m=distances[chosen],
        pivots_rad=pivots[chosen],
        pivot_std_rad=np.array(stds),
    )


def _changed(fit: ShotFit, scaled_change: FloatArray) -> tuple[Shooter, float]:
    """The shooter and its pivot offset with the fitted values changed a little."""
    values = {
        name: float(value + change * SCALES[name])
        for name, value, change in zip(fit.free, fit.values, scaled_change, strict=True)
    }
    offset = values.get(Fitted.PIVOT_OFFSET, fit.pivot_offset_rad)
    return with_values(fit.shooter, values), offset


def _pivots(
    fit: ShotFit, scaled_change: FloatArray, distances_m: FloatArray, goal: Goal, arc: Arc
) -> FloatArray:
    """The pivots to set for distances, the fitted values changed a little."""
    shooter, offset = _changed(fit, scaled_change)
    height = float(goal.centre_in_world_m[2])
    pivots: FloatArray = solve(distances_m, shooter=shooter, height_m=height).pivot_rad[arc]
    return pivots - offset


def _slopes_of_pivots(fit: ShotFit, distances_m: FloatArray, goal: Goal, arc: Arc) -> FloatArray:
    slopes = central_slopes(
        lambda change: _pivots(fit, change, distances_m, goal, arc), np.zeros(len(fit.free))
    )
    return slopes[np.isfinite(slopes).all(axis=-1)]


def _slopes_of_landings(fit: ShotFit, pivots_rad: FloatArray) -> FloatArray:
    on_floor = MeasuredShots(
        pivots_rad=pivots_rad,
        distances_m=np.ones_like(pivots_rad),
        heights_m=np.zeros_like(pivots_rad),
        is_height_measured=np.zeros(len(pivots_rad), dtype=np.bool_),
    )

    def landings(change: FloatArray) -> FloatArray:
        shooter, offset = _changed(fit, change)
        return flown_points_m(on_floor, shooter=shooter, pivot_offset_rad=offset)

    return central_slopes(landings, np.zeros(len(fit.free)))


def _after(cov: FloatArray, row: FloatArray, std_m: float) -> FloatArray:
    """The covariance after one more measurement: the Kalman update of a constant."""
    along = cov @ row
    return cov - np.outer(along, along) / (row @ along + std_m**2)


def _spread(by_values: FloatArray, cov: FloatArray) -> float:
    variances = np.einsum("ni,ij,nj->n", by_values, cov, by_values)
    return float(np.sqrt(variances.mean()))
