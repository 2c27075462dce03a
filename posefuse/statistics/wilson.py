"""Wilson's score interval of a share.

E. B. Wilson, Journal of the American Statistical Association 22, 209-212, 1927.
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from posefuse.checks import FloatArray, in_range
from posefuse.errors import InputError
from posefuse.statistics.intervals import Interval

__all__ = ["wilson_bounds", "wilson_interval"]


def wilson_interval(hits: int, count: int, *, level: float = 0.95) -> Interval:
    """A share with its interval, which holds at 0 and 1 too.

    >>> share = wilson_interval(3, 10)
    >>> print(f"{share.low:.4f} {share.high:.4f}")
    0.1078 0.6032
    """
    low, high = wilson_bounds(hits, count, level=level).tolist()
    return Interval(value=hits / count, low=low, high=high, level=level)


def wilson_bounds(hits: ArrayLike, count: ArrayLike, *, level: float = 0.95) -> FloatArray:
    """The ends of the intervals of many shares ``hits / count`` at once, (..., 2).

    >>> wilson_bounds([0, 3], 10).round(4)
    array([[0.    , 0.2775],
           [0.1078, 0.6032]])
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
