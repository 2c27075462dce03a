"""From scorecards to hits in 100 shots."""

from collections.abc import Sequence

import numpy as np

from posefuse.checks import FloatArray
from posefuse.scoring.shot_hits import ShotHits
from posefuse.statistics.bootstrap import bootstrap_of_means, paired_mean_differences
from posefuse.study.comparison import MovingHits, PlanHits, Run

__all__ = ["plan_hits"]


def plan_hits(
    runs_of_plans: Sequence[Sequence[Run]], *, best: int, seed: int
) -> list[PlanHits | None]:
    """The hits of each plan; ``None`` of one whose scorecards tell none.

    Parameters
    ----------
    runs_of_plans
        The runs of each plan.
    best
        Index of the plan that tells the distance best.
    """
    trials = [_trials(runs) for runs in runs_of_plans]
    known = [place for place, hits in enumerate(trials) if hits]
    if not known:
        return [None for _ in trials]
    means = np.array([_per_100(trials[place], "shares") for place in known])
    differences = (
        dict(
            zip(
                known,
                paired_mean_differences(means, reference=known.index(best), seed=seed),
                strict=True,
            )
        )
        if best in known
        else {}
    )
    found: list[PlanHits | None] = [None for _ in trials]
    for place, of_trials in zip(known, means, strict=True):
        more = differences.get(place) if place != best else None
        found[place] = PlanHits(
            per_100=bootstrap_of_means(of_trials[:, None], lambda m: m[..., 0], seed=seed),
            more_than_best=more,
            is_tie=more is not None and more.holds(0.0),
            perfect_per_100=float(_per_100(trials[place], "perfect_shares").mean()),
            moving=_moving(trials[place]),
        )
    return found


def _trials(runs: Sequence[Run]) -> list[list[ShotHits]]:
    """The hits of each trial, one entry for each course; empty where no course tells them."""
    told = [[card.hits for card in run.cards] for run in runs]
    with_hits = [cards for cards in told if cards and cards[0] is not None]
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
