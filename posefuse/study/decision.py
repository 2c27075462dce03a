"""Which plan to choose, what a cheaper one costs, what to fix first, and whether to believe it."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from posefuse.checks import FloatArray
from posefuse.fusion.settings import BuildErrors
from posefuse.statistics.best import AgainstBest, hits_against_best, rms_against_best
from posefuse.statistics.intervals import Interval
from posefuse.study.budget import ErrorBudget, error_budget
from posefuse.study.comparison import Comparison, PlanRow, PlanTrials
from posefuse.study.consistency import Confidence, confidence_of
from posefuse.study.ranking import trial_mean_squares_m2
from posefuse.study.retuning import KeyChange, Retuning, belief_changes, retuned

__all__ = ["Cost", "Decision", "HitsVerdict", "decide"]

_MATTERS_PER_100 = 1.0
"""Fewer hits than this in 100 decide nothing."""


class HitsVerdict(StrEnum):
    """What the hits say of the plans."""

    UNKNOWN = "unknown"
    ALIKE = "alike"
    """The trials cannot tell them apart."""
    CLOSE = "close"
    """They can, but by less than one hit in 100."""
    APART = "apart"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What one plan costs against another, paired trial by trial.

    Parameters
    ----------
    plan, cameras
        The plan that the chosen one is set beside, and how many cameras it has.
    distance_m
        By how much the RMS of the distance error is larger.
    lost_hits_per_100
        How many fewer of 100 shots go in; ``None`` where hits are not known.
    """

    plan: str
    cameras: int
    distance_m: Interval
    lost_hits_per_100: Interval | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """The plan to choose: of those that may be the most accurate, the one with fewest cameras.

    Plans with as many cameras are taken in the order of the ranking. One that is known to cost one
    hit in 100 or more is not chosen, however accurate.

    Parameters
    ----------
    ties
        The other plans that may be the most accurate, best first.
    hits
        What the hits say of all plans.
    hits_range_per_100
        Fewest and most of all plans; nan where they are not known.
    most_accurate
        What the chosen plan costs against the first of the ranking; ``None`` where it is the first.
    cheaper
        What the most accurate plan with fewer cameras costs against the chosen one; ``None``
        without any.
    budget
        Of the chosen plan; ``None`` where no shot is marked.
    nees
        Of the chosen plan.
    knows_build
        Whether its filter considers or estimates errors of the build.
    belief_changes
        Where these trials show that its filter is not consistent: spreads of the build that its
        file states otherwise than the study.
    retuning
        What would make its filter consistent; ``None`` where these trials do not show that it is
        not, or where it believes other spreads of the build: no noise is to make up for these.
    """

    plan: str
    cameras: int
    plan_count: int
    trials: int
    distance_rms_m: Interval
    ties: tuple[str, ...]
    hits: HitsVerdict
    hits_range_per_100: tuple[float, float]
    most_accurate: Cost | None
    cheaper: Cost | None
    budget: ErrorBudget | None
    nees: Interval
    knows_build: bool
    belief_changes: tuple[KeyChange, ...]
    retuning: Retuning | None


