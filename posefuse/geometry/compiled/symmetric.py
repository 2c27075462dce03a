"""Compiled: the inverse of a small symmetric matrix."""

from posefuse.compiling import inlined_kernel

__all__ = ["inverse_of"]


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
