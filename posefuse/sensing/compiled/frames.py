"""Compiled draws of each frame's latency and drop."""

import numpy as np

from posefuse.compiling import kernel
from posefuse.randomness.compiled.numbers import uniform

__all__ = ["draw_arrivals"]


@kernel
def draw_arrivals(key, drop_rate, spread, is_dropped):
    """Write the latency's place in its spread, (-1, 1), and whether frames 0 .. n-1 are dropped."""
    for number in range(spread.shape[0]):
        counter = np.uint64(number) << np.uint64(1)
        spread[number] = 2.0 * uniform(key, counter) - 1.0
        is_dropped[number] = uniform(key, counter | np.uint64(1)) < drop_rate