def decide(comparison: Comparison, *, workers: int) -> Decision:
    """The decision that a comparison suggests; trying other noise takes some runs of the plan."""
    ranking, study = comparison.ranking, comparison.study
    cameras = {plan.name: len(plan.rig.mounts) for plan in study.plans}
    may_be_best = [row for place, row in enumerate(ranking) if place == 0 or row.is_tie]
    good = [row for row in may_be_best if not _costs_hits(row)] or list(ranking[:1])
    chosen = min(good, key=lambda row: cameras[row.plan])
    cheaper = [row for row in ranking if cameras[row.plan] < cameras[chosen.plan]]

    def cost(row: PlanRow, *, of: str, against: str) -> Cost:
        distance_m, lost = _paired(comparison, of, against)
        return Cost(
            plan=row.plan,
            cameras=cameras[row.plan],
            distance_m=distance_m,
            lost_hits_per_100=lost,
        )

    doubted = confidence_of(chosen.nees_mean) in (
        Confidence.OVERCONFIDENT,
        Confidence.UNDERCONFIDENT,
    )
    plan = study.plan(chosen.plan)
    beliefs = belief_changes(plan.settings, study.spreads) if doubted else ()
    outlooks = [of.outlook for of in _of_plan(comparison, chosen.plan) if of.outlook is not None]
    hits = [row.hits.per_100.value for row in ranking if row.hits is not None]
    return Decision(
        plan=chosen.plan,
        cameras=cameras[chosen.plan],
        plan_count=len(ranking),
        trials=comparison.trials,
        distance_rms_m=chosen.distance_rms_m,
        ties=tuple(row.plan for row in may_be_best if row is not chosen),
        hits=_hits_verdict(ranking),
        hits_range_per_100=(min(hits, default=np.nan), max(hits, default=np.nan)),
        most_accurate=(
            None
            if chosen is ranking[0]
            else cost(ranking[0], of=chosen.plan, against=ranking[0].plan)
        ),
        cheaper=cost(cheaper[0], of=cheaper[0].plan, against=chosen.plan) if cheaper else None,
        budget=error_budget(outlooks) if outlooks else None,
        nees=chosen.nees_mean,
        knows_build=plan.settings.build_errors is not BuildErrors.IGNORED,
        belief_changes=beliefs,
        retuning=(retuned(comparison, plan, workers=workers) if doubted and not beliefs else None),
    )


def _costs_hits(row: PlanRow) -> bool:
    """Whether it is known to cost one hit in 100 or more."""
    difference = None if row.hits is None else row.hits.difference_to_best
    return difference is not None and difference.high <= -_MATTERS_PER_100


def _hits_verdict(ranking: Sequence[PlanRow]) -> HitsVerdict:
    known = [row.hits for row in ranking if row.hits is not None]
    if len(known) < 2:
        return HitsVerdict.UNKNOWN
    compared = [(one.difference_to_best, one.is_tie) for one in known]
    differences = [(more, is_tie) for more, is_tie in compared if more is not None]
    if all(is_tie for _, is_tie in differences):
        return HitsVerdict.ALIKE
    reach = max(_reach(more) for more, _ in differences)
    return HitsVerdict.CLOSE if reach < _MATTERS_PER_100 else HitsVerdict.APART


def _reach(interval: Interval) -> float:
    """The largest difference that the interval holds."""
    if not interval.is_known:
        return abs(interval.value)
    return max(abs(interval.low), abs(interval.high))


def _paired(comparison: Comparison, plan: str, against: str) -> tuple[Interval, Interval | None]:
    """By how much a plan's RMS is larger than another's, and how many more hits that one has."""
    pair = [_of_plan(comparison, name) for name in (against, plan)]
    squares_m2 = np.array([trial_mean_squares_m2(of_plan) for of_plan in pair])
    hits = [_trial_hits_per_100(of_plan) for of_plan in pair]
    distance_m = _to_first(rms_against_best(squares_m2))
    if not all(len(of_plan) for of_plan in hits):
        return distance_m, None
    return distance_m, _to_first(hits_against_best(np.array(hits)[::-1]))


def _to_first(pair: tuple[AgainstBest, ...]) -> Interval:
    """The figure of the second of two plans minus that of the first."""
    (difference,) = (one.difference for one in pair[1:] if one.difference is not None)
    return difference


def _of_plan(comparison: Comparison, plan: str) -> list[PlanTrials]:
    return [trials for trials in comparison.plan_trials if trials.plan == plan]


def _trial_hits_per_100(of_plan: Sequence[PlanTrials]) -> FloatArray:
    """Mean over all shots of each trial (trials,); empty where hits are not known."""
    shares = [
        [card.hits.shares for card in trials.cards if card.hits is not None] for trials in of_plan
    ]
    per_trial = zip(*(of_course for of_course in shares if of_course), strict=True)
    return np.array([100.0 * np.nanmean(np.concatenate(trial)) for trial in per_trial])
