"""Wilson intervals of shares against published values and scipy."""

import numpy as np
import pytest
from scipy.stats import binomtest

from posefuse.errors import InputError
from posefuse.statistics.wilson import wilson_bounds, wilson_interval


@pytest.mark.parametrize(
    ("hits", "count", "level", "low", "high"),
    [
        # R 3.6.2 prop.test without correction, as in SciPy's own tests (test_morestats.py)
        (3, 10, 0.95, 0.1077913, 0.6032219),
        (3, 10, 0.99, 0.07956632, 0.6799753),
        (0, 10, 0.95, 0.0, 0.2775328),
        (10, 10, 0.95, 0.7224672, 1.0),
        # R package binom, as in statsmodels' own tests (results_proportion.py)
        (18, 20, 0.95, 0.6989664, 0.9721335),
        (4, 20, 0.95, 0.0806576626, 0.4160174323),
        (100, 200, 0.95, 0.4313609, 0.5686391),
        # R. G. Newcombe, Statistics in Medicine 17, 857-872, 1998: his examples
        (81, 263, 0.95, 0.2552885, 0.3662096),
        (15, 148, 0.95, 0.0623864, 0.1604872),
        (0, 20, 0.95, 0.0, 0.1611252),
        (1, 29, 0.95, 0.0061132, 0.1717552),
    ],
)
def test_published_intervals(hits, count, level, low, high):
    assert wilson_bounds(hits, count, level=level) == pytest.approx([low, high], abs=1e-7)
    interval = wilson_interval(hits, count, level=level)
    assert (interval.low, interval.high) == pytest.approx((low, high), abs=1e-7)
    assert (interval.value, interval.level) == (hits / count, level)


def test_many_at_once_are_scipys():
    hits, count = [0, 1, 7, 30, 40], 40
    expected = [binomtest(h, count).proportion_ci(0.9, method="wilson") for h in hits]
    bounds = wilson_bounds(hits, count, level=0.9)
    assert bounds == pytest.approx(np.array([[t.low, t.high] for t in expected]), abs=1e-12)


@pytest.mark.parametrize(("hits", "count"), [(-1, 10), (11, 10), (0, 0)])
def test_impossible_counts_are_refused(hits, count):
    for function in (wilson_bounds, wilson_interval):
        with pytest.raises(InputError, match="0 <= hits <= count"):
            function(hits, count)
