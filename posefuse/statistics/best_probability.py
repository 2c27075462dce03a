"""How probable it is that each plan is the best."""

from typing import NamedTuple

import numpy as np

from posefuse.checks import FloatArray
from posefuse.randomness.streams import stream
from posefuse.statistics.pairs import PRIOR_TRIALS

__all__ = ["best_probabilities"]

_DRAWS = 4000
_SHARES = 20
_EXACT = 1e-12
"""Share of the variance between plans below which differences are known exactly."""


class _Posteriors(NamedTuple):
    """What the estimates say for each of several spreads of the true figures.

    Parameters
    ----------
    weights, spreads, means, mean_stds : (spreads,) arrays
        Probability of the spread, the spread, the mean of the true figures and its deviation.
    gains : (spreads, plans, plans) array
        What part of an estimate's distance from its expectation is taken over.
    """

    weights: FloatArray
    spreads: FloatArray
    means: FloatArray
    mean_stds: FloatArray
    gains: FloatArray


def best_probabilities(
    estimates: FloatArray, covariances: FloatArray, *, trials: int
) -> FloatArray:
    """Probability that each plan has the smallest true figure, (plans,); they add up to 1.

    Posterior probabilities under this model: true figures are normal about an unknown mean with an
    unknown spread, and estimates normal about them. Before the trials
    ``noise / (noise + spread^2)`` is as likely anywhere between 0 and 1 (uniform shrinkage prior:
    M. J. Daniels, Canadian Journal of Statistics 27, 1999). Of six equal plans each has a sixth on
    average, and the one that is ahead by chance 0.4; were any spread as likely as any other, it
    would have 0.55. Plans that gave identical figures in all trials share alike.

    Parameters
    ----------
    estimates : (plans,) array
    covariances : (plans, plans) array
        Of the estimates, as ``moderated``.
    trials
        Behind the covariances: they are widened by the variance of Student's law.
    """
    plans = len(estimates)
    dof = trials - 1.0 + PRIOR_TRIALS
    errors = covariances * dof / (dof - 2.0)
    own = float(np.trace(errors))
    noise = (own - (errors.sum() - own) / (plans - 1)) / plans
    if noise <= _EXACT * own:
        is_first = estimates == estimates.min()
        return np.asarray(is_first / np.count_nonzero(is_first))
    shares = (np.arange(_SHARES) + 0.5) / _SHARES
    posterior = _posteriors(estimates, errors, noise * (1.0 - shares) / shares)
    generator = stream(0, trials, "probability of the best")
    true = _true_figures(estimates, errors, posterior, generator)
    tied = true == true.min(axis=1, keepdims=True)
    return np.asarray((tied / tied.sum(axis=1, keepdims=True)).mean(axis=0))


def _posteriors(estimates: FloatArray, errors: FloatArray, spreads2: FloatArray) -> _Posteriors:
    spread = spreads2[:, None, None] * np.eye(len(estimates))
    information = np.linalg.inv(errors + spread)
    of_mean = information.sum(axis=(1, 2))
    means = np.einsum("sij,j->s", information, estimates) / of_mean
    residuals = estimates - means[:, None]
    distances2 = np.einsum("si,sij,sj->s", residuals, information, residuals)
    log_weights = 0.5 * (np.linalg.slogdet(information)[1] - np.log(of_mean) - distances2)
    weights = np.exp(log_weights - log_weights.max())
    return _Posteriors(
        weights=weights / weights.sum(),
        spreads=np.sqrt(spreads2),
        means=means,
        mean_stds=1.0 / np.sqrt(of_mean),
        gains=spread @ information,
    )


def _true_figures(
    estimates: FloatArray,
    errors: FloatArray,
    posterior: _Posteriors,
    generator: np.random.Generator,
) -> FloatArray:
    """Draws of the true figures (draws, plans).

    Drawn as if before the trials, then moved by the gain times how far the trials drawn with them
    are from those that were seen.
    """
    plans = len(estimates)
    picked = generator.choice(len(posterior.weights), size=_DRAWS, p=posterior.weights)
    normal = generator.standard_normal((_DRAWS, 2 * plans + 1))
    centre = posterior.means[picked] + posterior.mean_stds[picked] * normal[:, 0]
    true = centre[:, None] + posterior.spreads[picked, None] * normal[:, 1 : plans + 1]
    values, vectors = np.linalg.eigh(errors)
    noise = np.einsum(
        "dj,ij->di", normal[:, plans + 1 :], vectors * np.sqrt(np.maximum(values, 0.0))
    )
    gains = posterior.gains[picked]
    return np.asarray(true + np.einsum("dij,dj->di", gains, estimates - true - noise))
