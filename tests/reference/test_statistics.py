"""Intervals against published figures and against scipy.

Sources are named beside each value; values given from memory are marked so and never stand alone.
"""

import numpy as np
import pytest
from scipy import stats

from posefuse.statistics.intervals import (
    bootstrap_of_means,
    chi_square_average_interval,
    paired_mean_differences,
    paired_rms_differences,
    wilson_interval,
)

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


@pytest.mark.parametrize(
    ("hits", "count", "level", "low", "high"),
    [
        # R prop.test 3.6.2 as printed in scipy's stats/tests/test_morestats.py
        (3, 10, 0.95, 0.1077913, 0.6032219),
        (3, 10, 0.99, 0.07956632, 0.6799753),
        (0, 10, 0.95, 0.0, 0.2775328),
        (10, 10, 0.95, 0.7224672, 1.0),
        # R binom as printed in statsmodels' stats/tests/results/results_proportion.py
        (18, 20, 0.95, 0.6989664, 0.9721335),
        (4, 20, 0.95, 0.0806576626, 0.4160174323),
        (100, 200, 0.95, 0.4313609, 0.5686391),
        # the examples of Newcombe, Statistics in Medicine 17, 1998, worked out with scipy
        (81, 263, 0.95, 0.2552885, 0.3662096),
        (15, 148, 0.95, 0.0623864, 0.1604872),
        (0, 20, 0.95, 0.0, 0.1611252),
        (1, 29, 0.95, 0.0061132, 0.1717552),
    ],
)
def test_wilson_intervals(hits, count, level, low, high):
    interval = wilson_interval(hits, count, level=level)
    assert (interval.low, interval.high) == pytest.approx((low, high), abs=1e-6)
    theirs = stats.binomtest(hits, count).proportion_ci(level, method="wilson")
    assert (interval.low, interval.high) == pytest.approx(tuple(theirs), abs=1e-12)


def mean_of_first(means):
    return means[..., 0]


def test_bca_interval_of_a_mean_as_r_boot_gives_it():
    # R boot, 1e6 draws, to 0.5 %: BCa (32.31, 91.43), in scipy's stats/tests/test_resampling.py
    values = [10, 12, 12.5, 12.5, 13.9, 15, 21, 22, 23, 34, 50, 81, 89, 121, 134, 213]
    interval = bootstrap_of_means(np.array(values)[:, None], mean_of_first, resamples=100_000)
    assert (interval.low, interval.high) == pytest.approx((32.31, 91.43), rel=8e-3)


def test_bca_interval_of_paired_sleep_differences():
    # scipy.stats.bootstrap, BCa, 200,000 draws: (-2.63, -1.06)
    difference = SLEEP_HOURS[0] - SLEEP_HOURS[1]
    interval = bootstrap_of_means(difference[:, None], mean_of_first, resamples=100_000)
    assert interval.value == pytest.approx(-1.58)
    assert (interval.low, interval.high) == pytest.approx((-2.63, -1.06), abs=0.02)


def test_pairing_shared_luck_narrows_the_interval():
    # Student's data: paired t interval 3.5 wide without pairing, 1.76 with it
    paired = bootstrap_of_means(
        SLEEP_HOURS.T, lambda means: means[..., 0] - means[..., 1], resamples=20_000
    )
    own = [bootstrap_of_means(drug[:, None], mean_of_first) for drug in SLEEP_HOURS]
    unpaired_width = np.hypot(own[0].high - own[0].low, own[1].high - own[1].low)
    assert paired.high - paired.low < 0.6 * unpaired_width
    assert not paired.holds(0.0)


def test_mean_differences_are_those_of_the_paired_sleep_data():
    # scipy.stats.bootstrap, BCa, 200,000 draws: (-2.63, -1.06)
    mine, itself = paired_mean_differences(SLEEP_HOURS, reference=1)
    assert mine.value == pytest.approx(-1.58)
    assert (mine.low, mine.high) == pytest.approx((-2.63, -1.06), abs=0.08)
    assert (itself.value, itself.low, itself.high) == (0.0, 0.0, 0.0)


def test_rms_differences_agree_with_scipys_paired_bootstrap():
    generator = np.random.default_rng(5)
    luck = generator.gamma(3.0, size=40)
    squares = np.array([luck * 1.2, luck + 0.3 * generator.gamma(1.0, size=40)])
    mine = paired_rms_differences(squares, reference=1)[0]

    def difference(a, b, axis=-1):
        return np.sqrt(a.mean(axis=axis)) - np.sqrt(b.mean(axis=axis))

    theirs = stats.bootstrap(
        tuple(squares), difference, paired=True, vectorized=True, n_resamples=20_000, rng=1
    ).confidence_interval
    width = theirs.high - theirs.low
    assert (mine.low, mine.high) == pytest.approx(tuple(theirs), abs=0.05 * width)
