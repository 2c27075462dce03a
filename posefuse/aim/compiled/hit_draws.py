"""Compiled: how many of a shot's samples go in, by drawing.

Named tuples of ``aim.arrays``: ``aim`` is ``AimArrays``, ``shots`` is ``ShotArrays``.
"""

import numpy as np

from posefuse.aim.compiled.shot import ERRORS, is_hit, state_of
from posefuse.compiling import kernel
from posefuse.randomness.compiled.numbers import normal, uniform

__all__ = ["count_hits"]

SHOT_BITS = 36
SAMPLE_BITS = 4


@kernel
def draw_errors(mean, root, spreads, keys, shot, sample, errors):
    """Fill errors (ERRORS,) with what goes wrong in one sample of one shot.

    mean (6,), root (6, 6) with ``root root'`` the covariance of the estimate; spreads (5,): delay,
    exit speed, side, pivot zero, full width of the pivot's backlash; keys (6,).
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
    if spreads[4] > 0.0:
        errors[9] += spreads[4] * (uniform(keys[5], counter) - 0.5)


@kernel
def count_hits(shots, spreads, keys, first, last, aim, hits):
    """Fill hits (n,) with how many of the samples first..last-1 of each shot go in.

    spreads (5,) and keys (6,) as for ``draw_errors``.
    """
    errors = np.zeros(ERRORS)
    for i in range(shots.states.shape[0]):
        robot = state_of(shots.states[i])
        hits[i] = 0
        for sample in range(first, last):
            draw_errors(shots.means[i], shots.roots[i], spreads, keys, i, sample, errors)
            if is_hit(robot, errors, aim):
                hits[i] += 1
