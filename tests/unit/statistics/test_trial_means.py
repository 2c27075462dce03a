"""Intervals over trials: their coverage, their edges and what they refuse."""

import numpy as np
import pytest
from scipy.stats import bootstrap, norm

from posefuse.errors import InputError
from posefuse.statistics.chi_square import chi_square_average_interval
from posefuse.statistics.trial_means import (
    hits_interval,
    mean_square_interval,
    rms_interval,
)
from simulated_trials import mean_squares

LAWS = {
    "one constant": {"constants": (1.0,)},
    "one constant above noise": {"constants": (1.0,), "white": 0.6},
    "several constants": {"constants": (1.0, 0.5, 0.3, 0.2), "white": 0.05},
    "many errors of like size": {"constants": (1.0,) * 20},
}


def share_held(intervals, value):
    return np.mean([interval.holds(value) for interval in intervals])


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("trials", [5, 10, 30])
def test_rms_intervals_hold_the_truth_in_most_studies(law, trials):
    drawn = mean_squares(np.random.default_rng(trials), 200, trials, plans=1, **LAWS[law])[:, 0]
    # 95 % and 3.2 standard errors of 200 studies
    assert share_held([rms_interval(study) for study in drawn], 1.0) > 0.90


@pytest.mark.slow
@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("trials", [5, 10, 30, 100])
def test_rms_intervals_hold_the_truth_in_95_of_100_studies(law, trials, tell):
    drawn = mean_squares(np.random.default_rng(9), 4000, trials, plans=1, **LAWS[law])[:, 0]
    intervals = [rms_interval(study) for study in drawn]
    held = share_held(intervals, 1.0)
    width = np.median([interval.high - interval.low for interval in intervals])
    tell(
        f"RMS of {trials} trials, {law}: interval holds the truth in {100 * held:.1f} %, width "
        f"{width:.2f} RMS"
    )
    assert 0.943 < held < 0.99


def test_resampled_trials_would_hold_the_truth_too_seldom():
    drawn = mean_squares(np.random.default_rng(3), 150, 10, plans=1)[:, 0]
    resampled = [
        bootstrap((study,), np.mean, n_resamples=1000, rng=1).confidence_interval for study in drawn
    ]
    assert np.mean([ends.low <= 1.0 <= ends.high for ends in resampled]) < 0.91
    assert share_held([rms_interval(study) for study in drawn], 1.0) > 0.91


def test_many_alike_trials_have_the_interval_of_their_standard_error():
    squares = np.random.default_rng(1).normal(4.0, 0.4, size=1000)
    interval = rms_interval(squares)
    error = squares.std(ddof=1) / np.sqrt(1000) / (2.0 * interval.value)
    assert interval.value == pytest.approx(np.sqrt(squares.mean()))
    assert interval.low == pytest.approx(interval.value - 1.96 * error, abs=0.15 * error)
    assert interval.high == pytest.approx(interval.value + 1.96 * error, abs=0.35 * error)


def test_no_upper_end_is_beyond_that_of_squared_normal_numbers():
    squares = np.array([0.1, 0.2, 9.0])
    # chi-square with 3 degrees of freedom, lower 2.5 % point
    assert rms_interval(squares).high == pytest.approx(np.sqrt(squares.sum() / 0.2157953), rel=1e-6)


def test_the_same_trials_in_other_units_give_the_same_interval():
    squares = np.random.default_rng(5).chisquare(1, size=12)
    metres, centimetres = rms_interval(squares), rms_interval(1e4 * squares)
    ends = np.array([metres.value, metres.low, metres.high])
    assert [centimetres.value, centimetres.low, centimetres.high] == pytest.approx(100.0 * ends)


def test_a_wider_level_gives_a_wider_interval():
    squares = np.random.default_rng(3).gamma(2.0, size=30)
    narrow, wide = (rms_interval(squares, level=level) for level in (0.8, 0.99))
    assert wide.low < narrow.low < narrow.value < narrow.high < wide.high


def test_a_single_trial_leaves_the_interval_unknown():
    for interval in (rms_interval([0.04]), mean_square_interval([0.2]), hits_interval([0.2])):
        assert interval.value == pytest.approx(0.2)
        assert np.isnan([interval.low, interval.high]).all()


def test_trials_that_are_all_alike_leave_no_doubt():
    for interval in (rms_interval([4.0, 4.0, 4.0]), hits_interval([2.0, 2.0])):
        assert (interval.low, interval.value, interval.high) == (2.0, 2.0, 2.0)


