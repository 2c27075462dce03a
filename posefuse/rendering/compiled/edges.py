"""Compiled: a tag's corners, where lines fitted to the grey levels of its sides cross.

Each side of the black square is fitted by itself, see ``edge_fit``. A second round looks where the
first has put the lines, and further ones follow while these still move. Where two opposite sides
are blurred more than the two others, the camera has moved: theirs is then the width of a box, on
top of the spread that the others show.
"""

import math

import numpy as np

from posefuse.compiling import kernel
from posefuse.rendering.compiled.edge_fit import fit_side, set_levels
from posefuse.rendering.compiled.edge_model import (
    BLACK,
    EXPECTED,
    FIRST,
    FIT_NUMBERS,
    IS_BOX,
    LAST,
    SPREAD,
    WHITE,
    WIDTH,
)
from posefuse.rendering.compiled.edge_pixels import (
    MOST_PIXELS,
    PIXEL_COLUMNS,
    gather_pixels,
    shade_pixels,
    side_of,
    square_to_image,
)

__all__ = ["refine_tag"]

OUTLINE_PX = 0.5
"""An outline leads through the middles of the outermost black pixels, so far inside the side."""

MOST_ROUNDS = 6
SETTLED_PX = 0.1
"""Corners that move less in a round have settled; so have sides in the first round that move less
in a step."""

UNSETTLED_PX = 0.3

FINE_PX = 0.02
FIRST_SPREAD_PX = 0.7
FIRST_REACH_PX = 4.5
REACH_SPREADS, REACH_MORE_PX = 2.5, 1.5
LEAST_CONTRAST_SHARE = 0.6
"""A side with less contrast than that, beside the one with most, is taken for another edge,"""

MOST_WIDTH_SHARE, MOST_WIDTH_PX = 0.2, 0.5
"""and so are opposite sides between which motion seems to differ by more than this."""

MOVED_PX2 = 0.3
"""So much more variance of the blur is a motion's: its way in the image is 1.9 px or more."""


@kernel
def _move_side(corners, k, first, last, line):
    """Write the line (4,), a point and a way, of side k whose ends are moved outward so far."""
    x, y = corners[k, 0], corners[k, 1]
    dx, dy = corners[(k + 1) % 4, 0] - x, corners[(k + 1) % 4, 1] - y
    length = math.hypot(dx, dy)
    nx, ny = dy / length, -dx / length
    line[0], line[1] = x + first * nx, y + first * ny
    line[2], line[3] = dx + (last - first) * nx, dy + (last - first) * ny


@kernel
def _cross(lines, corners):
    """Write the corners (4, 2) where each of the lines (4, 4) crosses the one before it.

    Returns how far the corner moves that moves furthest, px; inf where lines do not cross.
    """
    moved = 0.0
    for k in range(4):
        x, y, dx, dy = lines[k - 1, 0], lines[k - 1, 1], lines[k - 1, 2], lines[k - 1, 3]
        ex, ey = lines[k, 2], lines[k, 3]
        share = ((lines[k, 0] - x) * ey - (lines[k, 1] - y) * ex) / (dx * ey - dy * ex)
        x, y = x + share * dx, y + share * dy
        way = math.hypot(x - corners[k, 0], y - corners[k, 1])
        moved = max(moved, way) if np.isfinite(way) else np.inf
        corners[k, 0], corners[k, 1] = x, y
    return moved


@kernel
def _total_spread(fit):
    """Standard deviation of the blur of a side."""
    return math.sqrt(fit[SPREAD] ** 2 + fit[WIDTH] ** 2 / 12.0)


@kernel
def _find_motion(fits, is_fitted):
    """Write into the fits (4, FIT_NUMBERS) how the blur is made up, once spreads are known."""
    spreads = np.zeros(2)
    for pair in range(2):
        count = 0
        for k in range(pair, 4, 2):
            if is_fitted[k]:
                spreads[pair] += fits[k, SPREAD]
                count += 1
        if count == 0:
            return
        spreads[pair] /= count
    least = min(spreads[0], spreads[1])
    for k in range(4):
        more = spreads[k % 2] ** 2 - least**2
        if more > MOVED_PX2:
            fits[k, IS_BOX] = 1.0
            fits[k, SPREAD] = least
            fits[k, WIDTH] = fits[k, EXPECTED] = math.sqrt(1.0 + 12.0 * more)


