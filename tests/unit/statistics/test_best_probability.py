"""How probable it is that a plan is the best."""

import numpy as np
import pytest
from scipy.stats import norm

from posefuse.statistics.best import hits_against_best, rms_against_best
from posefuse.statistics.best_probability import best_probabilities
from simulated_trials import mean_squares


def probabilities(squares):
    return np.array([plan.best_probability for plan in rms_against_best(squares)])


@pytest.mark.parametrize("difference", [0.0, 0.5, 1.0, 2.0, 4.0])
def test_of_two_plans_it_is_the_integral_over_all_shrinkages(difference):
    # errors of 1 each, uncorrelated; many trials, so that Student's law adds nothing
    found = best_probabilities(np.array([0.0, difference]), np.eye(2), trials=1_000_000)
    share = (np.arange(2000) + 0.5) / 2000  # of the noise in the variance of an estimate
    weight = norm.pdf(difference, scale=np.sqrt(2.0 / share))
    first = norm.cdf((1.0 - share) * difference / np.sqrt(2.0 * (1.0 - share)))
    assert found[0] == pytest.approx((weight * first).sum() / weight.sum(), abs=0.025)
    assert found.sum() == pytest.approx(1.0)


def test_equal_plans_have_equal_shares_on_average():
    studies = mean_squares(np.random.default_rng(1), 250, 10)
    found = np.array([probabilities(study) for study in studies])
    assert found.sum(axis=1) == pytest.approx(1.0)
    assert found.mean(axis=0) == pytest.approx(1.0 / 6.0, abs=0.045)
    # the one that is ahead by chance does not look like a sure winner
    assert found.max(axis=1).mean() < 0.48
    assert np.mean(found.max(axis=1) > 0.9) < 0.08


def test_a_clear_winner_is_probably_the_best_and_a_tie_is_shared():
    squares = mean_squares(np.random.default_rng(2), 1, 30, white=0.5)[0]
    squares[0] *= 0.1
    assert probabilities(squares)[0] > 0.99
    squares[3] = squares[0]
    assert probabilities(squares)[[0, 3]] == pytest.approx(0.5, abs=0.02)


def test_more_hits_are_better():
    low, high = hits_against_best([[80.0, 81.0, 79.0, 80.0], [90.0, 91.0, 89.5, 90.5]])
    assert low.best_probability < 0.05
    assert high.best_probability > 0.95


def test_more_noise_says_less():
    estimates = np.array([0.0, 1.0, 1.0])
    sure, unsure = (best_probabilities(estimates, s * np.eye(3), trials=30)[0] for s in (0.05, 3.0))
    assert sure > 0.9
    assert 1.0 / 3.0 < unsure < 0.6


def test_few_trials_say_less_than_many():
    estimates, covariances = np.array([0.0, 2.5]), np.eye(2)
    few, many = (best_probabilities(estimates, covariances, trials=n)[0] for n in (2, 200))
    assert few < many


@pytest.mark.slow
@pytest.mark.parametrize("trials", [5, 10, 30])
@pytest.mark.parametrize("spread", [0.15, 0.4])
def test_plans_are_the_best_as_often_as_is_said(trials, spread, tell):
    generator = np.random.default_rng(3)
    squares = mean_squares(generator, 600, trials, constants=(1.0, 0.3, 0.1), white=0.1)
    rms = np.exp(spread * generator.normal(size=(600, 6)))
    found = np.array([probabilities(s) for s in squares * rms[..., None] ** 2])
    is_best = rms == rms.min(axis=1, keepdims=True)
    lines = []
    for low, high in ((0.05, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 1.01)):
        said = (found >= low) & (found < high)
        lines.append(f"{100 * found[said].mean():.0f} % said, {100 * is_best[said].mean():.0f} %")
        error = 3.0 * np.sqrt(0.25 / said.sum())
        assert is_best[said].mean() == pytest.approx(found[said].mean(), abs=0.08 + error)
    tell(f"probability of the best, {trials} trials, spread {spread}: {'; '.join(lines)} were")
