"""From scorecards to hits per 100 shots."""

from collections.abc import Sequence

import numpy as np

from posefuse.checks import FloatArray
from posefuse.scoring.shot_hits import ShotHits
from posefuse.statistics.best import hits_against_best
from posefuse.statistics.trial_means import hits_interval
from posefuse.study.comparison import MovingHits, PlanHits, PlanTrials

__all__ = ["plan_hits"]


def plan_hits(of_plans: Sequence[Sequence[PlanTrials]]) -> list[PlanHits | None]:
    """The hits of each plan; ``None`` of one whose scorecards hold none.

    Parameters
    ----------
    of_plans
        The trials of each plan, one entry for each course.
    """
    trials = [_trials(of_plan) for of_plan in of_plans]
    known = [place for place, hits in enumerate(trials) if hits]
    if not known:
        return [None for _ in trials]
    means = np.array([_per_100(trials[place], "shares") for place in known])
    best = known[int(means.mean(axis=1).argmax())]
    found: list[PlanHits | None] = [None for _ in trials]
    for place, of_trials, against_best in zip(known, means, hits_against_best(means), strict=True):
        difference = against_best.difference if place != best else None
        found[place] = PlanHits(
            per_100=hits_interval(of_trials),
            difference_to_best=difference,
            is_tie=difference is not None and difference.holds(0.0),
            perfect_per_100=float(_per_100(trials[place], "perfect_shares").mean()),
            moving=_moving(trials[place]),
        )
    return found


def _trials(of_plan: Sequence[PlanTrials]) -> list[list[ShotHits]]:
    """The hits of each trial, one entry for each course; empty where they are not known."""
    of_courses = [[card.hits for card in trials.cards] for trials in of_plan]
    with_hits = [hits for hits in of_courses if hits and hits[0] is not None]
    return [[hits for hits in trial if hits is not None] for trial in zip(*with_hits, strict=True)]


def _per_100(trials: Sequence[Sequence[ShotHits]], name: str) -> FloatArray:
    """Mean over all shots of each trial, (trials,)."""
    shares = [np.concatenate([getattr(hits, name) for hits in trial]) for trial in trials]
    return np.array([100.0 * np.nanmean(each) for each in shares])


def _moving(trials: Sequence[Sequence[ShotHits]]) -> MovingHits | None:
    every = [hits for trial in trials for hits in trial if hits.is_moving.any()]
    if not every:
        return None

    def per_100(name: str) -> float:
        shares = [getattr(hits, name)[hits.is_moving] for hits in every]
        return float(100.0 * np.mean(np.concatenate(shares)))

    return MovingHits(
        shot_count=sum(int(hits.is_moving.sum()) for hits in trials[0]),
        led_per_100=per_100("shares"),
        unled_per_100=per_100("unled_shares"),
        stopped_per_100=per_100("stopped_shares"),
    )
