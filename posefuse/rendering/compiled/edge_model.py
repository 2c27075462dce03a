"""Compiled: grey levels across one side of a tag's black square, as a blurred camera sees them.

Outward of the side lies the white margin, one cell wide, and beyond it something else; inward the
black border, one cell wide, and beyond it the tag's data, white where its cells are. With S the
step from 0 to 1, blurred, and x the distance outward from the side::

    dark = face (1 - S(x)) - data (1 - S(x + inner))
    grey = white - (white - black) dark + (beyond - white) S(x - outer)

S is a gaussian's integral (defocus) averaged over a box (a pixel, or the way during the exposure).
Fitting a blurred step is one of the ways compared by E. P. Lyvers, O. R. Mitchell, M. L. Akey,
A. P. Reeves, Subpixel measurements using a moment-based edge operator, IEEE PAMI 11(12), 1989.
Edges so near that their blur overlaps draw each other away unless they are in one model (C. Steger,
An unbiased detector of curvilinear structures, IEEE PAMI 20(2), 1998): of a tag of 14 px, cells are
1.75 px wide.
"""

import numpy as np
from scipy.special import ndtr

from posefuse.compiling import inlined_kernel

__all__ = [
    "BEYOND",
    "BEYOND_SLOPE",
    "BLACK",
    "BOW",
    "EXPECTED",
    "FIRST",
    "FIT_NUMBERS",
    "IS_BOX",
    "LAST",
    "PARAMETERS",
    "SPREAD",
    "WHITE",
    "WIDTH",
    "blurred_step",
    "grey_with_slopes",
    "step_share",
]

PARAMETERS = 8
FIRST, LAST, BOW, SPREAD, BLACK, WHITE, BEYOND, BEYOND_SLOPE = range(PARAMETERS)
"""What is fitted on a side: how far outward it lies at its two corners and, more than the straight
line between these, in its middle, px; the gaussian's spread, px; grey levels of ink and paper, of
what is beyond the paper in the middle of the side, and how much more at its last corner."""

FIT_NUMBERS = 11
WIDTH, IS_BOX, EXPECTED = range(PARAMETERS, FIT_NUMBERS)
"""The box's width, px; whether (1 or 0) it is fitted in place of the spread; which spread, or
width, is expected."""

REACH = 6.0
_PER_ONE = 64.0
_POINTS = np.arange(-REACH * _PER_ONE, REACH * _PER_ONE + 2.0) / _PER_ONE
NORMAL = np.column_stack([ndtr(_POINTS), np.exp(-0.5 * _POINTS**2) / np.sqrt(2.0 * np.pi)])
"""The normal distribution and its density at steps of 1/64; taken linearly they are 1e-5 off."""


@inlined_kernel
def _normal(z):
    """(Phi(z), phi(z))."""
    place = (min(max(z, -REACH), REACH) + REACH) * _PER_ONE
    low = int(place)
    share = place - low
    below, density = NORMAL[low, 0], NORMAL[low, 1]
    return (
        below + share * (NORMAL[low + 1, 0] - below),
        density + share * (NORMAL[low + 1, 1] - density),
    )


@inlined_kernel
def step_share(z):
    """Phi(z): a step blurred by a gaussian of spread 1."""
    return _normal(z)[0]


@inlined_kernel
def blurred_step(x, spread, width, is_box):
    """(S, dS/dx, dS/dblur) of a step blurred by a gaussian and averaged over a box.

    The derivative is by the box's width or else by the gaussian's spread.
    """
    per_spread, per_width = 1.0 / spread, 1.0 / width
    high, low = (x + 0.5 * width) * per_spread, (x - 0.5 * width) * per_spread
    if high < -REACH:
        return 0.0, 0.0, 0.0
    if low > REACH:
        return 1.0, 0.0, 0.0
    share_high, density_high = _normal(high)
    share_low, density_low = _normal(low)
    # z Phi + phi is the integral of Phi
    area = high * share_high + density_high - low * share_low - density_low
    share = spread * area * per_width
    by_x = (share_high - share_low) * per_width
    if is_box:
        return share, by_x, (0.5 * (share_high + share_low) - share) * per_width
    return share, by_x, (density_high - density_low) * per_width


@inlined_kernel
def grey_with_slopes(pixel, side, fit, slopes, lane):
    """Grey level of a pixel; its slopes by the parameters are written to slopes[:8, lane].

    Parameters
    ----------
    pixel : (PIXEL_COLUMNS,)
        See ``edge_pixels``.
    side
        The ``Side``.
    fit : (FIT_NUMBERS,)
    """
    along, face, data = pixel[0], pixel[3], pixel[4]
    bow, tilt = 4.0 * along * (1.0 - along), 2.0 * along - 1.0
    x = pixel[1] - fit[FIRST] * (1.0 - along) - fit[LAST] * along - fit[BOW] * bow
    spread, width, is_box = fit[SPREAD], fit[WIDTH], fit[IS_BOX] > 0.0
    outer = side.outer_first + (side.outer_last - side.outer_first) * along
    inner = side.inner_first + (side.inner_last - side.inner_first) * along
    edge, edge_x, edge_blur = blurred_step(x, spread, width, is_box)
    beyond, beyond_x, beyond_blur = blurred_step(x - outer, spread, width, is_box)
    border, border_x, border_blur = blurred_step(x + inner, spread, width, is_box)
    dark = face * (1.0 - edge) - data * (1.0 - border)
    contrast = fit[WHITE] - fit[BLACK]
    more = fit[BEYOND] + fit[BEYOND_SLOPE] * tilt - fit[WHITE]
    by_x = contrast * (face * edge_x - data * border_x) + more * beyond_x
    slopes[FIRST, lane] = -by_x * (1.0 - along)
    slopes[LAST, lane] = -by_x * along
    slopes[BOW, lane] = -by_x * bow
    by_blur = contrast * (face * edge_blur - data * border_blur) + more * beyond_blur
    slopes[SPREAD, lane] = by_blur
    slopes[BLACK, lane] = dark
    slopes[WHITE, lane] = 1.0 - dark - beyond
    slopes[BEYOND, lane] = beyond
    slopes[BEYOND_SLOPE, lane] = beyond * tilt
    return fit[WHITE] - contrast * dark + more * beyond
