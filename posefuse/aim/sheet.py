"""Everything about one arc to one goal, distance by distance."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from posefuse.aim.aim import Aim, is_reached, out_of_reach, prepare_aim, reachable_spans_m
from posefuse.aim.arcs import Arc
from posefuse.aim.arrays import opening_of
from posefuse.aim.hit_probability import (
    HitCounts,
    enough_distance_std_m,
    hit_probability,
    simulate_hits,
)
from posefuse.aim.shots import Shots
from posefuse.aim.table import PivotTable
from posefuse.aim.tabulate import interpolation_errors_rad, pivot_table, roomiest_pivots
from posefuse.aim.tolerance import ToleranceBand, tolerance_band
from posefuse.arena.arena import Goal
from posefuse.checks import BoolArray, FloatArray, IntArray, positive
from posefuse.errors import InputError
from posefuse.robot.shooter import Shooter

__all__ = ["MOST_ROWS", "ArcSheet", "arc_sheets", "refuse_unreachable", "spread_rows"]

MOST_ROWS = 2000
END_SHARE = 0.05  # at the very end of the reach both arcs meet, and the slope is boundless
DRAWN_ROWS = 8
DRAWN_THROWS = 10_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ArcSheet:
    """One arc over one stretch of distances.

    Parameters
    ----------
    span_m
        From where to where the arc reaches the middle of the opening.
    table
        Pivots through the opening's middle, at multiples of the spacing.
    interpolation_rad : (n - 1,) array
        Largest error of straight lines between the rows, in each gap.
    roomiest : (n, 3) array
        See ``roomiest_pivots``.
    roomiest_table
        The same as a table, over the longest run of rows that have one; ``None`` below 2 rows.
    band
        How far off an estimate may be, the shooter throwing exactly as set.
    hit_shares : (n,) array
        Probability of a hit with a perfect estimate and the shooter's own spread, by the integral.
    drawn_rows : (k,) ints
        Rows, evenly spread, from which throws were drawn as well.
    drawn
        How many of those went in.
    enough_m : (n,) array
        The distance error (std) below which better vision adds less than one hit in 100.
    """

    span_m: tuple[float, float]
    aim: Aim
    table: PivotTable
    interpolation_rad: FloatArray
    roomiest: FloatArray
    roomiest_table: PivotTable | None
    band: ToleranceBand
    hit_shares: FloatArray
    drawn_rows: IntArray
    drawn: HitCounts
    enough_m: FloatArray


def arc_sheets(
    shooter: Shooter, goal: Goal, *, arc: Arc, spacing_m: float, clearance_m: float = 0.0
) -> tuple[ArcSheet, ...]:
    """A sheet for each stretch that the arc reaches; none where it reaches nothing.

    Raises
    ------
    InputError
        The opening is too small for the piece, or the spacing makes too many rows.
    """
    opening_of(goal, shooter, clearance_m=clearance_m)
    positive("spacing", spacing_m)
    spans = reachable_spans_m(shooter, goal, arc=arc)
    if not len(spans):
        return ()
    aim = prepare_aim(shooter, goal, arc=arc, clearance_m=clearance_m)
    return tuple(_sheet(aim, near, far, spacing_m) for near, far in spans.tolist())


def refuse_unreachable(shooter: Shooter, goal: Goal, *, arcs: Sequence[Arc] = tuple(Arc)) -> None:
    """Refuse a goal that none of the arcs reaches from anywhere.

    Raises
    ------
    InputError
        Such a goal.
    """
    if not any(is_reached(shooter, goal, arc=arc) for arc in arcs):
        raise out_of_reach(shooter, goal, arcs=arcs)


def _sheet(aim: Aim, near_m: float, far_m: float, spacing_m: float) -> ArcSheet:
    distances = _distances_m(near_m, far_m, spacing_m)
    table = pivot_table(aim, distances)
    roomiest = roomiest_pivots(aim, distances)
    run = _longest_run(np.isfinite(roomiest[:, 0]))
    has_run = run.stop - run.start >= 2
    shots = Shots.straight_ahead(distances, goal=aim.goal)
    drawn_rows = spread_rows(len(distances), DRAWN_ROWS)
    drawn = Shots.straight_ahead(distances[drawn_rows], goal=aim.goal)
    return ArcSheet(
        span_m=(near_m, far_m),
        aim=aim,
        table=table,
        interpolation_rad=interpolation_errors_rad(table, aim=aim),
        roomiest=roomiest,
        roomiest_table=(pivot_table(aim, distances[run], is_roomiest=True) if has_run else None),
        band=tolerance_band(aim, distances),
        hit_shares=hit_probability(shots, aim=aim),
        drawn_rows=drawn_rows,
        drawn=simulate_hits(drawn, aim=aim, count=DRAWN_THROWS, seed=0),
        enough_m=enough_distance_std_m(aim, distances),
    )


def spread_rows(count: int, most: int) -> IntArray:
    """At most ``most`` of ``count`` rows, evenly spread, the first and the last among them.

    >>> spread_rows(9, 3)
    array([0, 4, 8])
    """
    return np.unique(np.linspace(0, count - 1, most).round().astype(np.int64))


def _distances_m(near_m: float, far_m: float, spacing_m: float) -> FloatArray:
    """The multiples of the spacing within a stretch; near its ends where there are not two."""
    first, last = math.ceil(near_m / spacing_m), math.floor(far_m / spacing_m)
    if last - first + 1 > MOST_ROWS:
        raise InputError(
            f"spacing: makes {last - first + 1} rows between {near_m:.2f} and {far_m:.2f} m, at "
            f"most {MOST_ROWS} are allowed (got {spacing_m:g} m)"
        )
    if last <= first:
        return np.array([near_m, far_m - END_SHARE * (far_m - near_m)])
    return np.round(spacing_m * np.arange(first, last + 1), 9)


def _longest_run(is_there: BoolArray) -> slice:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], is_there, [False]])))
    if not len(edges):
        return slice(0, 0)
    starts, ends = edges[::2], edges[1::2]
    longest = int(np.argmax(ends - starts))
    return slice(int(starts[longest]), int(ends[longest]))
