"""From scorecards to a ranking: figures over all trials, differences paired trial by trial."""

from collections.abc import Sequence

import numpy as np

from posefuse.checks import FloatArray
from posefuse.scoring.scorecard import Scorecard, SpanScores
from posefuse.statistics.bootstrap import paired_rms_differences
from posefuse.statistics.intervals import Interval
from posefuse.statistics.trial_means import rms_interval
from posefuse.study.comparison import PlanHits, PlanRow, Run
from posefuse.study.plan_hits import plan_hits
from posefuse.study.study import Study

__all__ = ["rank_plans", "trial_mean_squares_m2", "warn_of"]

_FEW_TRIALS = 10
_NEVER = 0.005
"""Probability of a hit below which a shot is as good as lost."""


def rank_plans(study: Study, runs: Sequence[Run], *, seed: int) -> tuple[PlanRow, ...]:
    """The plans, smallest distance error at the shots first.

    Parameters
    ----------
    seed
        Of the resampling behind the intervals.
    """
    of_plans = [_runs_of(plan.name, runs) for plan in study.plans]
    squares = np.array([trial_mean_squares_m2(of_plan) for of_plan in of_plans])
    order = np.argsort(squares.mean(axis=1), kind="stable")
    best = int(order[0])
    differences = paired_rms_differences(squares, reference=best, seed=seed)
    hits = plan_hits(of_plans, best=best, seed=seed)
    return tuple(
        _row(
            study.plans[place].name,
            of_plans[place],
            distance_rms_m=rms_interval(squares[place]),
            more_than_best_m=None if place == best else differences[place],
            hits=hits[place],
        )
        for place in order
    )


def _runs_of(plan: str, runs: Sequence[Run]) -> list[Run]:
    return [run for run in runs if run.plan == plan]


def trial_mean_squares_m2(runs: Sequence[Run]) -> FloatArray:
    """Mean squared distance error of each trial (trials,), over all shots of the runs given.

    Where no course marks a shot, over the whole courses.
    """
    with_shots = [run for run in runs if run.cards[0].shots is not None]
    if with_shots:
        return np.asarray(np.mean(_shot_errors_m(with_shots) ** 2, axis=1))
    per_course = [[_distance_rms_m(card.whole_course) ** 2 for card in run.cards] for run in runs]
    return np.asarray(np.mean(per_course, axis=0))


def _distance_rms_m(span: SpanScores) -> float:
    return np.nan if span.distance_m is None else span.distance_m.rms


def _shot_errors_m(runs: Sequence[Run]) -> FloatArray:
    """Distance errors (trials, shots) over all shots of runs that have any."""
    return np.concatenate(
        [
            np.array([card.shots.distance_error_m for card in run.cards if card.shots is not None])
            for run in runs
        ],
        axis=1,
    )


def _row(
    plan: str,
    runs: Sequence[Run],
    *,
    distance_rms_m: Interval,
    more_than_best_m: Interval | None,
    hits: PlanHits | None,
) -> PlanRow:
    spans = [_span(card) for run in runs for card in run.cards]
    figures = [span.distance_m for span in spans if span.distance_m is not None]
    with_shots = [run for run in runs if run.cards[0].shots is not None]
    return PlanRow(
        plan=plan,
        distance_rms_m=distance_rms_m,
        distance_bias_m=float(np.mean([figure.bias for figure in figures])),
        distance_p95_m=(
            float(np.percentile(np.abs(_shot_errors_m(with_shots)), 95))
            if with_shots
            else float(np.mean([figure.p95 for figure in figures]))
        ),
        bearing_rms_rad=_rms([s.bearing_rad.rms for s in spans if s.bearing_rad]),
        pivot_rms_rad=_rms([s.pivot_rad.rms for s in spans if s.pivot_rad]),
        heading_rms_rad=_rms([s.heading_rad.rms for s in spans if s.heading_rad]),
        position_rms_m=_rms([s.position_rms_m for s in spans if s.position_rms_m is not None]),
        bound_rms_m=_rms(
            [s.bound_distance_rms_m for s in spans if s.bound_distance_rms_m is not None]
        ),
        blind_share=float(np.mean([span.no_tag_share for span in spans])),
        nees=float(np.mean([span.nees.mean for span in spans if span.nees])),
        more_than_best_m=more_than_best_m,
        is_tie=more_than_best_m is not None and more_than_best_m.holds(0.0),
        hits=hits,
    )


def _span(card: Scorecard) -> SpanScores:
    return card.at_shots or card.whole_course


def _rms(values: Sequence[float]) -> float:
    """Root mean square; nan of none."""
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else float("nan")


def warn_of(runs: Sequence[Run]) -> tuple[str, ...]:
    """What a user should know before believing the ranking, one line each."""
    told = [
        f"plan {run.plan!r} never sees a tag on course {run.course!r}: "
        "its estimate is wheel odometry alone"
        for run in runs
        if not any(sum(card.outcomes.values()) for card in run.cards)
    ]
    if all(run.cards[0].shots is None for run in runs):
        told.append("no course marks a shot: the ranking is over the whole courses")
    told += _never_hit(runs)
    trials = len(runs[0].cards)
    if trials < _FEW_TRIALS:
        told.append(
            f"only {trials} trial{'s' * (trials > 1)}: the intervals are rough, "
            f"{_FEW_TRIALS} or more are wanted to tell plans apart"
        )
    return tuple(told)


def _never_hit(runs: Sequence[Run]) -> list[str]:
    """Shots that nothing but another shooter or place can help."""
    lost: dict[str, tuple[int, int]] = {}
    for run in runs:
        hits = run.cards[0].hits
        if hits is not None:
            never, whole = lost.get(run.plan, (0, 0))
            never += int((hits.perfect_shares < _NEVER).sum())
            lost[run.plan] = (never, whole + len(hits.perfect_shares))
    cannot = "cannot go in, even with a perfect estimate: the goal is out of the shooter's reach"
    if len(set(lost.values())) == 1:
        lost = {"": next(iter(lost.values()))}
    return [
        f"{f'plan {plan!r}: ' if plan else ''}{never} of {whole} shots {cannot}"
        for plan, (never, whole) in lost.items()
        if never
    ]
