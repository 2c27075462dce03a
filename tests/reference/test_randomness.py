"""The hashed numbers against SciPy's distributions and goodness-of-fit tests."""

import numba
import numpy as np
from scipy import stats

from posefuse.randomness.compiled.numbers import LAST_EDGE, normal, uniform
from posefuse.randomness.streams import named_normals, stream, stream_key


def _draw(function, name: str, count: int) -> np.ndarray:
    key = stream_key(5, 2, name)
    return np.array([function(key, np.uint64(i)) for i in range(count)])


@numba.njit(error_model="numpy")
def _many(key, values):
    for i in range(len(values)):
        values[i] = normal(key, np.uint64(i))


def test_normal_follows_the_normal_law() -> None:
    """Moments, shares beyond a place (the ziggurat's last edge among them) and a histogram."""
    values = np.empty(2_000_000)
    _many(stream_key(5, 2, "a"), values)
    count = len(values)
    for power, expected, spread in ((1, 0, 1), (2, 1, 2), (3, 0, 15), (4, 3, 96)):
        off = (values**power).mean() - expected
        assert abs(off) < 4.0 * np.sqrt(spread / count), power
    for place in (0.5, 1.0, 2.0, 3.0, LAST_EDGE, 4.0):
        share = 2.0 * stats.norm.sf(place)
        off = (np.abs(values) > place).mean() - share
        assert abs(off) < 4.0 * np.sqrt(share / count), place
    bins = stats.norm.ppf(np.linspace(0.0, 1.0, 501))
    seen, _ = np.histogram(values, bins)
    assert stats.chisquare(seen).pvalue > 1e-3


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


def test_each_id_has_its_own_normals() -> None:
    ids = np.arange(20_000)
    values = named_normals(3, 1, "tag position", ids, 3)
    assert values.shape == (20_000, 3)
    assert len(np.unique(values)) == values.size
    for column in values.T:
        assert stats.kstest(column, "norm").pvalue > 1e-3
    some = np.array([17, 3, 19_999])
    np.testing.assert_array_equal(named_normals(3, 1, "tag position", some, 3), values[some])
    assert not np.isin(named_normals(3, 1, "tag heading", some, 3), values).any()
