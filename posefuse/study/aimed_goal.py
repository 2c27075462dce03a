"""A shooter and a goal: sheets of its arcs, flights to draw, the robot's own table judged."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from posefuse.aim.aim import prepare_aim
from posefuse.aim.arcs import solve
from posefuse.aim.flight import flight_paths_m
from posefuse.aim.hit_probability import hit_probability
from posefuse.aim.sheet import ArcSheet
from posefuse.aim.shots import Shots
from posefuse.aim.table import PivotTable
from posefuse.aim.tabulate import interpolation_errors_rad
from posefuse.arena.arena import Goal
from posefuse.checks import FloatArray
from posefuse.robot.shooter import Shooter

__all__ = ["AimedGoal", "Flights", "JudgedTable", "aimed_goal"]

_FLIGHTS = 9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Flights:
    """Throws from all over the reach of one sheet into the opening.

    Parameters
    ----------
    paths_m : (n, points, 2) array
        Level distance to the goal's middle, negative before it, and height.
    """

    pivots_rad: FloatArray
    paths_m: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JudgedTable:
    """The table that the robot sets its pivots by, beside the exact pivots.

    Parameters
    ----------
    exact_rad : (n,) array
        At the table's distances.
    interpolation_rad : (n - 1,) array
        Largest error of the table in each gap between two of its rows.
    hit_shares, exact_hit_shares : (n,) arrays
        Probability of a hit with a perfect estimate, by the table and by exact pivots.
    """

    table: PivotTable
    exact_rad: FloatArray
    interpolation_rad: FloatArray
    hit_shares: FloatArray
    exact_hit_shares: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AimedGoal:
    """What ``posefuse aim`` works out.

    Parameters
    ----------
    rig, arena
        Their names.
    flights
        Of each sheet.
    own
        ``None`` where the robot has no table of its own.
    """

    rig: str
    arena: str
    shooter: Shooter
    goal: Goal
    sheets: tuple[ArcSheet, ...]
    flights: tuple[Flights, ...]
    own: JudgedTable | None


def aimed_goal(
    shooter: Shooter,
    goal: Goal,
    *,
    sheets: Sequence[ArcSheet],
    rig: str,
    arena: str,
    own: PivotTable | None = None,
) -> AimedGoal:
    """The sheets with all else that is shown of them."""
    return AimedGoal(
        rig=rig,
        arena=arena,
        shooter=shooter,
        goal=goal,
        sheets=tuple(sheets),
        flights=tuple(_flights(sheet) for sheet in sheets),
        own=None if own is None else _judged(own, shooter, goal),
    )


def _flights(sheet: ArcSheet) -> Flights:
    aim = sheet.aim
    distances = np.linspace(*sheet.span_m, _FLIGHTS)
    pivots = _exact_rad(distances, aim.shooter, aim.goal)[aim.arc]
    return Flights(pivots_rad=pivots, paths_m=flight_paths_m(aim.shooter, distances, pivots))


def _judged(own: PivotTable, shooter: Shooter, goal: Goal) -> JudgedTable:
    exact = prepare_aim(shooter, goal, arc=own.arc)
    by_table = prepare_aim(shooter, goal, arc=own.arc, table=own)
    shots = Shots.straight_ahead(own.distances_m, goal=goal)
    return JudgedTable(
        table=own,
        exact_rad=_exact_rad(own.distances_m, shooter, goal)[own.arc],
        interpolation_rad=interpolation_errors_rad(own, aim=exact),
        hit_shares=hit_probability(shots, aim=by_table),
        exact_hit_shares=hit_probability(shots, aim=exact),
    )


def _exact_rad(distances_m: FloatArray, shooter: Shooter, goal: Goal) -> FloatArray:
    """Pivots (2, n) of both arcs through the middle of the opening."""
    return solve(distances_m, shooter=shooter, height_m=float(goal.centre_in_world_m[2])).pivot_rad