@kernel
def _outward(corners, k, normal):
    """Write the outward normal (2,) of side k."""
    dx = corners[(k + 1) % 4, 0] - corners[k, 0]
    dy = corners[(k + 1) % 4, 1] - corners[k, 1]
    length = math.hypot(dx, dy)
    normal[0], normal[1] = dy / length, -dx / length


@kernel
def _fit_sides(image, corners, rows, fits, pixels, is_first, is_fitted):
    """Fit the four sides (4, FIT_NUMBERS) that lead from corner to corner (4, 2)."""
    homography, bounds = np.empty(8), np.empty(rows.shape[1] + 1)
    normals = np.empty((2, 2))
    square_to_image(corners, homography)
    spreads = np.array([_total_spread(fits[k]) for k in range(4)])
    for k in range(4):
        side = side_of(corners, homography, k, bounds)
        reach = FIRST_REACH_PX if is_first else REACH_SPREADS * spreads[k] + REACH_MORE_PX
        count = gather_pixels(image, side, reach, pixels)
        _outward(corners, (k + 3) % 4, normals[0])
        _outward(corners, (k + 1) % 4, normals[1])
        across = 0.5 * (spreads[(k + 3) % 4] + spreads[(k + 1) % 4])
        shade_pixels(pixels[:count], side, normals, bounds, rows[k], across)
        if is_first:
            set_levels(pixels[:count], fits[k])
        settled_px = SETTLED_PX if is_first else FINE_PX
        is_fitted[k] = fit_side(pixels[:count], side, fits[k], settled_px)


@kernel
def _refuse_odd(fits, is_fitted):
    """Write that sides are not fitted which differ from the others as another edge would."""
    most = 0.0
    for k in range(4):
        most = max(most, fits[k, WHITE] - fits[k, BLACK])
    for k in range(4):
        here, there = fits[k, WIDTH], fits[(k + 2) % 4, WIDTH]
        is_odd = abs(here - there) > MOST_WIDTH_SHARE * max(here, there) + MOST_WIDTH_PX
        if is_odd or fits[k, WHITE] - fits[k, BLACK] < LEAST_CONTRAST_SHARE * most:
            is_fitted[k] = False


@kernel
def refine_tag(image, outline, rows, corners, is_fitted):
    """Write the corners (4, 2) of one tag and which of its sides are fitted (4,).

    Parameters
    ----------
    image : (h, w) of 8-bit grey levels
    outline : (4, 2)
        Corners of its outline, pixel centres at integers.
    rows : (4, cells)
        The cells that lie one cell inside each side, in its direction; 1 is white.
    """
    pixels = np.empty((MOST_PIXELS, PIXEL_COLUMNS))
    lines, fits = np.empty((4, 4)), np.zeros((4, FIT_NUMBERS))
    fits[:, SPREAD] = fits[:, EXPECTED] = FIRST_SPREAD_PX
    fits[:, WIDTH] = 1.0
    for k in range(4):
        corners[k, 0], corners[k, 1] = outline[k, 0], outline[k, 1]
        _move_side(outline, k, OUTLINE_PX, OUTLINE_PX, lines[k])
    _cross(lines, corners)
    moved = np.inf
    for number in range(MOST_ROUNDS):
        if number == 1:
            _find_motion(fits, is_fitted)
        _fit_sides(image, corners, rows, fits, pixels, number == 0, is_fitted)
        if number > 0:
            _refuse_odd(fits, is_fitted)
        for k in range(4):
            _move_side(corners, k, fits[k, FIRST], fits[k, LAST], lines[k])
        moved = _cross(lines, corners)
        are_fitted = is_fitted[0] and is_fitted[1] and is_fitted[2] and is_fitted[3]
        if moved == np.inf or (number > 0 and moved < SETTLED_PX and are_fitted):
            break
    if moved > UNSETTLED_PX:
        is_fitted[:] = False
