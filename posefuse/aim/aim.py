"""A shooter made ready for one goal: what pivot it sets, how its piece flies, what scores."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from posefuse.aim.arcs import Arc, arc_curves, curve_through, solve, within_range
from posefuse.aim.arrays import AimArrays, CurveTable, opening_of, shooter_law_table, thrower_of
from posefuse.aim.compiled.shot import steer_all
from posefuse.aim.table import PivotTable
from posefuse.arena.arena import Goal
from posefuse.checks import BoolArray, FloatArray
from posefuse.errors import InputError
from posefuse.robot.shooter import Shooter
from posefuse.units import to_degrees

__all__ = [
    "Aim",
    "Commands",
    "is_reached",
    "out_of_reach",
    "prepare_aim",
    "reachable_spans_m",
    "shot_commands",
]

REFINEMENTS = 3
PARTS = 32


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Aim:
    """One shooter, one goal and the curve of pivots by which the robot sets its shots.

    Parameters
    ----------
    arc
        Which of the two pivots is set.
    arrays
        The same in numbers, for the compiled kernels.
    """

    shooter: Shooter
    goal: Goal
    arc: Arc
    arrays: AimArrays

    @property
    def curve(self) -> CurveTable:
        """The pivots over the distance.

        Beyond its ends the robot keeps the pivot of the nearer end, and always stays within the
        pivot's range.
        """
        return self.arrays.curve

    def positions_m(self, distances_m: FloatArray, *, approach_rad: float = 0.0) -> FloatArray:
        """Where a robot stands at each distance (n,) from the goal, (n, 2).

        Parameters
        ----------
        approach_rad
            Its direction from the goal, counter-clockwise from where the opening looks.
        """
        away = self.goal.facing_rad + approach_rad
        outward = np.array([np.cos(away), np.sin(away)])
        distances = np.asarray(distances_m, dtype=np.float64)
        return np.asarray(self.goal.xy_in_world_m + distances[:, None] * outward)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Commands:
    """What a robot sets for its shots: headings and pivots, (n,) each."""

    headings_rad: FloatArray
    pivots_rad: FloatArray


def prepare_aim(
    shooter: Shooter,
    goal: Goal,
    *,
    arc: Arc = Arc.LOW,
    clearance_m: float = 0.0,
    table: PivotTable | None = None,
) -> Aim:
    """The shooter made ready for the goal.

    Parameters
    ----------
    clearance_m
        Least gap between the piece and the rim.
    table
        What the robot sets its pivot by, with straight lines between the rows, in place of the
        exact pivots of the arc.

    Raises
    ------
    InputError
        The goal is out of reach, or its opening too small for the piece.
    """
    opening = opening_of(goal, shooter, clearance_m=clearance_m)
    height = float(goal.centre_in_world_m[2])
    curve = (
        arc_curves(shooter, height)[arc]
        if table is None
        else curve_through(table.distances_m, table.pivots_rad)
    )
    if curve is None or not within_range(curve.pivots_rad, shooter).any():
        raise out_of_reach(shooter, goal, arcs=(arc,))
    return Aim(
        shooter=shooter,
        goal=goal,
        arc=arc,
        arrays=AimArrays(
            thrower=thrower_of(shooter),
            opening=opening,
            curve=curve,
            law=shooter_law_table(shooter),
        ),
    )


def out_of_reach(shooter: Shooter, goal: Goal, *, arcs: Sequence[Arc] = tuple(Arc)) -> InputError:
    """The error for a goal that no pivot reaches from anywhere on some arcs."""
    low, high = to_degrees(shooter.pivot_low_rad), to_degrees(shooter.pivot_high_rad)
    if low == high:
        return InputError(
            f"goal {goal.name}: no distance can be set: the pivot is fixed at {low:g} degrees "
            "(pivot_low_deg and pivot_high_deg are the same)"
        )
    which = "either arc" if len(arcs) > 1 else f"the {arcs[0].name.lower()} arc"
    return InputError(
        f"goal {goal.name}: out of reach: no pivot between {low:g} and {high:g} degrees brings the "
        f"piece to its middle, {goal.centre_in_world_m[2]:g} m up, on {which} at "
        f"{shooter.exit_speed_m_per_s:g} m/s"
    )


def is_reached(shooter: Shooter, goal: Goal, *, arc: Arc) -> bool:
    """Whether the arc reaches the opening's middle from anywhere."""
    curve = arc_curves(shooter, float(goal.centre_in_world_m[2]))[arc]
    return curve is not None and bool(within_range(curve.pivots_rad, shooter).any())


def reachable_spans_m(shooter: Shooter, goal: Goal, *, arc: Arc) -> FloatArray:
    """From where to where the pivots of one arc reach the opening's middle, (spans, 2).

    More than one span where the pivot's range leaves a gap between flights that rise into the goal
    and flights that fall into it; none where nothing is reached.
    """
    height = float(goal.centre_in_world_m[2])
    curve = arc_curves(shooter, height)[arc]
    if curve is None:
        return np.empty((0, 2))
    inside = within_range(curve.pivots_rad, shooter)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]])))
    spacing = float(curve.distances_m[1] - curve.distances_m[0])

    def is_reached(distances: FloatArray) -> BoolArray:
        pivots = solve(distances, shooter=shooter, height_m=height).pivot_rad[arc]
        return within_range(pivots, shooter)

    spans = [
        (
            _edge(curve.distances_m[first], -spacing, is_reached),
            _edge(curve.distances_m[end - 1], spacing, is_reached),
        )
        for first, end in zip(edges[::2], edges[1::2], strict=True)
    ]
    return np.array(spans).reshape(-1, 2)


def _edge(inside_m: float, step_m: float, is_reached: Callable[[FloatArray], BoolArray]) -> float:
    """The last reached distance from ``inside_m`` toward ``inside_m + step_m``."""
    for _ in range(REFINEMENTS):
        step_m /= PARTS
        distances = inside_m + step_m * np.arange(1.0, PARTS + 1)
        beyond = ~is_reached(distances)
        inside_m += step_m * float(np.argmax(beyond) if beyond.any() else PARTS)
    return inside_m


def shot_commands(positions_m: FloatArray, motions: FloatArray, *, aim: Aim) -> Commands:
    """The headings and pivots that a robot sets for its estimated positions and motions.

    At rest the pivot of its curve. On the move the piece leaves with the robot's own motion: the
    heading and the pivot then lead, so that it still passes the middle of the opening.

    Parameters
    ----------
    positions_m : (n, 2) array
        As the piece leaves; a robot predicts them over its release delay.
    motions : (n, 3) array
        Velocity along the world's x and y, and turn rate.
    """
    states = np.ascontiguousarray(np.concatenate([positions_m, motions], axis=-1))
    found = np.empty((len(states), 2))
    steer_all(states, aim.arrays, found)
    return Commands(headings_rad=found[:, 0], pivots_rad=found[:, 1])
