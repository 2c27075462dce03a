"""Compiled: how far a detector pulls the corners of a tag, apart from noise."""

import math

from posefuse.compiling import inlined_kernel

__all__ = ["add_bias"]


@inlined_kernel
def add_bias(pixels, inward, narrowing, right, down):
    """Move pixels (4, 2) inward, left and right corners together, and all by a shift; all in px."""
    if inward != 0.0 or right != 0.0 or down != 0.0:
        u = 0.25 * (pixels[0, 0] + pixels[1, 0] + pixels[2, 0] + pixels[3, 0])
        v = 0.25 * (pixels[0, 1] + pixels[1, 1] + pixels[2, 1] + pixels[3, 1])
        for k in range(4):
            du, dv = u - pixels[k, 0], v - pixels[k, 1]
            share = inward / math.sqrt(du * du + dv * dv)
            pixels[k, 0] += share * du + right
            pixels[k, 1] += share * dv + down
    if narrowing != 0.0:
        wide_u = pixels[1, 0] - pixels[0, 0] + pixels[2, 0] - pixels[3, 0]
        wide_v = pixels[1, 1] - pixels[0, 1] + pixels[2, 1] - pixels[3, 1]
        share = narrowing / math.sqrt(wide_u * wide_u + wide_v * wide_v)
        for k in range(4):
            side = -share if k in (1, 2) else share
            pixels[k, 0] += side * wide_u
            pixels[k, 1] += side * wide_v
