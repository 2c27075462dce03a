"""Compiled: how many of many drawn shots go in.

Named tuples as in ``aim.compiled_shot``.
"""

import numpy as np

from posefuse.aim.compiled.shot import ERRORS, is_hit
from posefuse.compiling import kernel
from posefuse.randomness.compiled.numbers import normal, uniform

__all__ = ["count_hits"]

SHOT_BITS = 36
SAMPLE_BITS = 4


@kernel
def draw_errors(mean, root, spreads, keys, shot, sample, errors):
    """Fill errors (ERRORS,) with what goes wrong in one sample of one shot.

    mean (6,), root (6, 6) with ``root root'`` the covariance of the estimate; spreads (6,): delay,
    exit speed, side, pivot zero, full width of the pivot's backlash and resolution; keys (7,).
    """
    counter = (np.uint64(shot) << np.uint64(SHOT_BITS)) + (
        np.uint64(sample) << np.uint64(SAMPLE_BITS)
    )
    for row in range(6):
        errors[row] = mean[row]
    for column in range(6):
        size = 0.0
        for row in range(6):
            size += abs(root[row, column])
        if size > 0.0:
            drawn = normal(keys[0], counter + np.uint64(column))
            for row in range(6):
                errors[row] += root[row, column] * drawn
    for source in range(4):
        errors[6 + source] = 0.0
        if spreads[source] > 0.0:
            errors[6 + source] = spreads[source] * normal(keys[1 + source], counter)
    for source in range(2):
        if spreads[4 + source] > 0.0:
            errors[9] += spreads[4 + source] * (uniform(keys[5 + source], counter) - 0.5)


@kernel
def count_hits(
    states,
    means,
    roots,
    spreads,
    keys,
    first,
    last,
    thrower,
    opening,
    curve,
    law,
    hits,
):
    """Fill hits (n,) with how many of the samples first..last-1 of each shot go in.

    states (n, 5): true x, y, vx, vy, w as the piece leaves; the rest as for ``draw_errors``, one
    row a shot.
    """
    errors = np.zeros(ERRORS)
    for i in range(states.shape[0]):
        x, y, vx, vy, w = states[i, 0], states[i, 1], states[i, 2], states[i, 3], states[i, 4]
        hits[i] = 0
        for sample in range(first, last):
            draw_errors(means[i], roots[i], spreads, keys, i, sample, errors)
            if is_hit(x, y, vx, vy, w, errors, thrower, opening, curve, law):
                hits[i] += 1
