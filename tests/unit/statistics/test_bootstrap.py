"""The bootstrap of means: its edges and what it refuses."""

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.statistics.bootstrap import (
    bootstrap_of_means,
    paired_mean_differences,
    paired_rms_differences,
)


def mean_of_first(means):
    return means[..., 0]


def test_a_rival_set_against_itself_differs_by_nothing():
    squares = np.random.default_rng(1).gamma(2.0, size=(3, 20))
    for paired in (paired_rms_differences, paired_mean_differences):
        itself = paired(squares, reference=1)[1]
        assert (itself.value, itself.low, itself.high) == (0.0, 0.0, 0.0)
        assert itself.holds(0.0)


def test_the_same_seed_gives_the_same_interval_and_another_seed_a_close_one():
    values = np.random.default_rng(2).gamma(2.0, size=(30, 1))
    one, same, other = (bootstrap_of_means(values, mean_of_first, seed=seed) for seed in (4, 4, 5))
    assert one == same
    assert one != other
    assert one.low == pytest.approx(other.low, rel=0.02)


def test_a_single_trial_leaves_the_interval_unknown():
    interval = bootstrap_of_means([[0.2]], mean_of_first)
    assert interval.value == 0.2
    assert np.isnan([interval.low, interval.high]).all()
    assert not interval.holds(0.2)


def test_a_wider_level_gives_a_wider_interval():
    values = np.random.default_rng(3).gamma(2.0, size=(30, 1))
    narrow, wide = (bootstrap_of_means(values, mean_of_first, level=p) for p in (0.8, 0.99))
    assert wide.low < narrow.low < narrow.value < narrow.high < wide.high


def test_many_trials_are_resampled_in_pieces():
    values = np.random.default_rng(3).gamma(2.0, size=(3000, 1))
    interval = bootstrap_of_means(values, mean_of_first)
    # gamma(2) has variance 2
    half = 1.96 * np.sqrt(2.0 / 3000)
    assert interval.high - interval.low == pytest.approx(2.0 * half, rel=0.1)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: bootstrap_of_means(np.empty((0, 1)), mean_of_first), "needs 1 trial or more"),
        (lambda: bootstrap_of_means([[1.0], [np.nan]], mean_of_first), "not finite"),
        (lambda: bootstrap_of_means([1.0], mean_of_first), "trials: shape"),
        (lambda: paired_rms_differences([1.0, 2.0], reference=0), r"shape \(2,\)"),
        (lambda: paired_rms_differences([[1.0, 2.0]], reference=1), "reference 1"),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(InputError, match=message):
        call()
