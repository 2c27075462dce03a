"""Compiled: how far a detector pulls the corners of a tag, apart from noise."""

import math

from posefuse.compiling import inlined_kernel

__all__ = ["add_bias"]


@inlined_kernel
def add_bias(pixels, s, closer, shift):
    """Move pixels[s] (4, 2) as a detector's bias does, all in px.

    closer: toward the middle, and left and right corners toward each other besides; shift: of all
    corners, to the right and down.
    """
    (inward, narrowing), (right, down) = closer, shift
    if inward != 0.0 or right != 0.0 or down != 0.0:
        u = 0.25 * (pixels[s, 0, 0] + pixels[s, 1, 0] + pixels[s, 2, 0] + pixels[s, 3, 0])
        v = 0.25 * (pixels[s, 0, 1] + pixels[s, 1, 1] + pixels[s, 2, 1] + pixels[s, 3, 1])
        for k in range(4):
            du, dv = u - pixels[s, k, 0], v - pixels[s, k, 1]
            share = inward / math.sqrt(du * du + dv * dv)
            pixels[s, k, 0] += share * du + right
            pixels[s, k, 1] += share * dv + down
    if narrowing != 0.0:
        wide_u = pixels[s, 1, 0] - pixels[s, 0, 0] + pixels[s, 2, 0] - pixels[s, 3, 0]
        wide_v = pixels[s, 1, 1] - pixels[s, 0, 1] + pixels[s, 2, 1] - pixels[s, 3, 1]
        share = narrowing / math.sqrt(wide_u * wide_u + wide_v * wide_v)
        for k in range(4):
            side = -share if k in (1, 2) else share
            pixels[s, k, 0] += side * wide_u
            pixels[s, k, 1] += side * wide_v
