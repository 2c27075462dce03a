"""Studentised differences of all pairs of plans, and the value none exceeds by chance."""

from functools import lru_cache

import numpy as np

from posefuse.checks import FloatArray
from posefuse.statistics.trial_laws import GREATEST_VARIATION, simulated_studies

__all__ = [
    "PRIOR_TRIALS",
    "critical_log_difference",
    "critical_mean_difference",
    "moderated",
    "studentised_differences",
]

PRIOR_TRIALS = 4.0
"""Trials' worth of weight that the average over all pairs has in the variance of one pair."""


def moderated(covariances: FloatArray, *, trials: int) -> FloatArray:
    """Covariances drawn towards the average variance and the average covariance, (..., p, p).

    With few trials the smallest of many estimated variances is far too small, which makes the
    largest studentised difference large; the average over all pairs is known better. As in the
    moderated t of G. K. Smyth, Statistical Applications in Genetics and Molecular Biology 3, 2004,
    but with a fixed weight.

    Parameters
    ----------
    covariances : (..., p, p) array
        Of the plans' figures over the trials.
    """
    plans = covariances.shape[-1]
    if plans < 2:
        return covariances
    own = np.trace(covariances, axis1=-2, axis2=-1)[..., None, None]
    between = covariances.sum(axis=(-2, -1), keepdims=True) - own
    average = np.where(np.eye(plans, dtype=bool), own / plans, between / (plans * (plans - 1)))
    weight = PRIOR_TRIALS / (PRIOR_TRIALS + trials - 1.0)
    return np.asarray(weight * average + (1.0 - weight) * covariances)


def studentised_differences(
    values: FloatArray, covariances: FloatArray, *, trials: int
) -> FloatArray:
    """Differences ``values[i] - values[j]`` over their standard errors, (..., pairs) with i < j.

    A difference of zero with no error is 0, any other without error is infinite.

    Parameters
    ----------
    values : (..., p) array
        A figure of each plan that is a mean over the trials, or a smooth function of it.
    covariances : (..., p, p) array
        Of what one trial contributes to it.
    """
    i, j = np.triu_indices(values.shape[-1], 1)
    difference = values[..., i] - values[..., j]
    variance = covariances[..., i, i] + covariances[..., j, j] - 2.0 * covariances[..., i, j]
    error = np.sqrt(np.maximum(variance, 0.0) / trials)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(difference == 0.0, 0.0, difference / error)


@lru_cache(maxsize=32)
def critical_log_difference(plans: int, trials: int, *, level: float) -> float:
    """What no studentised difference of log mean squares exceeds in ``level`` of all studies.

    The studies are of equal plans whose mean squares in a trial are squared normal numbers. For
    less variable ones it is larger than need be: six plans with half the variation and 10 trials
    would do with 3.4 in place of 4.1, with 30 trials with 3.2 in place of 3.4.
    """
    means, covariances = simulated_studies("square", plans=plans, trials=trials)
    shares = GREATEST_VARIATION / (1.0 + GREATEST_VARIATION * means)
    covariances = covariances * shares[:, :, None] * shares[:, None, :]
    return _critical(np.log(GREATEST_VARIATION / shares), covariances, trials, level)


def critical_mean_difference(spreads: FloatArray, *, trials: int, level: float) -> float:
    """The same for differences of means, the larger of what both laws give.

    Parameters
    ----------
    spreads : (plans,) array
        Standard deviation of each plan's figure over the trials, as ``moderated``. The difference
        of two equally skewed figures is not skewed; that of two with different spreads is.
    """
    means, covariances = simulated_studies("square", plans=len(spreads), trials=trials)
    covariances = covariances * spreads[:, None] * spreads
    skewed = _critical(spreads * means, covariances, trials, level)
    return max(skewed, _critical_normal_difference(len(spreads), trials, level=level))


@lru_cache(maxsize=32)
def _critical_normal_difference(plans: int, trials: int, *, level: float) -> float:
    return _critical(*simulated_studies("normal", plans=plans, trials=trials), trials, level)


def _critical(values: FloatArray, covariances: FloatArray, trials: int, level: float) -> float:
    differences = studentised_differences(
        values, moderated(covariances, trials=trials), trials=trials
    )
    return float(np.quantile(np.abs(differences).max(axis=-1), level))
