"""From scorecards to a ranking: figures over all trials, differences paired trial by trial."""

from collections.abc import Sequence

import numpy as np

from posefuse.checks import FloatArray
from posefuse.scoring.scorecard import Scorecard, SpanScores
from posefuse.statistics.intervals import Interval, paired_rms_differences, rms_interval
from posefuse.study.comparison import PlanHits, PlanRow, PlanTrials
from posefuse.study.plan_hits import plan_hits
from posefuse.study.study import Study

__all__ = ["distance_errors_m", "rank_plans", "trial_mean_squares_m2"]


def rank_plans(
    study: Study, plan_trials: Sequence[PlanTrials], *, seed: int
) -> tuple[PlanRow, ...]:
    """The plans, smallest distance error at the shots first.

    Parameters
    ----------
    plan_trials
        On the courses that are to count.
    seed
        Of the resampling behind the intervals.
    """
    of_plans = [[t for t in plan_trials if t.plan == plan.name] for plan in study.plans]
    squares = np.array([trial_mean_squares_m2(of_plan) for of_plan in of_plans])
    order = np.argsort(squares.mean(axis=1), kind="stable")
    best = int(order[0])
    differences = paired_rms_differences(squares, reference=best, seed=seed)
    hits = plan_hits(of_plans, best=best, seed=seed)
    return tuple(
        _row(
            of_plans[place],
            distance_rms_m=rms_interval(squares[place], seed=seed),
            difference_to_best_m=None if place == best else differences[place],
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
    difference_to_best_m: Interval | None,
    hits: PlanHits | None,
) -> PlanRow:
    spans = [_span(card) for trials in plan_trials for card in trials.cards]
    distances = [span.distance_m for span in spans if span.distance_m is not None]
    has_shots = any(trials.has_shots for trials in plan_trials)
    return PlanRow(
        plan=plan_trials[0].plan,
        distance_rms_m=distance_rms_m,
        distance_bias_m=float(np.mean([distance.bias for distance in distances])),
        distance_p95_m=(
            float(np.percentile(np.abs(_shot_errors_m(plan_trials)), 95))
            if has_shots
            else float(np.mean([distance.p95 for distance in distances]))
        ),
        bearing_rms_rad=_rms([s.bearing_rad.rms for s in spans if s.bearing_rad]),
        pivot_rms_rad=_rms([s.pivot_rad.rms for s in spans if s.pivot_rad]),
        heading_rms_rad=_rms([s.heading_rad.rms for s in spans if s.heading_rad]),
        position_rms_m=_rms([s.position_rms_m for s in spans if s.position_rms_m is not None]),
        distance_bound_rms_m=_rms(
            [s.distance_bound_rms_m for s in spans if s.distance_bound_rms_m is not None]
        ),
        no_update_share=float(np.mean([span.no_update_share for span in spans])),
        nees_mean=float(np.mean([span.nees.mean for span in spans if span.nees])),
        difference_to_best_m=difference_to_best_m,
        is_tie=difference_to_best_m is not None and difference_to_best_m.holds(0.0),
        hits=hits,
    )


def _span(card: Scorecard) -> SpanScores:
    return card.at_shots or card.whole_course


def _rms(values: Sequence[float]) -> float:
    """Root mean square; nan of none."""
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else float("nan")
