"""Verdicts against printed chi-square quantiles; innovations against plain figures."""

import math

import numpy as np
import pytest
from scipy import stats

from posefuse.fusion.estimate import Estimate, Innovations, Outcome
from posefuse.study.consistency import Confidence, nees_average, nis_sample


@pytest.mark.parametrize(
    ("mean", "trials", "confidence"),
    [
        # averages of 20 chi-square values of 3: the 2.5 % and 97.5 % quantiles of chi-square with
        # 60 degrees of freedom are 40.482 and 83.298 (printed tables), over 20 trials
        (2.03, 20, Confidence.CONSISTENT),
        (4.15, 20, Confidence.CONSISTENT),
        (4.18, 20, Confidence.OVERCONFIDENT),
        (2.01, 20, Confidence.UNDERCONFIDENT),
        (12.0, 1, Confidence.OVERCONFIDENT),
    ],
)
def test_the_filter_is_judged_by_the_chi_square_interval(
    mean: float, trials: int, confidence: Confidence
) -> None:
    assert nees_average(mean, trials=trials).confidence is confidence


def test_errors_grow_with_the_root_of_nees() -> None:
    assert nees_average(12.0, trials=1).error_ratio == pytest.approx(2.0)
    assert math.isnan(nees_average(math.nan, trials=3).error_ratio)


def estimate_of(nis: list[float], dof: list[int], outcomes: list[Outcome]) -> Estimate:
    count = len(nis)
    return Estimate(
        stamps_s=np.zeros(1),
        poses=np.zeros((1, 3)),
        covs=np.zeros((1, 3, 3)),
        innovations=Innovations(
            frame=np.arange(count),
            sighting=np.arange(count),
            outcome=np.array(outcomes, dtype=np.int64),
            nis=np.array(nis),
            dof=np.array(dof, dtype=np.int64),
        ),
    )


def test_innovations_of_the_most_common_kind_are_taken() -> None:
    fused, gated, late = Outcome.FUSED, Outcome.GATED, Outcome.TOO_LATE
    sample = nis_sample(
        estimate_of(
            [1.0, 2.0, 6.0, 50.0, math.nan], [3, 3, 3, 8, 8], [fused, fused, fused, gated, late]
        )
    )
    assert sample.dof == 3
    assert sample.nis.tolist() == [1.0, 2.0, 6.0]
    assert sample.median == 2.0
    assert sample.expected_median == pytest.approx(stats.chi2(3).median())
    assert sample.gated_share == 0.25  # of the four that reached the gate


def test_without_innovations_there_is_no_sample() -> None:
    assert nis_sample(estimate_of([], [], [])) is None
    assert nis_sample(estimate_of([math.nan], [3], [Outcome.TOO_LATE])) is None
