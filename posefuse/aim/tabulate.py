"""Working out tables of pivots, and what interpolating in them costs."""

import math

import numpy as np
from numpy.typing import ArrayLike

from posefuse.aim.aim import Aim, reachable_spans_m
from posefuse.aim.arcs import solve, within_range
from posefuse.aim.compiled.tolerance import find_roomiest
from posefuse.aim.flight import ahead_m, fly_ahead
from posefuse.aim.table import PivotTable, rising_distances_m
from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.robot.shooter import Shooter

__all__ = ["arrivals", "interpolation_errors_rad", "pivot_table", "roomiest_pivots"]

INNER_POINTS = 7
DEEP_M = -10.0  # flights are followed this far below the floor


def pivot_table(aim: Aim, distances_m: ArrayLike, *, is_roomiest: bool = False) -> PivotTable:
    """The pivots of the aim's arc for rising distances.

    Parameters
    ----------
    is_roomiest
        The pivots that leave the most room for a wrong distance, in place of those through the
        middle of the opening; their slopes are those between neighbouring rows.

    Raises
    ------
    InputError
        A distance that is out of reach, appears twice, or does not rise.
    """
    distances = rising_distances_m(distances_m)
    if is_roomiest:
        pivots = roomiest_pivots(aim, distances)[:, 0]
        _refuse_unreached(aim, distances, pivots)
        slopes = np.gradient(pivots, distances, edge_order=2 if len(distances) > 2 else 1)
    else:
        height = float(aim.goal.centre_in_world_m[2])
        found = solve(distances, shooter=aim.shooter, height_m=height)
        pivots, slopes = found.pivot_rad[aim.arc], found.slope_rad_per_m[aim.arc]
        _refuse_unreached(aim, distances, pivots)
    times, entries = arrivals(aim.shooter, distances, pivots)
    return PivotTable(
        arc=aim.arc,
        distances_m=distances,
        pivots_rad=pivots,
        slopes_rad_per_m=slopes,
        times_s=times,
        entries_rad=entries,
        is_roomiest=is_roomiest,
    )


def _refuse_unreached(aim: Aim, distances_m: FloatArray, pivots_rad: FloatArray) -> None:
    reached = within_range(pivots_rad, aim.shooter)
    if not reached.all():
        spans = reachable_spans_m(aim.shooter, aim.goal, arc=aim.arc)
        reach = " and ".join(f"{nearest:.2f} to {farthest:.2f} m" for nearest, farthest in spans)
        raise InputError(
            f"goal {aim.goal.name}: {distances_m[np.argmin(reached)]:g} m is out of reach: the "
            f"{aim.arc.name.lower()} arc reaches {reach}"
        )


def arrivals(
    shooter: Shooter, distances_m: FloatArray, pivots_rad: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Times of flight to distances (n,), and angles below level there; nan where none arrives."""
    aheads = ahead_m(distances_m, shooter)[:, None]
    flown = fly_ahead(shooter, pivots_rad, aheads, floor_m=DEEP_M)
    velocities = flown.velocities_m_per_s[:, 0]
    return flown.time_s[:, 0], np.arctan2(-velocities[:, 2], velocities[:, 0])


def roomiest_pivots(aim: Aim, distances_m: ArrayLike, *, approach_rad: float = 0.0) -> FloatArray:
    """For each distance the pivot with most room, its room, and the room of the middle's, (n, 3).

    Room is how far the robot may stand nearer and farther than it estimates and the shot still
    scores, the smaller of both, 5 m at most. In rad and m; nan where the pivot through the
    opening's middle is out of reach or does not score.
    """
    distances = np.array(distances_m, dtype=np.float64)
    height = float(aim.goal.centre_in_world_m[2])
    centred = solve(distances, shooter=aim.shooter, height_m=height).pivot_rad[aim.arc]
    direction = aim.goal.facing_rad + approach_rad
    away = (math.cos(direction), math.sin(direction))
    found = np.empty((len(distances), 3))
    find_roomiest(distances, centred.copy(), away, aim.arrays, found)
    return found


def interpolation_errors_rad(table: PivotTable, *, aim: Aim) -> FloatArray:
    """The largest error of straight lines between the rows of a table, in each gap, (n - 1,).

    Against pivots worked out at seven distances inside each gap.
    """
    parts = np.arange(1.0, INNER_POINTS + 1) / (INNER_POINTS + 1)
    nearer, farther = table.distances_m[:-1, None], table.distances_m[1:, None]
    between = (nearer + (farther - nearer) * parts).reshape(-1)
    if table.is_roomiest:
        exact = roomiest_pivots(aim, between)[:, 0]
    else:
        height = float(aim.goal.centre_in_world_m[2])
        exact = solve(between, shooter=aim.shooter, height_m=height).pivot_rad[table.arc]
    errors = np.abs(table.pivot_rad(between) - exact)
    return np.asarray(errors.reshape(-1, INNER_POINTS).max(axis=-1))
