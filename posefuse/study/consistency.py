"""Whether a filter's own covariance can be believed: NEES over trials, NIS of one run."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import chdtri

from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.estimate import Estimate, Outcome
from posefuse.statistics.intervals import Interval
from posefuse.statistics.trial_means import mean_square_interval
from posefuse.study.comparison import PlanTrials

__all__ = [
    "POSE_DOF",
    "Confidence",
    "NisSample",
    "ShotNees",
    "confidence_of",
    "error_ratio",
    "mean_nees",
    "nees_at_shots",
    "nis_sample",
]

POSE_DOF = 3
"""Of x, y and heading: what a consistent filter's NEES is on average."""


class Confidence(StrEnum):
    """How a filter's stated covariance compares with its errors."""

    UNKNOWN = "unknown"
    UNDERCONFIDENT = "underconfident"
    CONSISTENT = "consistent"
    OVERCONFIDENT = "overconfident"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShotNees:
    """NEES of one plan at its shots.

    Parameters
    ----------
    at_shots : (shots,) array
        At each shot of its courses, averaged over the trials.
    mean
        Over all of them, with its 95 % interval.
    """

    at_shots: FloatArray
    mean: Interval


def mean_nees(plan_trials: Sequence[PlanTrials]) -> Interval:
    """Mean NEES of one plan over its courses and trials, with its 95 % interval.

    Of the shots; of a course without any, of the whole course. What a trial gives is one value: its
    instants are alike. nan where no covariance was positive definite.
    """
    of_trials = [
        [card.scored_span.nees for card in cards]
        for cards in zip(*(trials.cards for trials in plan_trials), strict=True)
    ]
    pairs = [[(nees.mean, nees.count) for nees in trial if nees is not None] for trial in of_trials]
    known = np.array([_pooled(trial) for trial in pairs if trial]).reshape(-1, 2)
    return _interval(known[:, 0], known[:, 1])


def nees_at_shots(plan_trials: Sequence[PlanTrials]) -> ShotNees:
    """NEES of one plan at the shots of its courses."""
    values = np.concatenate(
        [
            np.array([card.shots.nees for card in trials.cards if card.shots is not None])
            for trials in plan_trials
            if trials.has_shots
        ],
        axis=1,
    )
    counts = np.isfinite(values).sum(axis=1)
    some = counts > 0
    means = np.nansum(values[some], axis=1) / counts[some]
    return ShotNees(at_shots=values.mean(axis=0), mean=_interval(means, counts[some]))


def confidence_of(nees: Interval, *, dof: int = POSE_DOF) -> Confidence:
    """Whether the interval of a mean NEES lies above, about or below what is expected."""
    if not nees.is_known:
        return Confidence.UNKNOWN
    if nees.low > dof:
        return Confidence.OVERCONFIDENT
    return Confidence.UNDERCONFIDENT if nees.high < dof else Confidence.CONSISTENT


def error_ratio(nees: Interval, *, dof: int = POSE_DOF) -> float:
    """How many times as large as stated the errors are."""
    return math.sqrt(nees.value / dof)


def _pooled(means_and_counts: Sequence[tuple[float, int]]) -> tuple[float, int]:
    total = sum(count for _, count in means_and_counts)
    return sum(mean * count for mean, count in means_and_counts) / total, total


def _interval(means: FloatArray, counts: FloatArray | IntArray) -> Interval:
    if not len(means):
        return Interval(value=math.nan, low=math.nan, high=math.nan)
    return mean_square_interval(means, counts)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NisSample:
    """The innovations of one run that have the most common number of rows.

    Parameters
    ----------
    dof
        That number, which a consistent filter's NIS has on average.
    nis : (n,) array
        Of each measurement that reached the gate.
    median, expected_median
        Of them, and of a consistent filter's.
    gated_share
        Share of all measurements that reached the gate and were refused there.
    """

    dof: int
    nis: FloatArray
    median: float
    expected_median: float
    gated_share: float


def nis_sample(estimate: Estimate) -> NisSample | None:
    """How the innovations of one run are spread; ``None`` when nothing reached the gate."""
    innovations = estimate.innovations
    reached = np.isfinite(innovations.nis)
    if not reached.any():
        return None
    dof = int(np.bincount(innovations.dof[reached]).argmax())
    nis = innovations.nis[reached & (innovations.dof == dof)]
    return NisSample(
        dof=dof,
        nis=nis,
        median=float(np.median(nis)),
        expected_median=float(chdtri(dof, 0.5)),
        gated_share=float(np.mean(innovations.outcome[reached] == Outcome.GATED)),
    )
