"""How good an estimate is: errors against the truth, consistency, coverage, intervals."""

from posefuse.scoring.hits import ShotHits, can_miss, shot_hits
from posefuse.scoring.instants import InstantErrors, instant_errors, truth_at
from posefuse.scoring.score import NO_TAG_AFTER_S, score, seconds_since_tag, shot_rows
from posefuse.scoring.scorecard import ErrorFigures, Nees, Nis, Scorecard, SpanScores
from posefuse.scoring.statistics import (
    Interval,
    bootstrap_of_means,
    chi_square_average_interval,
    paired_mean_differences,
    paired_rms_differences,
    rms_interval,
    wilson_interval,
)

__all__ = [
    "NO_TAG_AFTER_S",
    "ErrorFigures",
    "InstantErrors",
    "Interval",
    "Nees",
    "Nis",
    "Scorecard",
    "ShotHits",
    "SpanScores",
    "bootstrap_of_means",
    "can_miss",
    "chi_square_average_interval",
    "instant_errors",
    "paired_mean_differences",
    "paired_rms_differences",
    "rms_interval",
    "score",
    "seconds_since_tag",
    "shot_hits",
    "shot_rows",
    "truth_at",
    "wilson_interval",
]
