"""Intervals over one run's correlated instants."""

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.statistics.correlated import (
    block_length,
    correlated_mean_interval,
    correlated_rms_interval,
    effective_count,
)
from posefuse.statistics.trial_means import mean_square_interval, rms_interval
from simulated_trials import autoregressive


def share_held(intervals, value):
    return np.mean([interval.holds(value) for interval in intervals])


@pytest.mark.parametrize(
    ("count", "correlation", "bias"),
    [(100, 0.0, 0.0), (100, 0.5, 0.0), (100, 0.8, 0.0), (100, 0.8, 1.0), (400, 0.9, 0.5)],
)
def test_intervals_of_correlated_series_hold_the_truth(count, correlation, bias):
    series = bias + autoregressive(np.random.default_rng(1), 150, count, correlation)
    true = np.sqrt(1.0 + bias**2)
    assert share_held([correlated_rms_interval(run) for run in series], true) > 0.89


def test_an_interval_as_if_of_independent_errors_holds_too_seldom():
    series = autoregressive(np.random.default_rng(2), 150, 100, 0.8)
    assert share_held([rms_interval(run**2) for run in series], 1.0) < 0.75
    assert share_held([correlated_rms_interval(run) for run in series], 1.0) > 0.89


@pytest.mark.slow
@pytest.mark.parametrize("count", [20, 50, 100, 400, 2000])
@pytest.mark.parametrize("correlation", [0.0, 0.5, 0.8, 0.9])
def test_intervals_of_correlated_series_hold_the_truth_in_95_of_100_runs(count, correlation, tell):
    series = autoregressive(np.random.default_rng(3), 600, count, correlation)
    intervals = [correlated_rms_interval(run) for run in series]
    held = share_held(intervals, 1.0)
    naive = share_held([rms_interval(run**2) for run in series[:200]], 1.0)
    tell(
        f"RMS of {count} errors correlated by {correlation}: interval holds in {100 * held:.1f} %, "
        f"width {np.median([i.high - i.low for i in intervals]):.2f}; as if independent "
        f"{100 * naive:.0f} %"
    )
    independent = count * (1.0 - correlation**2) / (1.0 + correlation**2)
    # five independent squares or fewer cannot show how correlated they are
    assert held > (0.92 if independent > 8.0 else 0.85)


@pytest.mark.parametrize("correlation", [0.0, 0.5, 0.9])
def test_the_effective_count_of_an_autoregressive_series(correlation):
    series = autoregressive(np.random.default_rng(4), 60, 2000, correlation)
    found = np.mean([effective_count(run) for run in series])
    assert found == pytest.approx(2000.0 * (1.0 - correlation) / (1.0 + correlation), rel=0.15)


def test_a_series_that_swings_counts_for_no_more_than_it_has():
    assert effective_count(np.array([1.0, -1.0] * 50)) == 100.0
    assert effective_count(np.full(10, 3.0)) == 10.0


def test_independent_errors_have_short_blocks_and_correlated_ones_long_ones():
    generator = np.random.default_rng(5)
    lengths = [
        np.mean([block_length(run) for run in autoregressive(generator, 50, 400, correlation)])
        for correlation in (0.0, 0.5, 0.9)
    ]
    assert 1.0 <= lengths[0] < 3.0
    assert 1.5 * lengths[0] < lengths[1] < lengths[2]
    # at most a third of the series, and three times its root
    assert block_length(np.arange(30.0)) <= 10.0
    assert block_length(np.arange(400.0)) <= 60.0
    assert block_length(np.full(20, 1.0)) == 1.0


def test_a_series_of_equal_parts_has_the_interval_of_its_blocks():
    # correlated so strongly that no more than the fewest blocks are taken
    series = np.repeat([1.0, 2.0, 4.0, 3.0], 5)
    assert correlated_mean_interval(series) == mean_square_interval([1.0, 2.0, 4.0, 3.0])
    assert correlated_rms_interval(np.sqrt(series)).value == pytest.approx(np.sqrt(2.5))


def test_the_value_is_that_of_all_instants_also_where_blocks_differ_in_length():
    errors = np.random.default_rng(6).normal(size=103)
    assert correlated_rms_interval(errors).value == pytest.approx(np.sqrt((errors**2).mean()))


def test_a_series_too_short_to_be_cut_has_no_interval():
    short = correlated_rms_interval([1.0, -1.0, 1.0, 1.0, -1.0, 1.0, 1.0])
    assert short.value == 1.0
    assert np.isnan([short.low, short.high]).all()
    assert np.isfinite(correlated_rms_interval(np.arange(8.0)).low)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: correlated_rms_interval([]), "needs 1 value or more"),
        (lambda: correlated_rms_interval([1.0, np.inf]), "not finite"),
        (lambda: correlated_mean_interval([-1.0] * 9), "must not be negative"),
        (lambda: block_length(np.ones((2, 2))), "series: shape"),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(InputError, match=message):
        call()
