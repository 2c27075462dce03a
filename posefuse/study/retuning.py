"""Which noise in its file would make a plan's filter consistent: found by trials, not by rule."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from posefuse.build_errors.catalogue import BUILD_ERRORS
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.fusion.build_model import FELT_BY_NO_FILTER
from posefuse.fusion.settings import BuildErrors, FilterSettings, Measurement, NoiseKind
from posefuse.simulation.scene import SightingSource
from posefuse.statistics.intervals import Interval
from posefuse.study.compare import compare
from posefuse.study.comparison import Comparison, PlanRow
from posefuse.study.consistency import POSE_DOF
from posefuse.study.ranking import rank_plans
from posefuse.study.study import Plan, Study

__all__ = ["KeyChange", "Retuning", "belief_changes", "retuned", "scaled"]

_MOST_TRIALS, _MOST_TRIES = 10, 5
_GREATEST_FACTOR = 64.0
_NEAR_ENOUGH = math.log(1.15)
_DIGITS = 2
"""Significant ones of a spread, as a person would type it."""

_SPREADS: dict[tuple[Measurement, NoiseKind], tuple[str, ...]] = {
    (Measurement.POSE, NoiseKind.SOLVED): ("position_floor_m", "heading_floor_rad"),
    (Measurement.POSE, NoiseKind.FIXED): ("position_std_m", "heading_std_rad"),
    (Measurement.POSE, NoiseKind.GROWING): (
        "position_std_m",
        "heading_std_rad",
        "position_std_m_per_m2",
        "heading_std_rad_per_m2",
    ),
    (Measurement.CORNERS, NoiseKind.FIXED): ("pixel_std_px",),
    (Measurement.CORNERS, NoiseKind.GROWING): ("pixel_std_px", "pixel_std_px_per_m"),
    (Measurement.RANGE, NoiseKind.FIXED): ("range_std_m",),
    (Measurement.RANGE, NoiseKind.GROWING): ("range_std_m", "range_std_m_per_m"),
    (Measurement.RANGE_BEARING, NoiseKind.FIXED): ("range_std_m", "bearing_std_rad"),
    (Measurement.RANGE_BEARING, NoiseKind.GROWING): (
        "range_std_m",
        "range_std_m_per_m",
        "bearing_std_rad",
    ),
}
"""What says how far a measurement is trusted, by what is fused and how its spread is stated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyChange:
    """One key of ``[noise]`` or ``[as_built]`` in a filter file, in the unit of the file."""

    key: str
    old_noise: float
    new_noise: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Retuning:
    """The noise that brings a filter's NEES nearest to what a consistent filter has.

    Parameters
    ----------
    changes
        All by one factor.
    trials
        With which this was tried, on every course.
    nees_before, nees_after
        Over these trials.
    distance_rms_before_m, distance_rms_after_m
        RMS of the distance error over the same trials.
    """

    changes: tuple[KeyChange, ...]
    trials: int
    nees_before: Interval
    nees_after: Interval
    distance_rms_before_m: float
    distance_rms_after_m: float


def scaled(settings: FilterSettings, factor: float) -> tuple[FilterSettings, tuple[KeyChange, ...]]:
    """Settings that state a factor times the spread of a measurement, and what changes in the file.

    Where both floors of solved poses are 0, the spread of a corner is scaled.
    """
    noise = settings.noise
    names = [
        name for name in _SPREADS[settings.measurement, noise.kind] if getattr(noise, name) > 0.0
    ] or ["pixel_std_px"]
    changes = tuple(_change(name, getattr(noise, name), factor) for name in names)
    values: dict[str, Any] = {
        name: math.radians(change.new_noise) if "_rad" in name else change.new_noise
        for name, change in zip(names, changes, strict=True)
    }
    return replace(settings, noise=replace(noise, **values)), changes


