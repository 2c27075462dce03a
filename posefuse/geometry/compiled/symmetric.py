"""Compiled: the inverse of a small symmetric matrix."""

import math

from posefuse.compiling import inlined_kernel, kernel

__all__ = ["factor", "inverse_of"]


@inlined_kernel
def inverse_of(xx, xy, xh, yy, yh, hh):
    """The upper half of the inverse of a symmetric (3, 3), given and returned row by row."""
    i00, i01, i02 = yy * hh - yh * yh, xh * yh - xy * hh, xy * yh - xh * yy
    scale = 1.0 / (xx * i00 + xy * i01 + xh * i02)
    return (
        scale * i00,
        scale * i01,
        scale * i02,
        scale * (xx * hh - xh * xh),
        scale * (xh * xy - xx * yh),
        scale * (xx * yy - xy * xy),
    )


@kernel
def factor(square, size):
    """Overwrite the lower half of a square by Cholesky's factor; False if it is not positive.

    ``square = L L'``, (size, size); what stands above the diagonal is neither read nor written.
    """
    for i in range(size):
        for j in range(i + 1):
            total = square[i, j]
            for k in range(j):
                total -= square[i, k] * square[j, k]
            if i != j:
                square[i, j] = total / square[j, j]
            elif total > 0.0:
                square[i, i] = math.sqrt(total)
            else:
                return False
    return True
