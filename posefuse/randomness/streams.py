"""Seeded randomness: each named source of error has its own stream in each trial.

Two kinds. ``stream`` gives a numpy generator for the few numbers a trial draws once. ``stream_key``
with ``normal`` and ``uniform`` give a number for each (key, counter) pair by hashing, so that the
noise of one camera, frame, tag and corner is the same whatever else was drawn, in whatever order,
by however many workers: rivals then get identical random draws (common random numbers).
"""

import zlib

import numpy as np
from numpy.typing import NDArray

from posefuse.randomness.compiled.numbers import fill_normals, normals_at

__all__ = ["named_normals", "normals", "stream", "stream_key"]


def _sequence(seed: int, trial: int, name: str) -> np.random.SeedSequence:
    return np.random.SeedSequence([seed, trial, zlib.crc32(name.encode())])


def stream(seed: int, trial: int, name: str) -> np.random.Generator:
    """The generator of one named source in one trial.

    >>> stream(1, 0, "gyro bias").normal() == stream(1, 0, "gyro bias").normal()
    True
    """
    return np.random.Generator(np.random.PCG64(_sequence(seed, trial, name)))


def stream_key(seed: int, trial: int, name: str) -> np.uint64:
    """The 64-bit key of one named source in one trial, for ``normal`` and ``uniform``."""
    return np.uint64(_sequence(seed, trial, name).generate_state(1, np.uint64)[0])


def normals(seed: int, trial: int, name: str, count: int) -> NDArray[np.float64]:
    """The first ``count`` normal numbers of one named source in one trial.

    >>> normals(1, 0, "wheel", 3).shape
    (3,)
    """
    values = np.empty(count)
    fill_normals(stream_key(seed, trial, name), values)
    return values


def named_normals(
    seed: int, trial: int, name: str, ids: NDArray[np.int64], width: int
) -> NDArray[np.float64]:
    """Normal numbers (ids, width) of one source in one trial: each id's own, whichever others are.

    >>> both, alone = (named_normals(1, 0, "tag", np.array(ids), 3) for ids in ([4, 7], [7]))
    >>> (both[1] == alone[0]).all()
    np.True_
    """
    counters = ids.astype(np.uint64)[:, None] * np.uint64(width) + np.arange(width, dtype=np.uint64)
    values = np.empty(counters.shape)
    normals_at(stream_key(seed, trial, name), counters.ravel(), values.ravel())
    return values
