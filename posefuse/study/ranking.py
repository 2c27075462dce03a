"""From scorecards to a ranking: figures over all trials, differences paired trial by trial."""

import math
from collections.abc import Sequence

import numpy as np

from posefuse.checks import FloatArray
from posefuse.scoring.scorecard import ErrorFigures, SpanScores
from posefuse.statistics.best import AgainstBest, rms_against_best
from posefuse.statistics.intervals import Interval
from posefuse.statistics.trial_means import rms_interval
from posefuse.study.comparison import PlanHits, PlanRow, PlanTrials
from posefuse.study.consistency import mean_nees
from posefuse.study.plan_hits import plan_hits
from posefuse.study.study import Study

__all__ = ["distance_errors_m", "rank_plans", "trial_mean_squares_m2"]


def rank_plans(study: Study, plan_trials: Sequence[PlanTrials]) -> tuple[PlanRow, ...]:
    """The plans, smallest distance error at the shots first.

    Parameters
    ----------
    plan_trials
        On the courses that are to count.
    """
    of_plans = [[t for t in plan_trials if t.plan == plan.name] for plan in study.plans]
    squares = np.array([trial_mean_squares_m2(of_plan) for of_plan in of_plans])
    order = np.argsort(squares.mean(axis=1), kind="stable")
    best = int(order[0])
    against_best = rms_against_best(squares)
    hits = plan_hits(of_plans)
    return tuple(
        _row(
            of_plans[place],
            distance_rms_m=rms_interval(squares[place]),
            against_best=against_best[place],
            is_best=place == best,
            hits=hits[place],
        )
        for place in order
    )


def trial_mean_squares_m2(plan_trials: Sequence[PlanTrials]) -> FloatArray:
    """Mean squared distance error of each trial (trials,), over all shots of one plan's courses.

    Where no course marks a shot, over the whole courses.
    """
    if any(trials.has_shots for trials in plan_trials):
        return np.asarray(np.mean(_shot_errors_m(plan_trials) ** 2, axis=1))
    per_course = [
        [_distance_rms_m(card.whole_course) ** 2 for card in trials.cards] for trials in plan_trials
    ]
    return np.asarray(np.mean(per_course, axis=0))


def distance_errors_m(plan_trials: Sequence[PlanTrials]) -> FloatArray:
    """Distance errors at the shots of all trials; where none is marked, the RMS of each trial."""
    if any(trials.has_shots for trials in plan_trials):
        return np.concatenate(
            [
                card.shots.distance_error_m
                for trials in plan_trials
                for card in trials.cards
                if card.shots is not None
            ]
        )
    spans = [card.whole_course.distance_m for trials in plan_trials for card in trials.cards]
    return np.array([span.rms for span in spans if span is not None])


def _distance_rms_m(span: SpanScores) -> float:
    return np.nan if span.distance_m is None else span.distance_m.rms


def _shot_errors_m(plan_trials: Sequence[PlanTrials]) -> FloatArray:
    """Distance errors (trials, shots) at the shots of the courses that mark any."""
    return np.concatenate(
        [
            np.array(
                [card.shots.distance_error_m for card in trials.cards if card.shots is not None]
            )
            for trials in plan_trials
            if trials.has_shots
        ],
        axis=1,
    )


def _row(
    plan_trials: Sequence[PlanTrials],
    *,
    distance_rms_m: Interval,
    against_best: AgainstBest,
    is_best: bool,
    hits: PlanHits | None,
) -> PlanRow:
    spans = [card.scored_span for trials in plan_trials for card in trials.cards]
    has_shots = any(trials.has_shots for trials in plan_trials)
    outlooks = [trials.outlook for trials in plan_trials if trials.outlook is not None]

    def mean(values: Sequence[float | None]) -> float:
        return _mean_over_instants(values, [span.scored_count for span in spans])

    def rms(values: Sequence[float | None]) -> float:
        return math.sqrt(mean([None if value is None else value**2 for value in values]))

    difference = None if is_best else against_best.difference
    return PlanRow(
        plan=plan_trials[0].plan,
        distance_rms_m=distance_rms_m,
        distance_bias_m=mean([_figure(s.distance_m, "bias") for s in spans]),
        distance_p95_m=(
            float(np.percentile(np.abs(_shot_errors_m(plan_trials)), 95))
            if has_shots
            else mean([_figure(s.distance_m, "p95") for s in spans])
        ),
        bearing_rms_rad=rms([_figure(s.bearing_rad, "rms") for s in spans]),
        pivot_rms_rad=rms([_figure(s.pivot_rad, "rms") for s in spans]),
        heading_rms_rad=rms([_figure(s.heading_rad, "rms") for s in spans]),
        position_rms_m=rms([s.position_rms_m for s in spans]),
        distance_forecast_rms_m=_root_mean([o.forecast_squares_m2 for o in outlooks]),
        distance_attainable_rms_m=_root_mean([o.attainable_squares_m2 for o in outlooks]),
        distance_bound_rms_m=rms([s.distance_bound_rms_m for s in spans]),
        no_update_share=_mean_over_instants(
            [span.no_update_share for span in spans], [span.count for span in spans]
        ),
        nees_mean=mean_nees(plan_trials),
        difference_to_best_m=difference,
        is_tie=difference is not None and difference.holds(0.0),
        best_probability=against_best.best_probability,
        hits=hits,
    )


def _root_mean(squares: Sequence[FloatArray]) -> float:
    """Root of the mean over all shots of all courses; nan of none."""
    return float(np.sqrt(np.concatenate(squares).mean())) if squares else float("nan")


def _figure(of_span: ErrorFigures | None, name: str) -> float | None:
    return None if of_span is None else getattr(of_span, name)


def _mean_over_instants(values: Sequence[float | None], counts: Sequence[int]) -> float:
    """Mean of the values that are known, each counting as its instants; nan of none."""
    pairs = zip(values, counts, strict=True)
    known = [(value, count) for value, count in pairs if value is not None]
    total = sum(count for _, count in known)
    return sum(value * count for value, count in known) / total if total else math.nan
