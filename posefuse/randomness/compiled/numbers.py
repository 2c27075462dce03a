"""Compiled random numbers: one for each (key, counter) pair, by hashing."""

import math

import numpy as np

from posefuse.compiling import inlined_kernel, kernel

__all__ = ["fill_normals", "normal", "normals_at", "uniform", "uniforms_at"]

LAYERS = 128
LAYER_BITS = np.uint64(LAYERS - 1)
LAST_EDGE = 3.442619855899
"""Where the normal's tail begins, and the area of each layer below: Doornik 2005, table 1."""
LAYER_AREA = 9.91256303526217e-3


def _layer_edges() -> np.ndarray:
    """Right edges of the layers under exp(-x^2 / 2), the first one widened to hold the tail."""
    edges = np.zeros(LAYERS + 1)
    height = math.exp(-0.5 * LAST_EDGE**2)
    edges[0], edges[1] = LAYER_AREA / height, LAST_EDGE
    for layer in range(2, LAYERS):
        height += LAYER_AREA / edges[layer - 1]
        edges[layer] = math.sqrt(-2.0 * math.log(height))
    return edges


EDGES = _layer_edges()
INNER_SHARES = EDGES[1:] / EDGES[:-1]


@inlined_kernel
def _mix(key, counter):
    """64 random bits: number ``counter`` of SplitMix64 (Steele, Lea, Flood, OOPSLA 2014)."""
    z = np.uint64(key) + np.uint64(counter) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


@inlined_kernel
def _spread(bits):
    """A number evenly spread over the open interval (0, 1) from 64 random bits."""
    return (np.float64(np.int64(bits >> np.uint64(11))) + 0.5) * (1.0 / 9007199254740992.0)


@inlined_kernel
def _side(bits):
    """A number evenly spread over (-1, 1) from 64 random bits: the upper 53 as a signed integer."""
    return (np.float64(np.int64(bits) >> np.int64(11)) + 0.5) * (1.0 / 4503599627370496.0)


@inlined_kernel
def uniform(key, counter):
    """A number evenly spread over the open interval (0, 1).

    Parameters
    ----------
    key : uint64
        From ``stream_key``.
    counter : uint64
        Which number of the stream.
    """
    return _spread(_mix(key, counter))


@inlined_kernel
def normal(key, counter):
    """A standard normal number.

    The ziggurat of G. Marsaglia, W. W. Tsang, Journal of Statistical Software 5(8), 2000, with
    layer and place from separate bits as in J. A. Doornik, An improved ziggurat method, Oxford
    2005. Where the first bits are refused (1.2 %), further ones are hashed from them.
    """
    bits = _mix(key, counter)
    layer = np.int64(bits & LAYER_BITS)
    side = _side(bits)
    if abs(side) < INNER_SHARES[layer]:
        return side * EDGES[layer]
    return _refused(bits)


@kernel
def _refused(bits):
    """The rest of the ziggurat: a layer's edge, the tail, and drawing anew."""
    while True:
        layer = np.int64(bits & LAYER_BITS)
        side = _side(bits)
        place = side * EDGES[layer]
        if abs(side) < INNER_SHARES[layer]:
            return place
        if layer == 0:
            return _tail(bits) if side > 0.0 else -_tail(bits)
        high = math.exp(-0.5 * (EDGES[layer] ** 2 - place**2))
        low = math.exp(-0.5 * (EDGES[layer + 1] ** 2 - place**2))
        if low + _spread(_mix(bits, np.uint64(1))) * (high - low) < 1.0:
            return place
        bits = _mix(bits, np.uint64(2))


@kernel
def _tail(bits):
    """A normal number beyond the last edge: G. Marsaglia, Technometrics 6(1), 101-102, 1964."""
    draw = np.uint64(3)
    while True:
        beyond = -math.log(_spread(_mix(bits, draw))) / LAST_EDGE
        if -2.0 * math.log(_spread(_mix(bits, draw + np.uint64(1)))) >= beyond * beyond:
            return LAST_EDGE + beyond
        draw += np.uint64(2)


@kernel
def fill_normals(key, values):
    """Write the key's first normal numbers into values (n,)."""
    for i in range(values.shape[0]):
        values[i] = normal(key, np.uint64(i))


@kernel
def normals_at(key, counters, values):
    """Write the key's normal numbers at the counters (n,) uint64 into values (n,)."""
    for i in range(values.shape[0]):
        values[i] = normal(key, counters[i])


@kernel
def uniforms_at(key, counters, values):
    """Write the key's uniform numbers at the counters (n,) uint64 into values (n,)."""
    for i in range(values.shape[0]):
        values[i] = uniform(key, counters[i])
