"""Verdicts on the filter's own covariance; innovations against plain figures."""

import math

import numpy as np
import pytest
from scipy import stats

from posefuse.fusion.estimate import Estimate, Innovations, Outcome
from posefuse.statistics.intervals import Interval
from posefuse.statistics.trial_means import mean_square_interval
from posefuse.study.consistency import Confidence, confidence_of, error_ratio, nis_sample


@pytest.mark.parametrize(
    ("low", "high", "confidence"),
    [
        (2.9, 3.1, Confidence.CONSISTENT),
        (3.1, 9.0, Confidence.OVERCONFIDENT),
        (0.5, 2.9, Confidence.UNDERCONFIDENT),
        (math.nan, math.nan, Confidence.UNKNOWN),
    ],
)
def test_the_filter_is_judged_by_the_interval_of_its_mean(
    low: float, high: float, confidence: Confidence
) -> None:
    assert confidence_of(Interval(value=3.0, low=low, high=high)) is confidence


def test_errors_grow_with_the_root_of_nees() -> None:
    assert error_ratio(Interval(value=12.0, low=9.0, high=15.0)) == pytest.approx(2.0)


def test_consistent_filters_are_seldom_called_otherwise() -> None:
    """The shots of a trial share its build: their NEES is as good as one value."""
    generator = np.random.default_rng(5)
    errors = generator.normal(size=(400, 10, 1, 3))
    errors = 0.9 * errors + np.sqrt(1.0 - 0.81) * generator.normal(size=(400, 10, 20, 3))
    means = (errors**2).sum(axis=3).mean(axis=2)
    calls = [confidence_of(mean_square_interval(study)) for study in means]
    # 5 % and 3 standard errors of 400 studies
    assert np.mean([call is not Confidence.CONSISTENT for call in calls]) < 0.083


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
