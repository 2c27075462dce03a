"""Compiled: the root of a small covariance."""

import math

from posefuse.compiling import inlined_kernel

__all__ = ["lower_root"]

NOTHING = 1e-12
"""Share of a variance below which what is left of it counts as zero."""


@inlined_kernel
def lower_root(square, root):
    """Write the lower Cholesky root (3, 3) of a square that may be singular: such columns are 0."""
    for i in range(3):
        for j in range(3):
            root[i, j] = 0.0
    for j in range(3):
        total = square[j, j]
        for k in range(j):
            total -= root[j, k] * root[j, k]
        if total > NOTHING * square[j, j]:
            root[j, j] = math.sqrt(total)
            for i in range(j + 1, 3):
                total = square[i, j]
                for k in range(j):
                    total -= root[i, k] * root[j, k]
                root[i, j] = total / root[j, j]
