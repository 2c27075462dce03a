"""Compiled: the grey levels that a sensor makes of the light on its pixels."""

import numpy as np

from posefuse.compiling import kernel
from posefuse.randomness.compiled.numbers import uniform

__all__ = ["expose"]

BITS = np.uint64(16)
TWICE = np.uint64(32)
MASK = np.uint64(65535)
PER_DRAW = 3  # normal numbers from the bits of one uniform number
FRAME_SHIFT = np.uint64(26)
DRAWN = 281474976710656.0  # 2^48


@kernel
def _draw_row(key, start, quantiles, drawn):
    """Write normal numbers into drawn (w,), from the counter start on."""
    for n in range(drawn.shape[0] // PER_DRAW):
        bits = np.uint64(uniform(key, start + np.uint64(n)) * DRAWN)
        drawn[PER_DRAW * n] = quantiles[bits & MASK]
        drawn[PER_DRAW * n + 1] = quantiles[(bits >> BITS) & MASK]
        drawn[PER_DRAW * n + 2] = quantiles[bits >> TWICE]


@kernel
def expose(light, off_axis, vignetting, levels, noise, draws, grey):
    """Write grey (h, w) uint8 from light (h, w): vignetting, photon and read noise, rounding.

    off_axis (h, w): squared distance from the image's middle, 1 in the corners, nan where no light
    comes; vignetting: share of the light that is lost in the corners; levels: the black level, and
    what light 1 adds to it; noise: variance of the grey by its light, and of the read-out; draws:
    key, frame number and quantiles (65536,) of the normal distribution, which the photons' is taken
    for. The noise of a pixel hangs on the key, the frame's number and the pixel's place.
    """
    height, width = light.shape
    (black, white), (photons, floor), (key, frame, quantiles) = levels, noise, draws
    drawn = np.empty(width + PER_DRAW)
    for j in range(height):
        _draw_row(key, (np.uint64(frame) << FRAME_SHIFT) + np.uint64(j * width), quantiles, drawn)
        for i in range(width):
            off = off_axis[j, i]
            signal = white * light[j, i] * (1.0 - vignetting * off) if off == off else 0.0
            value = black + signal + np.sqrt(photons * signal + floor) * drawn[i] + 0.5
            grey[j, i] = np.uint8(np.int32(min(max(value, 0.0), 255.0)))
