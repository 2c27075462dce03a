"""What a comparison found: every trial's scorecard, and the ranking drawn from them."""

from dataclasses import dataclass

from posefuse.recording.recording import Recording
from posefuse.scoring.scorecard import Scorecard
from posefuse.statistics.intervals import Interval
from posefuse.study.study import Study

__all__ = ["Comparison", "MovingHits", "PlanHits", "PlanRow", "Run"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """One plan on one course: a scorecard for each trial, in the order of the trials.

    Parameters
    ----------
    first
        What the first trial left behind, to be drawn.
    """

    plan: str
    course: str
    cards: tuple[Scorecard, ...]
    first: Recording


@dataclass(frozen=True, slots=True, kw_only=True)
class MovingHits:
    """Hits in 100 of the shots that a plan takes on the move.

    Parameters
    ----------
    shot_count
        In one trial.
    led_per_100
        As it shoots: with the lead for the velocity that its wheels tell.
    unled_per_100
        If it aimed as if it stood.
    stopped_per_100
        If it stopped in the same place, with the same error of the pose.
    """

    shot_count: int
    led_per_100: float
    unled_per_100: float
    stopped_per_100: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanHits:
    """How many of 100 shots of a plan go in, over all courses and trials.

    Parameters
    ----------
    per_100
        With the estimate as it stood at each shot, with its 95 % interval.
    more_than_best
        Paired difference to the plan that tells the distance best; ``None`` for that plan.
    is_tie
        Whether that interval holds zero.
    perfect_per_100
        What a perfect estimate would give: the rest is the shooter's own spread.
    moving
        ``None`` where no shot is taken on the move.
    """

    per_100: Interval
    more_than_best: Interval | None
    is_tie: bool
    perfect_per_100: float
    moving: MovingHits | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanRow:
    """One line of the ranking; all figures are at the shots, over all courses and trials.

    Parameters
    ----------
    distance_rms_m
        Root mean square of the distance-to-goal error, with its 95 % interval.
    distance_bias_m, distance_p95_m
        Mean of the error (estimate minus truth), and 95th percentile of its size.
    bearing_rms_rad, pivot_rms_rad, heading_rms_rad, position_rms_m
        ``pivot_rms_rad`` is nan where the rig has no shooter.
    bound_rms_m
        The posterior Cramer-Rao bound of the distance on the same arrivals.
    blind_share
        Share of shots with no tag fused in the last 0.5 s.
    nees
        Mean normalised estimation error squared (3 for an honest filter).
    more_than_best_m
        Paired difference of ``distance_rms_m`` to the best plan's with its 95 % interval; ``None``
        for the best itself.
    is_tie
        Whether that interval holds zero.
    hits
        ``None`` where no shot is marked or it is not told how the robot's shooter throws.
    """

    plan: str
    distance_rms_m: Interval
    distance_bias_m: float
    distance_p95_m: float
    bearing_rms_rad: float
    pivot_rms_rad: float
    heading_rms_rad: float
    position_rms_m: float
    bound_rms_m: float
    blind_share: float
    nees: float
    more_than_best_m: Interval | None
    is_tie: bool
    hits: PlanHits | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """The outcome of a comparison.

    Parameters
    ----------
    runs
        Plans in the study's order, within each its courses in the study's order.
    ranking
        Best plan first.
    warnings
        What a user should know before believing the ranking, one line each.
    """

    study: Study
    trials: int
    seed: int
    runs: tuple[Run, ...]
    ranking: tuple[PlanRow, ...]
    warnings: tuple[str, ...]

    def run(self, plan: str, course: str) -> Run:
        """The run of that plan on that course."""
        return next(r for r in self.runs if (r.plan, r.course) == (plan, course))
