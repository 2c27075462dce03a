"""What a comparison measured: every trial's scorecard, and the ranking drawn from them."""

import math
from dataclasses import dataclass

from posefuse.recording.recording import Recording
from posefuse.scoring.scorecard import Scorecard
from posefuse.statistics.intervals import Interval
from posefuse.study.outlook import Outlook
from posefuse.study.study import Study

__all__ = ["Comparison", "MovingHits", "PlanHits", "PlanRow", "PlanTrials"]

_ROW_FIGURES = (
    "distance_rms_m",
    "difference_to_best_m",
    "best_probability",
    "distance_bias_m",
    "distance_p95_m",
    "distance_forecast_rms_m",
    "distance_attainable_rms_m",
    "distance_bound_rms_m",
    "bearing_rms_rad",
    "pivot_rms_rad",
    "heading_rms_rad",
    "position_rms_m",
    "no_update_share",
    "nees_mean",
)
_HIT_FIGURES = {
    "hits_per_100": "per_100",
    "hits_difference_to_best_per_100": "difference_to_best",
    "perfect_hits_per_100": "perfect_per_100",
}
_MOVING_FIGURES = {
    "moving_shot_count": "shot_count",
    "moving_led_hits_per_100": "led_per_100",
    "moving_unled_hits_per_100": "unled_per_100",
    "moving_stopped_hits_per_100": "stopped_per_100",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanTrials:
    """The trials of one plan on one course: a scorecard for each, in their order.

    Parameters
    ----------
    first
        The recording of the first trial, to be drawn.
    outlook
        The errors to be expected at its shots; ``None`` where it has none.
    """

    plan: str
    course: str
    cards: tuple[Scorecard, ...]
    first: Recording
    outlook: Outlook | None

    @property
    def has_shots(self) -> bool:
        """Whether the course marks shots."""
        return self.cards[0].shots is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class MovingHits:
    """Hits per 100 of the shots that a plan takes on the move.

    Parameters
    ----------
    shot_count
        In one trial.
    led_per_100
        As it shoots: with the lead for the velocity that its wheels measure.
    unled_per_100
        If it aimed as if at rest.
    stopped_per_100
        If it stopped in the same place, with the same error of the pose.
    """

    shot_count: int
    led_per_100: float
    unled_per_100: float
    stopped_per_100: float

    @property
    def stopping_gain_per_100(self) -> float:
        """How many more go in from a standstill."""
        return self.stopped_per_100 - self.led_per_100


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanHits:
    """How many of 100 shots of a plan go in, over all courses and trials.

    Parameters
    ----------
    per_100
        With the estimate as it stood at each shot, with its 95 % interval.
    difference_to_best
        Paired difference to the plan of which the most go in, with its interval; ``None`` for that
        plan. The intervals of all plans hold together in 95 of 100 studies.
    is_tie
        Whether that interval holds zero.
    perfect_per_100
        What a perfect estimate would give: the rest is the shooter's own spread.
    moving
        ``None`` where no shot is taken on the move.
    """

    per_100: Interval
    difference_to_best: Interval | None
    is_tie: bool
    perfect_per_100: float
    moving: MovingHits | None

    @property
    def lost_by_errors_per_100(self) -> float:
        """What the errors of the estimate cost."""
        return self.perfect_per_100 - self.per_100.value

    @property
    def lost_by_shooter_per_100(self) -> float:
        """What the shooter's own spread costs."""
        return 100.0 - self.perfect_per_100


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanRow:
    """One line of the ranking; all figures are at the shots, over all courses and trials.

    Every shot of every trial counts alike, in all figures. The fields bear the names of
    ``scoring.figures``.

    Parameters
    ----------
    distance_rms_m
        Root mean square of the distance-to-goal error, with its 95 % interval.
    distance_bias_m, distance_p95_m
        Mean of the error (estimate minus truth), and 95th percentile of its size.
    bearing_rms_rad, pivot_rms_rad, heading_rms_rad, position_rms_m
        ``pivot_rms_rad`` is nan where the rig has no shooter.
    distance_forecast_rms_m
        The distance error to be expected, by one linear pass without trials; nan where no shot is
        marked.
    distance_attainable_rms_m
        The least that any filter could reach which knows how exact builds are, but not the build;
        nan where no shot is marked.
    distance_bound_rms_m
        The bound with white noise alone (posterior Cramer-Rao), as if everything were built as
        drawn and corners were found without bias: it judges the filter's own consistency.
    no_update_share
        Share of shots with no sighting fused in the last 0.5 s.
    nees_mean
        Mean normalised estimation error squared (3 for a consistent filter), with its 95 %
        interval.
    difference_to_best_m
        Paired difference of ``distance_rms_m`` to the best plan's with its interval; ``None`` for
        the best itself. The intervals of all plans hold together in 95 of 100 studies.
    is_tie
        Whether that interval holds zero.
    best_probability
        That no other plan is better, as ``statistics.best_probability`` defines it; nan of a single
        trial.
    hits
        ``None`` where no shot is marked, or the robot's file does not say how its shooter throws.
    """

    plan: str
    distance_rms_m: Interval
    distance_bias_m: float
    distance_p95_m: float
    bearing_rms_rad: float
    pivot_rms_rad: float
    heading_rms_rad: float
    position_rms_m: float
    distance_forecast_rms_m: float
    distance_attainable_rms_m: float
    distance_bound_rms_m: float
    no_update_share: float
    nees_mean: Interval
    difference_to_best_m: Interval | None
    is_tie: bool
    best_probability: float
    hits: PlanHits | None = None

    def figures(self) -> dict[str, Interval | float | None]:
        """Every figure by its name in ``scoring.figures``; ``None`` where it is not known."""
        own = {name: getattr(self, name) for name in _ROW_FIGURES}
        hits = self.hits
        moving = None if hits is None else hits.moving
        of_hits = {name: getattr(hits, field, None) for name, field in _HIT_FIGURES.items()}
        of_moving = {name: getattr(moving, field, None) for name, field in _MOVING_FIGURES.items()}
        return {**own, **of_hits, **of_moving}

    @property
    def attainable_ratio(self) -> float:
        """How many times what is attainable the distance error is; nan where that is not known."""
        least_m = self.distance_attainable_rms_m
        return self.distance_rms_m.value / least_m if least_m > 0.0 else math.nan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """The outcome of a comparison.

    Parameters
    ----------
    plan_trials
        Plans in the study's order, within each its courses in the study's order.
    ranking
        Best plan first.
    warnings
        What a user should know before believing the ranking, one line each.
    """

    study: Study
    trials: int
    seed: int
    plan_trials: tuple[PlanTrials, ...]
    ranking: tuple[PlanRow, ...]
    warnings: tuple[str, ...]

    def trials_of(self, plan: str, course: str) -> PlanTrials:
        """The trials of that plan on that course."""
        return next(t for t in self.plan_trials if (t.plan, t.course) == (plan, course))

    @property
    def is_at_shots(self) -> bool:
        """Whether the figures are at the shots; over the whole courses where none marks a shot."""
        return any(trials.has_shots for trials in self.plan_trials)

    @property
    def best_with_hits(self) -> PlanRow | None:
        """The first of the ranking whose hits are known."""
        return next((row for row in self.ranking if row.hits is not None), None)
