"""What a comparison found: every trial's scorecard, and the ranking drawn from them."""

from dataclasses import dataclass

from posefuse.scoring.scorecard import Scorecard
from posefuse.scoring.statistics import Interval
from posefuse.study.study import Study

__all__ = ["Comparison", "PlanRow", "Run"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """One plan on one course: a scorecard for each trial, in the order of the trials."""

    plan: str
    course: str
    cards: tuple[Scorecard, ...]


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
