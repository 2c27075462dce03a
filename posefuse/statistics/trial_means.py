"""Intervals of means and root mean squares over independent trials."""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincinv, stdtrit

from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import InputError
from posefuse.statistics.intervals import Interval
from posefuse.statistics.trial_laws import level_of_studies, simulated_studies, variation_of

__all__ = ["hits_interval", "mean_square_interval", "rms_interval"]

_BEST_HITS = 100.0
_ROUNDING = 1e-9


def rms_interval(mean_squares: ArrayLike, *, level: float = 0.95) -> Interval:
    """Root mean square over trials, with its interval.

    The root of ``mean_square_interval``.

    Parameters
    ----------
    mean_squares : (trials,) array
        Each trial's mean squared error.

    Examples
    --------
    >>> rms = rms_interval([1.0, 4.0, 2.0, 3.0])
    >>> print(f"{rms.value:.2f} [{rms.low:.2f}, {rms.high:.2f}]")
    1.58 [1.05, 4.54]
    """
    mean = mean_square_interval(mean_squares, level=level)
    value, low, high = np.sqrt([mean.value, mean.low, mean.high]).tolist()
    return Interval(value=value, low=low, high=high, level=level)


def mean_square_interval(
    mean_squares: ArrayLike, counts: ArrayLike | None = None, *, level: float = 0.95
) -> Interval:
    """Mean over independent trials of a figure that is a mean of squares, with its interval.

    Errors, NEES and NIS alike: what one trial gives is one value, however many instants it is the
    mean of and however much alike they are. The spread between trials gives the interval, neither
    the law of one instant nor that of as many independent ones.

    Parameters
    ----------
    mean_squares : (trials,) array
        Not negative.
    counts : (trials,) array
        Instants behind each, which weigh it; all alike if not given.

    Notes
    -----
    The logarithm of the mean is compared with its standard error. What their ratio may be is
    bounded by two laws, and each end takes the wider of the two: Student's, for trials with many
    errors of like size, and that of simulated trials with one squared normal number above a
    constant (``trial_laws``), with the coefficient of variation of these trials. The upper end is
    no higher than for squared normal numbers alone, whose mean is chi-square distributed: no mean
    of squares of normal errors falls farther short of its true value.
    """
    values = _trials("mean squares", mean_squares)
    weights = (
        np.ones_like(values) if counts is None else frozen_array("counts", counts, values.shape)
    )
    level_of_studies(level)
    if values.min() < 0.0 or weights.min() <= 0.0:
        raise InputError(
            "mean squares: must not be negative, and their counts be positive "
            f"(got {values.min():g} and {weights.min():g})"
        )
    trials, weights = len(values), weights / weights.mean()
    mean = float((weights * values).mean())
    if trials == 1:
        return Interval(value=mean, low=np.nan, high=np.nan, level=level)
    variance = float(((weights * (values - mean)) ** 2).sum()) / (trials - 1)
    if variance == 0.0:
        return Interval(value=mean, low=mean, high=mean, level=level)
    variation = variation_of(mean, variance, trials=trials)
    errors, deviations = _of_one_plan(trials)
    drawn = 1.0 + variation * errors
    ratios = np.log(drawn) * drawn / (variation * deviations)
    few, many = _wider_of_both(ratios, trials=trials, level=level)
    low, high = (mean * np.exp(-end * np.sqrt(variance) / mean) for end in (many, few))
    least = 2.0 * gammaincinv(0.5 * trials, 0.5 * (1.0 - level)) / trials
    return Interval(value=mean, low=float(low), high=float(min(high, mean / least)), level=level)


def hits_interval(hits_per_100: ArrayLike, *, level: float = 0.95) -> Interval:
    """Mean hits in 100 over trials, with its interval.

    What a trial falls short of a perfect estimate grows with the square of its errors: the
    shortfall is bounded by the same two laws, and the interval is longer downwards.

    Parameters
    ----------
    hits_per_100 : (trials,) array
        Of each trial, 0 to 100.
    """
    values = _trials("hits", hits_per_100)
    level_of_studies(level)
    if values.min() < 0.0 or values.max() > _BEST_HITS + _ROUNDING:
        raise InputError(
            f"hits: must lie between 0 and 100 (got {values.min():g} to {values.max():g})"
        )
    trials, mean = len(values), float(values.mean())
    if trials == 1:
        return Interval(value=mean, low=np.nan, high=np.nan, level=level)
    errors, deviations = _of_one_plan(trials)
    few, many = _wider_of_both(errors / deviations, trials=trials, level=level)
    deviation = float(values.std(ddof=1))
    low, high = max(0.0, mean + few * deviation), min(_BEST_HITS, mean + many * deviation)
    return Interval(value=mean, low=float(low), high=float(high), level=level)


def _of_one_plan(trials: int) -> tuple[FloatArray, FloatArray]:
    """Means and standard deviations over the trials of simulated studies, (studies,) each."""
    means, covariances = simulated_studies("square", plans=1, trials=trials)
    variances = np.maximum(covariances[:, 0, 0], np.finfo(np.float64).tiny)
    return means[:, 0], np.sqrt(variances)


def _wider_of_both(ratios: FloatArray, *, trials: int, level: float) -> tuple[float, float]:
    """Ends of the ratio of a mean's error to the spread of a trial, under either law.

    Parameters
    ----------
    ratios : (studies,) array
        Of simulated trials.
    """
    few, many = np.quantile(ratios, [0.5 * (1.0 - level), 0.5 * (1.0 + level)])
    student = float(stdtrit(trials - 1.0, 0.5 * (1.0 + level))) / np.sqrt(trials)
    return min(float(few), -student), max(float(many), student)


def _trials(name: str, values: ArrayLike) -> FloatArray:
    trials = frozen_array(name, values, (None,))
    if not len(trials):
        raise InputError(f"{name}: needs 1 trial or more (got 0)")
    return trials
