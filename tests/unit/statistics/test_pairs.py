"""Studentised differences and their critical values."""

import numpy as np
import pytest

from posefuse.statistics.pairs import (
    critical_log_difference,
    critical_mean_difference,
    moderated,
    studentised_differences,
)
from posefuse.statistics.trial_laws import simulated_studies, variation_of


def test_moderated_covariances_lie_between_their_own_and_the_average():
    own = np.array([[4.0, 1.0, 0.0], [1.0, 2.0, 0.5], [0.0, 0.5, 3.0]])
    average = np.full((3, 3), 0.5)
    np.fill_diagonal(average, 3.0)
    # 5 trials: 4 of their own degrees of freedom against a weight of 4
    assert moderated(own, trials=5) == pytest.approx(0.5 * (own + average))
    assert moderated(own, trials=1001) == pytest.approx(own, abs=0.01)
    pair = own[:2, :2]
    difference = [1.0, -1.0]
    for trials in (3, 50):
        mixed = moderated(pair, trials=trials)
        assert difference @ mixed @ difference == pytest.approx(difference @ pair @ difference)


def test_studentised_differences_of_each_pair():
    covariances = np.array([[4.0, 1.0, 0.0], [1.0, 2.0, 0.0], [0.0, 0.0, 0.0]])
    values = np.array([3.0, 1.0, 1.0])
    # variances 4 + 2 - 2, 4 and 2, of 4 trials
    expected = [2.0 / np.sqrt(4.0 / 4), 2.0 / np.sqrt(4.0 / 4), 0.0]
    assert studentised_differences(values, covariances, trials=4) == pytest.approx(expected)


def test_a_difference_without_error_is_endless_and_none_is_none():
    values, covariances = np.array([1.0, 2.0, 1.0]), np.ones((3, 3))
    found = studentised_differences(values, covariances, trials=4)
    assert found.tolist() == [-np.inf, 0.0, np.inf]


@pytest.mark.parametrize("plans", [2, 6, 12])
def test_critical_values_fall_with_trials_and_rise_with_plans(plans):
    values = [critical_log_difference(plans, trials, level=0.95) for trials in (3, 5, 10, 30, 100)]
    assert values == sorted(values, reverse=True)
    assert critical_log_difference(plans + 3, 10, level=0.95) > values[2]
    assert critical_log_difference(plans, 10, level=0.99) > values[2]


def test_unlike_spreads_need_larger_critical_values_for_means():
    alike = critical_mean_difference(np.ones(6), trials=10, level=0.95)
    unlike = critical_mean_difference(
        np.array([1.0, 1.0, 1.0, 3.0, 3.0, 3.0]), trials=10, level=0.95
    )
    assert unlike > 1.3 * alike
    scaled = critical_mean_difference(np.full(6, 7.0), trials=10, level=0.95)
    assert scaled == pytest.approx(alike)


@pytest.mark.parametrize("law", ["square", "normal"])
@pytest.mark.parametrize("plans", [1, 4])
def test_simulated_studies_have_the_moments_of_their_law(law, plans):
    trials = 8
    means, covariances = simulated_studies(law, plans=plans, trials=trials)
    assert means.mean() == pytest.approx(0.0, abs=0.02)
    assert trials * means.var() == pytest.approx(1.0, rel=0.06)
    assert np.diagonal(covariances, axis1=1, axis2=2).mean() == pytest.approx(1.0, rel=0.05)
    if plans > 1:
        assert covariances[:, 0, 1].mean() == pytest.approx(0.8, rel=0.06)
    # the third moment of a mean of squared normal numbers is sqrt(8 / trials)
    skewness = (means**3).mean() / means.std() ** 3
    assert skewness == pytest.approx(np.sqrt(8.0 / trials) if law == "square" else 0.0, abs=0.15)


def test_studies_drawn_in_pieces_are_no_others_than_those_of_one_piece(monkeypatch):
    from posefuse.statistics import trial_laws

    whole = simulated_studies("square", plans=2, trials=9)
    monkeypatch.setattr(trial_laws, "_CHUNK_NUMBERS", 9000)
    pieces = simulated_studies.__wrapped__("square", plans=2, trials=9)
    assert np.array_equal(whole.means, pieces.means)
    assert np.allclose(whole.covariances, pieces.covariances, rtol=1e-6)


def test_the_variation_of_gamma_variates_is_found_without_bias_of_the_shape():
    values = np.random.default_rng(1).gamma(2.0, size=(20_000, 6))
    shapes = [
        1.0 / variation_of(v.mean(), v.var(ddof=1), trials=6) ** 2 for v in values if v.var() > 0.0
    ]
    # the square of the variation of six such trials has the mean 6 / (6 * 2 + 1)
    assert np.mean([v.var(ddof=1) / v.mean() ** 2 for v in values]) == pytest.approx(
        6 / 13, rel=0.02
    )
    assert np.median(shapes) == pytest.approx(2.0, rel=0.2)


def test_no_variation_is_above_that_of_a_squared_normal_number():
    assert variation_of(1.0, 50.0, trials=5) == pytest.approx(np.sqrt(2.0))
    assert variation_of(1.0, 1e-6, trials=5) == pytest.approx(1e-3, rel=1e-4)
