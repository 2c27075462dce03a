"""Bootstrap intervals of smooth functions of means, over trials drawn whole."""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import InputError
from posefuse.randomness.streams import stream
from posefuse.statistics.intervals import Interval

__all__ = ["bootstrap_of_means", "paired_mean_differences", "paired_rms_differences"]

RESAMPLES = 4000
_CHUNK_COUNTS = 2_000_000  # resampling weights held at once: 16 MB


def paired_rms_differences(
    mean_squares: ArrayLike, *, reference: int, seed: int = 0, level: float = 0.95
) -> tuple[Interval, ...]:
    """Each rival's RMS minus the reference's, with intervals over the trials they share.

    The rivals ran on identical random draws, so a trial is drawn for all of them together: what
    they share cancels.

    Parameters
    ----------
    mean_squares : (rivals, trials) array
        Each rival's mean squared error in each trial.
    reference
        Index of the rival the others are set against; its own difference is exactly 0.
    """
    return _bootstrap(
        _rivals(mean_squares, reference).T,
        lambda means: np.sqrt(means) - np.sqrt(means[..., reference, None]),
        seed=seed,
        level=level,
        resamples=RESAMPLES,
    )


def paired_mean_differences(
    values: ArrayLike, *, reference: int, seed: int = 0, level: float = 0.95
) -> tuple[Interval, ...]:
    """The same for plain means: each rival's mean minus the reference's.

    Parameters
    ----------
    values : (rivals, trials) array
        Each rival's figure in each trial.
    reference
        Index of the rival the others are set against; its own difference is exactly 0.

    Examples
    --------
    >>> _, worse = paired_mean_differences([[3.0, 5.0], [2.0, 3.0]], reference=0)
    >>> worse.value
    -1.5
    """
    return _bootstrap(
        _rivals(values, reference).T,
        lambda means: means - means[..., reference, None],
        seed=seed,
        level=level,
        resamples=RESAMPLES,
    )


def _rivals(values: ArrayLike, reference: int) -> FloatArray:
    rivals = np.asarray(values, dtype=np.float64)
    if rivals.ndim != 2 or not 0 <= reference < len(rivals):
        raise InputError(
            f"paired differences: (rivals, trials) wanted and a reference among the rivals "
            f"(got shape {rivals.shape}, reference {reference})"
        )
    return rivals


def bootstrap_of_means(
    columns: ArrayLike,
    statistic: Callable[[FloatArray], FloatArray],
    *,
    seed: int = 0,
    level: float = 0.95,
    resamples: int = RESAMPLES,
) -> Interval:
    """A smooth function of means, with the bias-corrected and accelerated bootstrap interval.

    B. Efron, Journal of the American Statistical Association 82, 171-185, 1987; acceleration from
    the jackknife.

    Parameters
    ----------
    columns : (trials, figures) array
        One row a trial; rows are drawn whole, so the figures of one trial stay together.
    statistic
        Turns means (..., figures) into the statistic (...).
    seed
        Of the resampling.

    Examples
    --------
    >>> interval = bootstrap_of_means([[1.0], [2.0], [4.0], [3.0]], lambda means: means[..., 0])
    >>> interval.value
    2.5
    """
    (interval,) = _bootstrap(
        columns,
        lambda means: statistic(means)[..., None],
        seed=seed,
        level=level,
        resamples=resamples,
    )
    return interval


def _bootstrap(
    columns: ArrayLike,
    statistics: Callable[[FloatArray], FloatArray],
    *,
    seed: int,
    level: float,
    resamples: int,
) -> tuple[Interval, ...]:
    """Intervals of several statistics (..., k) of the same resampled means."""
    table = frozen_array("trials", columns, (None, None))
    count = len(table)
    if count < 1:
        raise InputError("bootstrap: needs 1 trial or more (got 0)")
    values = statistics(table.mean(axis=0))
    if count == 1:
        bounds = np.full((len(values), 2), np.nan)
    else:
        drawn = statistics(_resampled_means(table, seed=seed, resamples=resamples))
        without_one = statistics((table.sum(axis=0) - table) / (count - 1))
        bounds = np.array(
            [
                _bca_quantiles(drawn[:, k], value=value, without_one=without_one[:, k], level=level)
                for k, value in enumerate(values)
            ]
        )
    return tuple(
        Interval(value=float(value), low=float(low), high=float(high), level=level)
        for value, (low, high) in zip(values, bounds, strict=True)
    )


def _resampled_means(table: FloatArray, *, seed: int, resamples: int) -> FloatArray:
    """Means of the columns over rows drawn with replacement, (resamples, figures)."""
    count = len(table)
    generator = stream(seed, 0, "bootstrap")
    at_once = max(1, _CHUNK_COUNTS // count)
    parts = []
    for first in range(0, resamples, at_once):
        rows = min(at_once, resamples - first)
        picks = generator.integers(0, count, size=(rows, count))
        picks += np.arange(rows)[:, None] * count
        weights = np.bincount(picks.ravel(), minlength=rows * count).reshape(rows, count)
        # einsum adds in one fixed order; a threaded product may differ in the last bit
        parts.append(np.einsum("rc,cf->rf", weights.astype(np.float64), table) / count)
    return np.concatenate(parts)


def _bca_quantiles(
    drawn: FloatArray, *, value: float, without_one: FloatArray, level: float
) -> tuple[float, float]:
    below = (np.count_nonzero(drawn < value) + np.count_nonzero(drawn <= value)) / 2.0
    least = 0.5 / len(drawn)
    bias = float(ndtri(np.clip(below / len(drawn), least, 1.0 - least)))
    off = without_one.mean() - without_one
    spread = float((off**2).sum())
    acceleration = float((off**3).sum()) / (6.0 * spread**1.5) if spread > 0.0 else 0.0
    z = bias + ndtri(np.array([(1.0 - level) / 2.0, (1.0 + level) / 2.0]))
    low, high = np.quantile(drawn, ndtr(bias + z / (1.0 - acceleration * z)))
    return float(low), float(high)
