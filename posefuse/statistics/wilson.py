"""Intervals of shares."""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from posefuse.checks import FloatArray, in_range
from posefuse.errors import InputError

__all__ = ["wilson_bounds"]


def wilson_bounds(hits: ArrayLike, count: ArrayLike, *, level: float = 0.95) -> FloatArray:
    """Wilson's score intervals of shares ``hits / count``, (..., 2); they hold at 0 and 1 too.

    E. B. Wilson, Journal of the American Statistical Association 22, 209-212, 1927.

    >>> wilson_bounds(3, 10).round(4)
    array([0.1078, 0.6032])
    """
    h, n = np.asarray(hits, dtype=np.float64), np.asarray(count, dtype=np.float64)
    if not ((n >= 1) & (h >= 0) & (h <= n)).all():
        raise InputError(f"share: 0 <= hits <= count, count 1 or more (got {hits!r} of {count!r})")
    z = float(ndtri(1.0 - (1.0 - in_range("level", level, 0.0, 1.0)) / 2.0))
    share, scale = h / n, 1.0 + z**2 / n
    middle = (share + z**2 / (2.0 * n)) / scale
    half = z * np.sqrt(share * (1.0 - share) / n + z**2 / (4.0 * n**2)) / scale
    low, high = np.where(h == 0, 0.0, middle - half), np.where(h == n, 1.0, middle + half)
    return np.stack([low, high], axis=-1)
