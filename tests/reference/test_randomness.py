"""The hashed numbers against SciPy's normal quantile and goodness-of-fit tests."""

import numpy as np
from scipy import special, stats

from posefuse.randomness import normal, stream, stream_key, uniform


def _draw(function, name: str, count: int) -> np.ndarray:
    key = stream_key(5, 2, name)
    return np.array([function(key, np.uint64(i)) for i in range(count)])


def test_normal_is_the_quantile_of_uniform() -> None:
    """scipy.special.ndtri (Cephes) is an independent implementation."""
    spread = _draw(uniform, "a", 20_000)
    np.testing.assert_allclose(_draw(normal, "a", 20_000), special.ndtri(spread), rtol=1e-12)


def test_uniform_fills_the_interval_evenly() -> None:
    draws = _draw(uniform, "b", 20_000)
    assert draws.min() > 0.0
    assert draws.max() < 1.0
    assert stats.kstest(draws, "uniform").pvalue > 1e-3
    lagged = np.corrcoef(draws[1:], draws[:-1])[0, 1]
    assert abs(lagged) < 4.0 / np.sqrt(len(draws))


def test_streams_differ_by_seed_trial_and_name() -> None:
    first = {stream_key(s, t, n) for s in range(3) for t in range(3) for n in ("a", "b")}
    assert len(first) == 18
    assert stream(1, 0, "a").normal() != stream(1, 0, "b").normal()


def test_neighbouring_keys_are_not_correlated() -> None:
    one, other = (
        np.array([normal(stream_key(1, t, "c"), np.uint64(i)) for i in range(5_000)])
        for t in (0, 1)
    )
    assert abs(np.corrcoef(one, other)[0, 1]) < 4.0 / np.sqrt(5_000)
