"""The scores of one run: figures at the shots and over the whole course."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from posefuse.checks import FloatArray
from posefuse.scoring.instants import InstantErrors
from posefuse.scoring.shot_hits import ShotHits
from posefuse.statistics.intervals import Interval

__all__ = ["ErrorFigures", "Nees", "Nis", "Scorecard", "SpanScores"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorFigures:
    """Estimate minus truth over some instants, in the unit of the field that holds it.

    Parameters
    ----------
    p95
        95th percentile of the absolute error.
    """

    bias: float
    rms: float
    p95: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Nees:
    """Normalised estimation error squared along one run.

    Parameters
    ----------
    mean
        ``dof`` for a consistent filter; above it the filter is overconfident, below underconfident.
    inside_share
        Share of the instants inside the two-sided 95 % region of a single instant.
    """

    mean: float
    dof: int
    count: int
    inside_share: float

    @property
    def error_ratio(self) -> float:
        """How many times as large as the covariance states the errors are."""
        return math.sqrt(self.mean / self.dof)


@dataclass(frozen=True, slots=True, kw_only=True)
class Nis:
    """Normalised innovation squared of all measurements with the same number of rows.

    Parameters
    ----------
    mean
        ``dof`` for a consistent filter.
    count
        Measurements that reached the gate, refused ones included.
    gated_share
        Share of them that the gate refused.
    interval
        Of the mean, for this run alone as those of ``SpanScores`` are; ``None`` unless asked for.
    """

    mean: float
    dof: int
    count: int
    gated_share: float
    interval: Interval | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanScores:
    """Figures over some instants: the shots, or every odometry row.

    A figure is ``None`` where nothing is known of it: no truth, no true heading, no goal, no
    shooter.

    Parameters
    ----------
    count, scored_count
        All instants, and those at which the truth is known: the errors are over the latter.
    unreachable_count
        Scored instants at which no pivot in the range reaches the goal from where the robot
        believes to be, or no pivot at all from where it is; they are left out of ``pivot_rad``.
    no_update_count
        Of all instants, those without a sighting fused in the last 0.5 s.
    distance_bound_rms_m
        What no unbiased filter beats on this data: RMS of the distance's spread under the bound.
    intervals
        95 % intervals by the names of ``scoring.figures``; empty unless asked for. They are of this
        run alone: of repeats on the same course by the robot as it is built.
    """

    count: int
    scored_count: int
    distance_m: ErrorFigures | None
    bearing_rad: ErrorFigures | None
    pivot_rad: ErrorFigures | None
    unreachable_count: int | None
    heading_rad: ErrorFigures | None
    position_rms_m: float | None
    nees: Nees | None
    no_update_count: int
    distance_bound_rms_m: float | None
    intervals: Mapping[str, Interval] = field(default_factory=dict)

    @property
    def no_update_share(self) -> float:
        """Share of the instants without a sighting fused in the last 0.5 s."""
        return self.no_update_count / self.count


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scorecard:
    """The scores of one run.

    Parameters
    ----------
    name
        The recording's.
    goal
        To which the whole course is scored; each shot is scored to its own.
    at_shots, shots, shots_since_update_s
        ``None`` for a recording without shots. The age is that of the newest fused sighting that
        had arrived by then, (shots,); infinite before the first.
    hits
        How likely each shot goes in; ``None`` without shots, true headings, or a shooter whose
        file says how it throws.
    outcomes
        What became of the measurements, by name of ``Outcome``.
    """

    name: str
    goal: str | None
    at_shots: SpanScores | None
    whole_course: SpanScores
    shots: InstantErrors | None
    shots_since_update_s: FloatArray | None
    hits: ShotHits | None
    nis: tuple[Nis, ...]
    outcomes: Mapping[str, int]
    dropped_frame_count: int

    @property
    def scored_span(self) -> SpanScores:
        """The shots; of a recording without any the whole course."""
        return self.at_shots or self.whole_course
