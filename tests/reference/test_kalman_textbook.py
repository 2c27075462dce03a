"""Published Kalman filter examples, run through posefuse's own filters.

Scalar examples stand on a robot that does not move: its x is the level. Constant-velocity examples
are driven as ``textbook_runs.ConstantVelocity`` describes.
"""

from collections.abc import Callable

import numpy as np
import pytest
from scipy import linalg, stats

from posefuse.checks import FloatArray
from posefuse.fusion.compiled_filter import filter_compiled
from posefuse.fusion.estimate import Estimate
from posefuse.fusion.filter_input import FilterInput
from posefuse.fusion.reference_filter import filter_reference
from textbook_runs import ConstantVelocity, hand_made_run

FILTERS = pytest.mark.parametrize("run_filter", [filter_compiled, filter_reference])
Filter = Callable[[FilterInput], Estimate]

# Annual flow of the Nile at Aswan 1871-1970, 10^8 m^3: the values from memory of R's data set
# "Nile"; their mean and the first five are those printed in the sources below.
NILE = np.array(
    [
        1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960,
        1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694,
        940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764,
        821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822,
        1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050,
        918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
    ],
    dtype=float,
)  # fmt: skip


def level_run(
    values: FloatArray, *, q: float, r: float, p1: float, first_row: int = 0
) -> FilterInput:
    """A standing robot whose x wanders with variance ``q`` a row and is measured with ``r``.

    Measured at every row from ``first_row`` on.
    """
    count = len(values)
    rows = first_row + np.arange(count)
    return hand_made_run(
        twists=np.zeros((first_row + count, 3)),
        step_vars=np.tile([q, 0.0], (first_row + count, 1)),
        start=np.zeros(3),
        start_cov=np.diag([p1, 0.0, 0.0]),
        captured_row=rows,
        arrived_row=rows,
        poses=np.stack([values, np.zeros(count), np.zeros(count)], axis=-1),
        covs=np.tile(np.diag([r, 1.0, 1.0]), (count, 1, 1)),
    )


@FILTERS
def test_local_level_of_the_nile(run_filter: Filter) -> None:
    """Durbin and Koopman, Time Series Analysis by State Space Methods, 2nd ed. 2012, pp. 37, 40."""
    q, r = 1469.1, 15099.0
    assert NILE.mean() == pytest.approx(919.35)
    estimate = run_filter(level_run(NILE, q=q, r=r, p1=1e7))
    level, var = estimate.poses[:, 0], estimate.covs[:, 0, 0]
    # by a ten-line scalar filter of its own
    np.testing.assert_allclose(level[:3], [1118.311462, 1140.108439, 1072.316018], atol=1e-5)
    assert level[-1] == pytest.approx(798.370293, abs=1e-5)
    assert var[-1] == pytest.approx(4032.157942, abs=1e-5)
    # innovations without the diffuse first one
    innovations, spread = NILE[1:] - level[:-1], var[:-1] + q + r
    standardised = innovations / np.sqrt(spread)
    np.testing.assert_allclose(estimate.innovations.nis[1:], standardised**2, rtol=1e-6)
    log_likelihood = -0.5 * (np.log(2.0 * np.pi * spread) + standardised**2).sum()
    assert log_likelihood == pytest.approx(-632.544212, abs=1e-6)
    # the book prints Q(9) 8.84, skewness -0.03, kurtosis 3.09, H(33) 0.61
    assert ljung_box(standardised, 9) == pytest.approx(8.84, abs=0.005)
    assert stats.skew(standardised) == pytest.approx(-0.03, abs=0.005)
    assert stats.kurtosis(standardised, fisher=False) == pytest.approx(3.09, abs=0.005)
    squared = standardised**2
    assert squared[-33:].sum() / squared[:33].sum() == pytest.approx(0.61, abs=0.005)


def ljung_box(values: FloatArray, lags: int) -> float:
    """The portmanteau statistic of a series: n (n + 2) sum of rho_k^2 / (n - k)."""
    centred, n = values - values.mean(), len(values)
    rho = [centred[k:] @ centred[:-k] / (centred @ centred) for k in range(1, lags + 1)]
    return n * (n + 2) * sum(r**2 / (n - k) for k, r in enumerate(rho, start=1))


@FILTERS
def test_estimating_a_constant(run_filter: Filter) -> None:
    """Welch and Bishop, An Introduction to the Kalman Filter, UNC TR 95-041, pp. 11-15.

    The covariances do not depend on the data; figures by an independent ten-line filter.
    """
    # the example predicts before it measures first
    filter_input = level_run(np.full(50, -0.37727), q=1e-5, r=0.01, p1=1.0 - 1e-5, first_row=1)
    var = run_filter(filter_input).covs[:, 0, 0]
    expected = [0.0099009911, 0.0049776483, 0.0033278392, 0.0010273160, 0.0003392108]
    np.testing.assert_allclose(var[[1, 2, 3, 10, 50]], expected, atol=1e-10)


