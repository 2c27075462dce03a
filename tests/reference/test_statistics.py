"""Intervals and comparisons against published figures and against scipy.

Sources are named beside each value; values given from memory are marked so and never stand alone.
"""

import numpy as np
import pytest
from scipy import stats

from posefuse.statistics.best import hits_against_best
from posefuse.statistics.chi_square import chi_square_average_interval
from posefuse.statistics.correlated import block_length
from posefuse.statistics.pairs import critical_mean_difference, studentised_differences
from posefuse.statistics.trial_laws import simulated_studies
from posefuse.statistics.trial_means import mean_square_interval

SLEEP_HOURS = np.array(
    [
        [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
        [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
    ]
)
"""Extra sleep under two drugs: Student, Biometrika 6, 1908 (the values from memory)."""


@pytest.mark.parametrize(
    ("count", "level", "dof", "low", "high"),
    [
        # regions of the average over N runs: chi2(N n) / N; Bar-Shalom, Li, Kirubarajan 2001,
        # sec. 5.4, print [1.5, 2.6] for 2 states and 50 runs (from memory)
        (50, 0.95, 1, 0.6471, 1.4284),
        (50, 0.95, 2, 1.4844, 2.5912),
        (50, 0.95, 3, 2.3597, 3.7160),
        (50, 0.95, 6, 5.0782, 6.9975),
        (50, 0.99, 3, 2.1828, 3.9672),
        (50, 0.99, 6, 4.8133, 7.3369),
        (100, 0.95, 2, 1.6273, 2.4106),
        (100, 0.95, 3, 2.5391, 3.4987),
        (100, 0.95, 6, 5.3402, 6.6977),
        (100, 0.95, 1, 0.742219, 1.295612),
    ],
)
def test_average_chi_square_regions(count, level, dof, low, high):
    assert chi_square_average_interval(dof, count, level=level) == pytest.approx(
        (low, high), abs=6e-5
    )


@pytest.mark.parametrize(
    ("dof", "upper_5_percent", "upper_1_percent"),
    # Baron, Probability and Statistics for Computer Scientists, table A6
    [(1, 3.84, 6.63), (2, 5.99, 9.21), (3, 7.81, 11.3), (6, 12.6, 16.8), (8, 15.5, 20.1)],
)
def test_single_chi_square_points_of_a_printed_table(dof, upper_5_percent, upper_1_percent):
    assert chi_square_average_interval(dof, 1, level=0.90)[1] == pytest.approx(
        upper_5_percent, rel=5e-3
    )
    assert chi_square_average_interval(dof, 1, level=0.98)[1] == pytest.approx(
        upper_1_percent, rel=5e-3
    )


def test_the_paired_comparison_of_the_sleep_data_is_students():
    # paired t: 95 % interval (-2.4598858, -0.7001142), as R prints it (from memory) and as worked
    # out from the data; two plans that spread alike, to the resolution of the simulated studies
    first, second = hits_against_best(SLEEP_HOURS)
    assert first.difference.value == pytest.approx(-1.58)
    ends = (first.difference.low, first.difference.high)
    assert ends == pytest.approx((-2.4598858, -0.7001142), abs=0.06)
    assert not first.may_be_best
    assert second.may_be_best
    # 95 % below 0.0014 (half of p = 0.00283): between equals no spread of the truth is known
    assert second.best_probability > 0.98


def test_the_paired_comparison_of_laws_inventory_costs():
    # Law, Simulation Modeling and Analysis: monthly costs of two policies (values from memory);
    # paired 90 % (1.6491, 8.3069) worked out from them, printed [1.65, 8.31] (from memory)
    costs = [[126.97, 124.31, 126.68, 122.66, 127.23], [118.21, 120.22, 122.45, 122.68, 119.40]]
    difference = hits_against_best(costs, level=0.9)[0].difference
    assert difference.value == pytest.approx(4.978)
    assert (difference.low, difference.high) == pytest.approx((1.6491, 8.3069), abs=0.1)


@pytest.mark.parametrize(("trials", "level"), [(5, 0.9), (10, 0.95), (30, 0.99)])
def test_two_plans_of_like_spread_have_students_critical_value(trials, level):
    critical = critical_mean_difference(np.ones(2), trials=trials, level=level)
    assert critical == pytest.approx(stats.t.ppf(0.5 + 0.5 * level, trials - 1), rel=0.03)


def with_pooled_variance(covariances):
    """All plans alike, as an analysis of variance in blocks has it."""
    plans = covariances.shape[-1]
    own = np.trace(covariances, axis1=1, axis2=2)
    between = (covariances.sum(axis=(1, 2)) - own) / (plans * (plans - 1))
    pooled = np.broadcast_to(between[:, None, None], covariances.shape).copy()
    pooled[:, np.arange(plans), np.arange(plans)] = (own / plans)[:, None]
    return pooled


def studentised_normal_plans():
    """Studentised differences (studies, 15) of 6 plans in 7 blocks: 30 degrees of freedom."""
    means, covariances = simulated_studies("normal", plans=6, trials=7)
    return studentised_differences(means, with_pooled_variance(covariances), trials=7)


def test_the_critical_value_against_a_control_is_dunnetts():
    # six independent groups of 6 have 30 degrees of freedom, as six plans in 7 blocks have
    samples = np.random.default_rng(1).normal(size=(6, 6))
    against = stats.dunnett(*samples[1:], control=samples[0], alternative="greater", rng=2)
    differences = samples[1:].mean(axis=1) - samples[0].mean()
    error = np.sqrt(samples.var(axis=1, ddof=1).mean() * 2.0 / 6.0)
    dunnetts = (differences - against.confidence_interval(0.95).low) / error
    assert dunnetts == pytest.approx(dunnetts[0])
    mine = np.quantile(-studentised_normal_plans()[:, :5].min(axis=1), 0.95)
    assert mine == pytest.approx(dunnetts[0], rel=0.02)


def test_the_critical_value_of_all_pairs_is_tukeys():
    tukeys = stats.studentized_range.ppf(0.95, 6, 30) / np.sqrt(2.0)
    mine = np.quantile(np.abs(studentised_normal_plans()).max(axis=1), 0.95)
    assert mine == pytest.approx(tukeys, rel=0.02)


def test_squared_normal_numbers_alone_have_the_chi_square_interval_at_least():
    # the mean of n of them is chi-square with n degrees of freedom: exact where the law is known
    for trials in (5, 30):
        squares = np.random.default_rng(trials).chisquare(1, size=trials)
        exact = squares.sum() / stats.chi2.ppf([0.975, 0.025], trials)
        assert mean_square_interval(squares).high <= exact[1] * (1.0 + 1e-9)


def lehmers_series(count, correlation):
    """An autoregressive series driven by a linear congruential generator: the same everywhere."""
    state, value, series = 1, 0.0, []
    for _ in range(count):
        state = (1103515245 * state + 12345) % 2**31
        value = correlation * value + state / 2**31 - 0.5
        series.append(value)
    return np.array(series)


@pytest.mark.parametrize(
    ("count", "correlation", "of_series", "of_squares"),
    [
        # the package arch 8.0.0, optimal_block_length, column "circular"; it divides by the spread
        # of the overlap alone, which moves the choice of lags in series shorter than these
        (75, 0.5, 5.865618, 3.856014),
        (100, 0.8, 12.448396, 5.504628),
        (400, 0.9, 26.805031, 12.742741),
        (1000, 0.3, 9.708445, 5.786150),
        (2500, -0.4, 10.733122, 8.695268),
    ],
)
def test_block_lengths_are_those_of_another_program(count, correlation, of_series, of_squares):
    series = lehmers_series(count, correlation)
    assert block_length(series) == pytest.approx(of_series, abs=1e-6)
    assert block_length(series**2) == pytest.approx(of_squares, abs=1e-6)