def test_counts_weigh_the_runs_as_their_pooled_instants_would():
    means, counts = np.array([2.0, 4.0, 3.0, 5.0]), np.array([10.0, 30.0, 20.0, 40.0])
    pooled = mean_square_interval(means, counts)
    assert pooled.value == pytest.approx((means * counts).sum() / counts.sum())
    alike = mean_square_interval(means, [7.0] * 4)
    assert alike == mean_square_interval(means)
    assert (pooled.low, pooled.high) != (alike.low, alike.high)


@pytest.mark.parametrize("instants", [1, 10])
@pytest.mark.parametrize("correlation", [0.0, 0.9, 1.0])
def test_the_interval_of_a_mean_nees_holds_however_correlated_a_run_is(instants, correlation):
    means = _mean_nees(np.random.default_rng(6), 300, 20, instants, correlation)
    assert share_held([mean_square_interval(m) for m in means], 3.0) > 0.91


def test_a_region_of_independent_instants_would_be_far_too_narrow():
    means = _mean_nees(np.random.default_rng(7), 400, 20, 50, 0.98).mean(axis=1)
    low, high = chi_square_average_interval(3, 20 * 50)
    assert np.mean((low <= means) & (means <= high)) < 0.5


@pytest.mark.slow
@pytest.mark.parametrize("runs", [5, 10, 30])
@pytest.mark.parametrize("correlation", [0.0, 0.8, 0.98])
def test_the_interval_of_a_mean_nees_holds_in_95_of_100_studies(runs, correlation, tell):
    means = _mean_nees(np.random.default_rng(8), 3000, runs, 40, correlation)
    intervals = [mean_square_interval(m) for m in means]
    held = share_held(intervals, 3.0)
    tell(
        f"NEES of {runs} runs of 40 instants, correlation {correlation}: interval holds 3 in "
        f"{100 * held:.1f} %, width {np.median([i.high - i.low for i in intervals]):.2f}"
    )
    assert 0.943 < held < 0.995


def _mean_nees(generator, studies, runs, instants, correlation):
    """Mean NEES (studies, runs) of 3 states whose errors stay correlated within a run."""
    errors = np.empty((studies, runs, instants, 3))
    errors[:, :, 0] = generator.normal(size=(studies, runs, 3))
    for k in range(1, instants):
        new = np.sqrt(1.0 - correlation**2) * generator.normal(size=(studies, runs, 3))
        errors[:, :, k] = correlation * errors[:, :, k - 1] + new
    return (errors**2).sum(axis=3).mean(axis=2)


def hits_per_100(generator, studies, trials):
    """Hits in 100 of one plan, (studies, trials): an error that is one constant of the build."""
    error = 0.6 * generator.normal(size=(studies, trials, 1)) * np.linspace(0.5, 1.5, 8)
    shares = norm.cdf((1.0 - error) / 0.5) - norm.cdf((-1.0 - error) / 0.5)
    return 100.0 * shares.mean(axis=2)


@pytest.mark.parametrize("trials", [5, 10, 30])
def test_hit_intervals_hold_the_truth_in_most_studies(trials):
    true = hits_per_100(np.random.default_rng(1), 2000, 100).mean()
    drawn = hits_per_100(np.random.default_rng(2), 300, trials)
    intervals = [hits_interval(study) for study in drawn]
    assert share_held(intervals, true) > 0.91
    assert all(0.0 <= i.low <= i.value <= i.high <= 100.0 for i in intervals)


def test_hit_intervals_reach_farther_down_than_up():
    interval = hits_interval([96.0, 95.0, 97.0, 94.0, 96.0])
    assert interval.value - interval.low > 2.0 * (interval.high - interval.value)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: rms_interval([]), "needs 1 trial or more"),
        (lambda: rms_interval([1.0, np.nan]), "not finite"),
        (lambda: rms_interval([1.0, -2.0]), "must not be negative"),
        (lambda: mean_square_interval([1.0, 2.0], [1.0, 0.0]), "their counts be positive"),
        (lambda: mean_square_interval([1.0, 2.0], [1.0]), "counts: shape"),
        (lambda: rms_interval([1.0, 2.0], level=0.9999), "level: must be between 0.5 and 0.999"),
        (lambda: hits_interval([101.0]), "must lie between 0 and 100"),
        (lambda: hits_interval([]), "needs 1 trial or more"),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(InputError, match=message):
        call()