@FILTERS
def test_steps_of_equal_noise_give_fibonacci_ratios(run_filter: Filter) -> None:
    """Set-up of GTSAM's own test of its Kalman filter, python/gtsam/tests/test_KalmanFilter.py."""
    count, steps = 4, np.arange(4.0)
    filter_input = hand_made_run(
        twists=np.array([[0.0, 0.0, 0.0]] + [[1.0, 0.0, 0.0]] * 3),
        step_vars=np.tile([0.01, 0.0], (count, 1)),
        start=np.zeros(3),
        start_cov=np.diag([0.01, 0.01, 0.0]),
        captured_row=np.arange(1, count),
        arrived_row=np.arange(1, count),
        poses=np.stack([steps, 0.0 * steps, 0.0 * steps], axis=-1)[1:],
        covs=np.tile(np.diag([0.01, 0.01, 1.0]), (count - 1, 1, 1)),
    )
    estimate = run_filter(filter_input)
    np.testing.assert_allclose(estimate.poses[:, 0], steps, atol=1e-12)
    for axis in (0, 1):
        var = estimate.covs[1:, axis, axis]
        np.testing.assert_allclose(var, 0.01 * np.array([2 / 3, 5 / 8, 13 / 21]), atol=1e-15)


GOLDEN_Z = np.array([1.1, 1.9, 3.2, 3.9, 5.3])
# Q = 0.1 [[1/3, 1/2], [1/2, 1]] is that of two kicks at the points of Gauss's quadrature
GOLDEN = ConstantVelocity(
    kicks=tuple((0.5 + side * 0.5 / np.sqrt(3.0), 0.05) for side in (1.0, -1.0))
)


@FILTERS
def test_one_golden_case(run_filter: Filter) -> None:
    """On its figures filterpy, pykalman, statsmodels, GTSAM and batch least squares agree."""
    estimate = run_filter(
        GOLDEN.run(
            steps=4,
            start=np.zeros(2),
            start_cov=np.diag([10.0, 4.0]),
            values=GOLDEN_Z,
            variance=0.25,
        )
    )
    states, covs = GOLDEN.track(estimate)
    np.testing.assert_allclose(states[-1], [5.183178876, 1.092928865], atol=2e-8)
    expected = [[0.172410077, 0.090327027], [0.090327027, 0.138017558]]
    np.testing.assert_allclose(covs[-1], expected, atol=2e-8)
    nis = estimate.innovations.nis
    expected_nis = [0.11804878, 0.151007518, 0.254353566, 0.066604537, 0.175888498]
    np.testing.assert_allclose(nis, expected_nis, atol=2e-8)
    # each measurement's spread before it: the covariance after it is P - P P / S
    after = covs[:: GOLDEN.rows_a_step, 0, 0]
    spread = 0.25**2 / (0.25 - after)
    log_likelihood = -0.5 * (np.log(2.0 * np.pi * spread) + nis).sum()
    assert log_likelihood == pytest.approx(-6.939130377, abs=1e-6)


@FILTERS
@pytest.mark.parametrize(
    ("index", "alpha", "beta"),
    [(1.0, 0.75, 0.5), (0.1, 0.36, 0.08), (3.0, 0.9014923157, 0.9415780151)],
)
def test_alpha_beta_steady_state(
    run_filter: Filter, index: float, alpha: float, beta: float
) -> None:
    """Kalata 1984; Bar-Shalom, Li, Kirubarajan 2001, sec. 6.5 (formulas from memory).

    Acceleration constant over a step is a kick to the velocity half way through.
    """
    track = ConstantVelocity(kicks=((0.5, index**2),))
    steps = round(60 / min(index, 1.0))
    filter_input = track.run(
        steps=steps,
        start=np.zeros(2),
        start_cov=np.diag([1.0, 1.0]),
        values=np.zeros(steps + 1),
        variance=1.0,
    )
    cov = track.track(run_filter(filter_input))[1][-1]
    np.testing.assert_allclose(cov[0], [alpha, beta], atol=1e-7)
    step = np.array([[1.0, 1.0], [0.0, 1.0]])
    spread = index**2 * np.outer([0.5, 1.0], [0.5, 1.0])
    before = linalg.solve_discrete_are(step.T, np.eye(2)[:1].T, spread, np.eye(1))
    after = before - np.outer(before[0], before[0]) / (before[0, 0] + 1.0)
    np.testing.assert_allclose(cov, after, atol=1e-6)


def test_no_process_noise_and_a_diffuse_start() -> None:
    """Gains of a straight line: K1 = 2 (2 k - 1) / (k (k + 1)), K2 = 6 / (k (k + 1)).

    Zarchan and Musoff, Fundamentals of Kalman Filtering (citation from memory).
    """
    track = ConstantVelocity(kicks=(), scale=1e-9)
    filter_input = track.run(
        steps=4,
        start=np.zeros(2),
        start_cov=np.diag([1e6, 1e6]),
        values=np.zeros(5),
        variance=1.0,
    )
    cov = track.track(filter_compiled(filter_input))[1][-1]
    np.testing.assert_allclose(cov[0], [0.6, 0.2], atol=1e-5)
    assert cov[1, 1] == pytest.approx(12.0 / (5 * 24), abs=1e-5)
