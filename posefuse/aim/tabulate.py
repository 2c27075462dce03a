"""Working out tables of pivots, and what interpolating in them costs."""

from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from posefuse.aim.aim import Aim, reachable_spans_m
from posefuse.aim.compiled.room import find_roomiest
from posefuse.aim.curve import solve, within_range
from posefuse.aim.flight import fly
from posefuse.aim.law import flight_law
from posefuse.aim.table import PivotTable, rising_distances_m
from posefuse.checks import FloatArray
from posefuse.errors import FileError, InputError
from posefuse.files.table_file import read_table
from posefuse.robot.shooter import Shooter
from posefuse.units import to_degrees

__all__ = ["interpolation_errors_rad", "load_pivot_table", "pivot_table", "roomiest_pivots"]

INNER_POINTS = 7
ROUNDING_DEG = 1e-3


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
        A distance that is out of reach, is there twice, or does not rise.
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
    times, entries = _arrivals(aim, distances, pivots)
    return PivotTable(
        arc=aim.arc,
        distances_m=distances,
        pivots_rad=pivots,
        slopes_rad_per_m=slopes,
        times_s=times,
        entries_rad=entries,
        is_roomiest=is_roomiest,
    )


def load_pivot_table(path: Path, *, aim: Aim) -> PivotTable:
    """The table in a CSV file, by which a robot sets the pivots of an aim.

    Columns distance_m, pivot_deg; those that ``write_pivot_table`` adds are passed over, for they
    follow from these.

    Raises
    ------
    FileError
        A column that is missing or unknown, a cell that is no number, fewer than two rows, a
        distance that is there twice or does not rise, a pivot beyond the shooter's range or from
        which nothing comes to its distance.
    """
    columns = read_table(
        path,
        ("distance_m", "pivot_deg"),
        optional=("slope_deg_per_m", "time_of_flight_s", "entry_deg"),
    )
    pivots = np.radians(columns["pivot_deg"])
    try:
        distances = rising_distances_m(columns["distance_m"])
        _refuse_beyond_range(aim.shooter, columns["pivot_deg"], distances)
        times, entries = _arrivals(aim, distances, pivots)
        lost = np.flatnonzero(np.isnan(times))
        if len(lost):
            row = int(lost[0])
            raise InputError(
                f"pivot table: with a pivot of {columns['pivot_deg'][row]:g} degrees the piece "
                f"does not come as far as {distances[row]:g} m"
            )
        return PivotTable(
            arc=aim.arc,
            distances_m=distances,
            pivots_rad=pivots,
            slopes_rad_per_m=np.gradient(pivots, distances),
            times_s=times,
            entries_rad=entries,
        )
    except InputError as error:
        raise FileError(path, str(error).removeprefix("pivot table: ")) from None


def _refuse_beyond_range(shooter: Shooter, pivots_deg: FloatArray, distances_m: FloatArray) -> None:
    low, high = to_degrees(shooter.pivot_low_rad), to_degrees(shooter.pivot_high_rad)
    is_beyond = (pivots_deg < low - ROUNDING_DEG) | (pivots_deg > high + ROUNDING_DEG)
    if is_beyond.any():
        row = int(np.argmax(is_beyond))
        raise InputError(
            f"pivot_deg: must be within the shooter's {low:g} to {high:g} degrees (got "
            f"{pivots_deg[row]:g} at {distances_m[row]:g} m)"
        )


def _refuse_unreached(aim: Aim, distances_m: FloatArray, pivots_rad: FloatArray) -> None:
    reached = within_range(pivots_rad, aim.shooter)
    if not reached.all():
        spans = reachable_spans_m(aim.shooter, aim.goal, arc=aim.arc)
        told = " and ".join(f"{nearest:.2f} to {farthest:.2f} m" for nearest, farthest in spans)
        raise InputError(
            f"goal {aim.goal.name}: {distances_m[np.argmin(reached)]:g} m is out of reach: the "
            f"{aim.arc.name.lower()} arc reaches {told}"
        )


def _arrivals(
    aim: Aim, distances_m: FloatArray, pivots_rad: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Times of flight, and angles below level at the opening's distance."""
    shooter = aim.shooter
    starts = shooter.release_at(pivots_rad)
    ahead = np.sqrt(distances_m**2 - starts[:, 1] ** 2)
    starts[:, 1] = 0.0
    directions = np.stack([np.cos(pivots_rad), 0.0 * pivots_rad, np.sin(pivots_rad)], axis=-1)
    middles = np.stack([ahead, 0.0 * ahead, 0.0 * ahead], axis=-1)
    flown = fly(
        starts,
        shooter.exit_speed_m_per_s * directions,
        law=flight_law(shooter),
        plane_points_m=middles,
        plane_normals=(-1.0, 0.0, 0.0),
        floor_m=-10.0,
    )
    velocities = flown.velocities_m_per_s
    return flown.time_s, np.arctan2(-velocities[:, 2], velocities[:, 0])


def roomiest_pivots(aim: Aim, distances_m: ArrayLike, *, approach_rad: float = 0.0) -> FloatArray:
    """For each distance the pivot with most room, its room, and the room of the middle's, (n, 3).

    Room is how far the robot may stand nearer and farther than it believes and the shot still
    scores, the smaller of both, 5 m at most. In rad and m; nan where the pivot through the
    opening's middle is out of reach or does not score.
    """
    distances = np.array(distances_m, dtype=np.float64)
    height = float(aim.goal.centre_in_world_m[2])
    centred = solve(distances, shooter=aim.shooter, height_m=height).pivot_rad[aim.arc]
    away = aim.goal.facing_rad + approach_rad
    found = np.empty((len(distances), 3))
    find_roomiest(
        distances,
        centred.copy(),
        np.cos(away),
        np.sin(away),
        aim.thrower,
        aim.opening,
        aim.curve,
        aim.law,
        found,
    )
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