def belief_changes(settings: FilterSettings, built: BuildSpreads) -> tuple[KeyChange, ...]:
    """The keys of ``[as_built]`` that a filter states otherwise than builds are.

    None of a filter that takes builds for exact, and none of what no filter feels.
    """
    believed = settings.believed
    if settings.build_errors is BuildErrors.IGNORED or believed is None:
        return ()
    return tuple(
        KeyChange(
            key=error.key,
            old_noise=_in_file(error.name, believed[error.name]),
            new_noise=_in_file(error.name, built[error.name]),
        )
        for error in BUILD_ERRORS
        if not (error.is_of_robot_file or error.name in FELT_BY_NO_FILTER)
        and not math.isclose(believed[error.name], built[error.name], rel_tol=1e-6)
    )


def _in_file(name: str, value: float) -> float:
    """A number in the unit of the file."""
    return math.degrees(value) if "_rad" in name else value


def _change(name: str, value: float, factor: float) -> KeyChange:
    in_file = _in_file(name, value)
    return KeyChange(
        key=name.replace("_rad", "_deg"),
        old_noise=in_file,
        new_noise=float(f"{factor * in_file:.{_DIGITS}g}"),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Try:
    noise_factor: float
    changes: tuple[KeyChange, ...]
    row: PlanRow

    @property
    def place(self) -> tuple[float, float]:
        """Logarithms of the factor and of the NEES over the one wanted."""
        return math.log(self.noise_factor), math.log(self.row.nees_mean.value / POSE_DOF)

    @property
    def miss(self) -> float:
        """How far the NEES is from the one wanted, as a logarithm."""
        return abs(self.place[1])


def retuned(comparison: Comparison, plan: Plan, *, workers: int) -> Retuning | None:
    """The retuning of a plan's filter, tried on its courses with the draws of the comparison.

    Trials whose images are rendered are tried with corners drawn from the detectors' response: a
    thousand times as fast. ``None`` where NEES is not known.
    """
    trials = min(comparison.trials, _MOST_TRIALS)
    study = replace(comparison.study, plans=(plan,), sightings=SightingSource.CORNERS)

    def tried(factor: float) -> _Try:
        settings, changes = scaled(plan.settings, factor)
        changed = replace(study, plans=(replace(plan, settings=settings),))
        found = compare(changed, trials=trials, seed=comparison.seed, workers=workers)
        return _Try(noise_factor=factor, changes=changes, row=found.ranking[0])

    if comparison.study.sightings is SightingSource.CORNERS:
        first = _Try(noise_factor=1.0, changes=(), row=_first_row(comparison, study, trials))
    else:
        first = tried(1.0)
    if not first.row.nees_mean.value > 0.0:
        return None
    best = _nearest(first, tried)
    return Retuning(
        changes=best.changes,
        trials=trials,
        nees_before=first.row.nees_mean,
        nees_after=best.row.nees_mean,
        distance_rms_before_m=first.row.distance_rms_m.value,
        distance_rms_after_m=best.row.distance_rms_m.value,
    )


def _first_row(comparison: Comparison, study: Study, trials: int) -> PlanRow:
    """The plan's own figures over its first trials."""
    plan = study.plans[0].name
    firsts = [
        replace(of_course, cards=of_course.cards[:trials])
        for of_course in comparison.plan_trials
        if of_course.plan == plan
    ]
    return rank_plans(study, firsts)[0]


def _nearest(first: _Try, tried: Callable[[float], _Try]) -> _Try:
    """The try whose NEES is nearest to the one wanted, by secants between logarithms."""
    tries = [first]
    while len(tries) <= _MOST_TRIES and min(one.miss for one in tries) > _NEAR_ENOUGH:
        factor = _next_factor(tries)
        if any(math.isclose(factor, one.noise_factor) for one in tries):
            break
        tries.append(tried(factor))
    return min(tries, key=lambda one: one.miss)


def _next_factor(tries: Sequence[_Try]) -> float:
    """Where a line through the two nearest tries meets the NEES wanted, within bounds.

    The first step takes the NEES to fall as the factor rises.
    """
    near = sorted(tries, key=lambda one: one.miss)[:2]
    x, y = near[0].place
    slope = -1.0
    if len(near) == 2:
        other_x, other_y = near[1].place
        slope = min((y - other_y) / (x - other_x), -0.2)  # never uphill, nor endlessly far
    most = math.log(_GREATEST_FACTOR)
    return math.exp(min(max(x - y / slope, -most), most))
