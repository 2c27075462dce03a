"""Intervals: their edges and what they refuse."""

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.statistics.intervals import (
    Interval,
    bootstrap_of_means,
    chi_square_average_interval,
    paired_rms_differences,
    rms_interval,
    wilson_interval,
)


def test_a_rival_set_against_itself_differs_by_nothing():
    squares = np.random.default_rng(1).gamma(2.0, size=(3, 20))
    itself = paired_rms_differences(squares, reference=1)[1]
    assert (itself.value, itself.low, itself.high) == (0.0, 0.0, 0.0)
    assert itself.holds(0.0)


def test_the_same_seed_gives_the_same_interval_and_another_seed_a_close_one():
    squares = np.random.default_rng(2).gamma(2.0, size=30)
    assert rms_interval(squares, seed=4) == rms_interval(squares, seed=4)
    one, other = rms_interval(squares, seed=4), rms_interval(squares, seed=5)
    assert one != other
    assert one.low == pytest.approx(other.low, rel=0.02)


def test_a_single_trial_leaves_the_interval_unknown():
    interval = rms_interval([0.04])
    assert interval.value == 0.2
    assert np.isnan([interval.low, interval.high]).all()
    assert not interval.holds(0.2)


def test_a_wider_level_gives_a_wider_interval():
    squares = np.random.default_rng(3).gamma(2.0, size=30)
    narrow, wide = (rms_interval(squares, level=level) for level in (0.8, 0.99))
    assert wide.low < narrow.low < narrow.value < narrow.high < wide.high


def test_many_trials_are_resampled_in_pieces():
    squares = np.random.default_rng(3).gamma(2.0, size=3000)
    interval = rms_interval(squares)
    # the mean square of gamma(2) has spread sqrt(2 / 3000); delta method for its root
    half = 1.96 * np.sqrt(2.0 / 3000) / (2.0 * interval.value)
    assert interval.high - interval.low == pytest.approx(2.0 * half, rel=0.1)


@pytest.mark.slow
def test_the_rms_interval_covers_the_truth_as_often_as_it_says():
    generator = np.random.default_rng(8)
    inside = [
        rms_interval(generator.gamma(2.0, size=40), seed=trial).holds(np.sqrt(2.0))
        for trial in range(400)
    ]
    assert 0.90 < np.mean(inside) < 0.98


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: chi_square_average_interval(0, 5), "dof and count must be 1 or more"),
        (lambda: chi_square_average_interval(3, 5, level=1.5), "level: must be between 0 and 1"),
        (lambda: wilson_interval(3, 2), "got 3 of 2"),
        (lambda: wilson_interval(0, 0), "got 0 of 0"),
        (lambda: rms_interval([]), "needs 1 trial or more"),
        (lambda: rms_interval([1.0, np.nan]), "not finite"),
        (lambda: paired_rms_differences([1.0, 2.0], reference=0), r"shape \(2,\)"),
        (lambda: paired_rms_differences([[1.0, 2.0]], reference=1), "reference 1"),
        (lambda: bootstrap_of_means([1.0], lambda m: m[..., 0]), "trials: shape"),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(InputError, match=message):
        call()


def test_an_interval_holds_its_ends():
    assert Interval(value=1.0, low=0.0, high=2.0).holds(2.0)
