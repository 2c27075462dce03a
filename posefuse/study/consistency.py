"""Whether a filter's own covariance can be believed: NEES over trials, NIS of one run."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import chdtri

from posefuse.checks import FloatArray
from posefuse.fusion.estimate import Estimate, Outcome
from posefuse.statistics.chi_square import chi_square_average_interval
from posefuse.study.comparison import PlanTrials

__all__ = [
    "Confidence",
    "NeesAverage",
    "NisSample",
    "nees_at_shots",
    "nees_average",
    "nis_sample",
]

_POSE_DOF = 3


class Confidence(StrEnum):
    """How a filter's stated covariance compares with its errors."""

    UNDERCONFIDENT = "underconfident"
    CONSISTENT = "consistent"
    OVERCONFIDENT = "overconfident"


@dataclass(frozen=True, slots=True, kw_only=True)
class NeesAverage:
    """NEES averaged over independent trials.

    Parameters
    ----------
    mean
        nan where no covariance was positive definite.
    dof
        What a consistent filter has on average.
    low, high
        The region in which 95 % of the averages of a consistent filter lie.
    """

    mean: float
    dof: int
    low: float
    high: float

    @property
    def confidence(self) -> Confidence:
        """On which side of its region the average lies."""
        if self.mean > self.high:
            return Confidence.OVERCONFIDENT
        return Confidence.UNDERCONFIDENT if self.mean < self.low else Confidence.CONSISTENT

    @property
    def error_ratio(self) -> float:
        """How many times as large as stated the errors are."""
        return math.sqrt(self.mean / self.dof)


def nees_average(mean: float, *, trials: int) -> NeesAverage:
    """The average NEES of a pose, with its region.

    Parameters
    ----------
    trials
        Independent ones: the shots of one run are not.
    """
    low, high = chi_square_average_interval(_POSE_DOF, trials)
    return NeesAverage(mean=mean, dof=_POSE_DOF, low=low, high=high)


def nees_at_shots(plan_trials: Sequence[PlanTrials]) -> FloatArray:
    """NEES (shots,) at each shot of one plan's courses, averaged over the trials."""
    return np.concatenate(
        [
            np.mean([card.shots.nees for card in trials.cards if card.shots is not None], axis=0)
            for trials in plan_trials
            if trials.has_shots
        ]
    )


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
