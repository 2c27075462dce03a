"""Seeded randomness: each named source of error has its own stream in each trial.

Two kinds. ``stream`` gives a numpy generator for the few numbers a trial draws once. ``stream_key``
with ``normal`` and ``uniform`` give a number for each (key, counter) pair by hashing, so that the
noise of one camera, frame, tag and corner is the same whatever else was drawn, in whatever order,
by however many workers: rivals then share their luck (common random numbers).
"""

import zlib

import numpy as np

from posefuse.compiling import kernel

__all__ = ["normal", "stream", "stream_key", "uniform"]


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


@kernel
def _mix(key, counter):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """64 random bits: number ``counter`` of SplitMix64 (Steele, Lea, Flood, OOPSLA 2014)."""
    z = np.uint64(key) + np.uint64(counter) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


@kernel
def uniform(key, counter):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201
    """A number evenly spread over the open interval (0, 1).

    Parameters
    ----------
    key : uint64
        From ``stream_key``.
    counter : uint64
        Which number of the stream.
    """
    return (np.float64(_mix(key, counter) >> np.uint64(11)) + 0.5) * (1.0 / 9007199254740992.0)


@kernel
def normal(key, counter):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201
    """A standard normal number: the quantile of ``uniform(key, counter)``.

    Method: M. J. Wichura, Algorithm AS 241 (PPND16), Applied Statistics 37(3), 477-484, 1988;
    relative accuracy about 1e-16.
    """
    p = uniform(key, counter)
    q = p - 0.5
    if abs(q) <= 0.425:
        r = 0.180625 - q * q
        top = r * 2509.0809287301226727 + 33430.575583588128105
        top = top * r + 67265.770927008700853
        top = top * r + 45921.953931549871457
        top = top * r + 13731.693765509461125
        top = top * r + 1971.5909503065514427
        top = top * r + 133.14166789178437745
        top = top * r + 3.387132872796366608
        low = r * 5226.495278852545925 + 28729.085735721942674
        low = low * r + 39307.89580009271061
        low = low * r + 21213.794301586595867
        low = low * r + 5394.1960214247511077
        low = low * r + 687.1870074920579083
        low = low * r + 42.313330701600911252
        return q * top / (low * r + 1.0)
    r = np.sqrt(-np.log(min(p, 1.0 - p)))
    if r <= 5.0:
        r -= 1.6
        top = r * 7.7454501427834140764e-4 + 0.0227238449892691845833
        top = top * r + 0.24178072517745061177
        top = top * r + 1.27045825245236838258
        top = top * r + 3.64784832476320460504
        top = top * r + 5.7694972214606914055
        top = top * r + 4.6303378461565452959
        top = top * r + 1.42343711074968357734
        low = r * 1.05075007164441684324e-9 + 5.475938084995344946e-4
        low = low * r + 0.0151986665636164571966
        low = low * r + 0.14810397642748007459
        low = low * r + 0.68976733498510000455
        low = low * r + 1.6763848301838038494
        low = low * r + 2.05319162663775882187
    else:
        r -= 5.0
        top = r * 2.01033439929228813265e-7 + 2.71155556874348757815e-5
        top = top * r + 0.0012426609473880784386
        top = top * r + 0.026532189526576123093
        top = top * r + 0.29656057182850489123
        top = top * r + 1.7848265399172913358
        top = top * r + 5.4637849111641143699
        top = top * r + 6.6579046435011037772
        low = r * 2.04426310338993978564e-15 + 1.4215117583164458887e-7
        low = low * r + 1.8463183175100546818e-5
        low = low * r + 7.868691311456132591e-4
        low = low * r + 0.0148753612908506148525
        low = low * r + 0.13692988092273580531
        low = low * r + 0.59983220655588793769
    value = top / (low * r + 1.0)
    return -value if q < 0.0 else value
