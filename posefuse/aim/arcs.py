"""The two pivots that reach a point, the low and the high arc: solved, and as smooth curves."""

import math
from dataclasses import dataclass, field
from enum import IntEnum
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from posefuse.aim.arrays import CurveTable, shooter_law_table, thrower_of
from posefuse.aim.compiled.pivot import look_up_pivots, solve_arcs
from posefuse.aim.flight import ahead_m
from posefuse.checks import BoolArray, FloatArray
from posefuse.robot.shooter import Shooter

__all__ = [
    "Arc",
    "Solution",
    "arc_curves",
    "curve_through",
    "pivots_on",
    "solve",
    "within_range",
]

LEAST_SPACING_M = 0.02
MOST_NODES = 600
MOST_EXTENSIONS = 3  # without drag, lift would carry a piece for ever


class Arc(IntEnum):
    """Which of the two pivots that reach a point."""

    LOW = 0
    HIGH = 1


class Solution(NamedTuple):
    """The pivots of both arcs to points at level distances; first axis: low, high.

    nan where a point is out of reach; the pivot's range is not looked at.

    Parameters
    ----------
    pivot_rad, slope_rad_per_m, time_s, entry_rad, gain_m_per_rad : (2, n) arrays
        The slope is by the distance; the entry is the path's angle below level at the point; the
        gain is the height won there for each radian of pivot.
    """

    pivot_rad: FloatArray
    slope_rad_per_m: FloatArray
    time_s: FloatArray
    entry_rad: FloatArray
    gain_m_per_rad: FloatArray


def solve(distances_m: FloatArray, *, shooter: Shooter, height_m: float) -> Solution:
    """Both pivots for a point at each level distance (n,) from the robot's middle."""
    aheads = ahead_m(distances_m, shooter)
    arcs = np.empty((2, len(aheads), 6))
    solve_arcs(aheads, height_m, thrower_of(shooter), shooter_law_table(shooter), arcs)
    with np.errstate(invalid="ignore", divide="ignore"):
        ahead_per_distance = distances_m / aheads
    return Solution(
        pivot_rad=arcs[..., 0],
        slope_rad_per_m=arcs[..., 1] * ahead_per_distance,
        time_s=arcs[..., 2],
        entry_rad=np.arctan2(-arcs[..., 4], arcs[..., 3]),
        gain_m_per_rad=arcs[..., 5],
    )


def arc_curves(shooter: Shooter, height_m: float) -> tuple[CurveTable | None, CurveTable | None]:
    """The pivots of the low and the high arc over all distances; ``None`` where it reaches none.

    Kept for the next call with a shooter of the same figures: they are asked for at every trial,
    and rival plans carry the same shooter. The pivot's range is not looked at. Between its nodes a
    curve errs by less than 1e-6 rad, except next to the nearest and farthest distances, where
    pivots change fastest.
    """
    return _kept_curves(_Figures(_figures(shooter), shooter), height_m)


@dataclass(frozen=True, slots=True)
class _Figures:
    """A shooter that is equal to others of the same figures."""

    figures: tuple[object, ...]
    shooter: Shooter = field(compare=False)


def _figures(shooter: Shooter) -> tuple[object, ...]:
    values = (getattr(shooter, name) for name in shooter.__dataclass_fields__)
    return tuple(v.tobytes() if isinstance(v, np.ndarray) else v for v in values)


@lru_cache(maxsize=32)
def _kept_curves(figures: _Figures, height_m: float) -> tuple[CurveTable | None, CurveTable | None]:
    shooter = figures.shooter
    reach_m = _farthest_without_air(shooter, height_m)
    distances, solution = _solved_out_to(reach_m, shooter, height_m)
    for _ in range(MOST_EXTENSIONS):
        if np.isnan(solution.pivot_rad[:, -1]).all():
            break
        reach_m *= 1.5  # lift carried the piece farther
        distances, solution = _solved_out_to(reach_m, shooter, height_m)
    low, high = (
        _longest_run(distances, solution.pivot_rad[arc], solution.slope_rad_per_m[arc])
        for arc in Arc
    )
    return low, high


def _solved_out_to(
    reach_m: float, shooter: Shooter, height_m: float
) -> tuple[FloatArray, Solution]:
    spacing = max(LEAST_SPACING_M, reach_m / MOST_NODES)
    nodes = np.arange(1.0, math.ceil(reach_m / spacing) + 1)
    distances = abs(float(shooter.release_in_robot_m[1])) + spacing * nodes
    return distances, solve(distances, shooter=shooter, height_m=height_m)


def _farthest_without_air(shooter: Shooter, height_m: float) -> float:
    """Level reach ``v / g sqrt(v^2 + 2 g drop)`` of a throw without air, and a bit."""
    table = shooter_law_table(shooter)
    v, g = shooter.exit_speed_m_per_s, table.gravity_m_per_s2
    release = shooter.release_in_robot_m
    drop = max(float(release[2]) - height_m, 0.0)
    arm = math.hypot(*shooter.arm_m)
    return 1.1 * (v / g * math.sqrt(v**2 + 2.0 * g * (drop + arm)) + abs(float(release[0])) + arm)


def _longest_run(
    distances_m: FloatArray, pivots_rad: FloatArray, slopes: FloatArray
) -> CurveTable | None:
    is_reached = np.isfinite(pivots_rad) & np.isfinite(slopes)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], is_reached, [False]])))
    starts, ends = edges[::2], edges[1::2]
    if len(starts) == 0 or (ends - starts).max() < 2:
        return None
    longest = int(np.argmax(ends - starts))
    run = slice(starts[longest], ends[longest])
    ends_of_spans = np.stack([slopes[run][:-1], slopes[run][1:]], axis=-1)
    return _frozen(distances_m[run], pivots_rad[run], ends_of_spans)


def curve_through(distances_m: FloatArray, pivots_rad: FloatArray) -> CurveTable:
    """Straight lines between given pivots, as a robot interpolates its table."""
    secants = np.diff(pivots_rad) / np.diff(distances_m)
    return _frozen(distances_m, pivots_rad, np.stack([secants, secants], axis=-1))


def _frozen(distances_m: FloatArray, pivots_rad: FloatArray, slopes: FloatArray) -> CurveTable:
    arrays = [np.array(array) for array in (distances_m, pivots_rad, slopes)]
    for array in arrays:
        array.setflags(write=False)
    return CurveTable(*arrays)


def pivots_on(curve: CurveTable | None, distances_m: ArrayLike) -> FloatArray:
    """The curve's pivots at distances of any shape; nan beyond its ends."""
    distances = np.asarray(distances_m, dtype=np.float64)
    pivots = np.full(distances.size, np.nan)
    if curve is not None:
        look_up_pivots(np.array(distances).reshape(-1), curve, pivots)
    return pivots.reshape(distances.shape)


def within_range(pivot_rad: FloatArray, shooter: Shooter) -> BoolArray:
    """Whether pivots lie in the shooter's range; not where they are nan."""
    return (pivot_rad >= shooter.pivot_low_rad) & (pivot_rad <= shooter.pivot_high_rad)
