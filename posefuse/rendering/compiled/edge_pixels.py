"""Compiled: the four sides of a tag's black square in an image, and the pixels along one of them.

Corners are those of ``Tag.corners_in_tag_m``, which run clockwise in an image (x right, y down);
side k leads from corner k to corner k + 1, and outward of it is (along_y, -along_x). A pixel is a
row of 5 numbers: share of the way along the side, px outward of it, grey level, and how much of the
square's face and of white data there is beside it, 0 to 1, blurred along the side.
"""

import math
from typing import NamedTuple

import numpy as np

from posefuse.compiling import kernel
from posefuse.rendering.compiled.edge_model import step_share

__all__ = [
    "MOST_PIXELS",
    "PIXEL_COLUMNS",
    "Side",
    "gather_pixels",
    "shade_pixels",
    "side_of",
    "square_to_image",
]

PIXEL_COLUMNS = 5
MOST_PIXELS = 800
MOST_REACH_PX = 16.0
LEAST_LINES, MOST_LINES = 14, 28
PIXELS_WANTED = 220
"""Of a long side or a wide reach not every row of the image is looked at: about so many pixels
in all. More would take longer than they better the corners."""

LEFT_OUT_CELLS = 0.25
"""At each end of a side."""

REACH_CELLS = 1.3
"""Nothing further off is looked at: behind it the data's second row begins to show."""

DATA_DEPTH_CELLS = 1.25
"""Where the data begins and ends along a side is taken so deep inside."""

BLUR_REACH = 4.0


class Side(NamedTuple):
    """One side of a black square in the image, px.

    Parameters
    ----------
    x, y
        Its first corner.
    along_x, along_y
        Direction to the other, of length 1.
    outer_first, outer_last
        How far outward of it the white margin ends, near its two corners.
    inner_first, inner_last
        How far inward of it the black border ends.
    begin, end
        The part that is looked at, from the first corner.
    """

    x: float
    y: float
    along_x: float
    along_y: float
    length: float
    outer_first: float
    outer_last: float
    inner_first: float
    inner_last: float
    begin: float
    end: float


@kernel
def square_to_image(corners, homography):
    """Write the homography (8,) from the unit square, y down, to corners (4, 2).

    P. S. Heckbert, Fundamentals of texture mapping and image warping, 1989, section 2.2.3.
    """
    x0, x1, x2, x3 = corners[0, 0], corners[1, 0], corners[2, 0], corners[3, 0]
    y0, y1, y2, y3 = corners[0, 1], corners[1, 1], corners[2, 1], corners[3, 1]
    sum_x, sum_y = x0 - x1 + x2 - x3, y0 - y1 + y2 - y3
    ax, bx, ay, by = x1 - x2, x3 - x2, y1 - y2, y3 - y2
    determinant = ax * by - bx * ay
    g = (sum_x * by - bx * sum_y) / determinant
    h = (ax * sum_y - sum_x * ay) / determinant
    homography[0], homography[1], homography[2] = x1 - x0 + g * x1, x3 - x0 + h * x3, x0
    homography[3], homography[4], homography[5] = y1 - y0 + g * y1, y3 - y0 + h * y3, y0
    homography[6], homography[7] = g, h


@kernel
def _place(homography, k, along, depth):
    """(x, y) of a point so far along side k and so deep inside, as shares of an edge."""
    u = along if k == 0 else 1.0 - depth if k == 1 else 1.0 - along if k == 2 else depth
    v = depth if k == 0 else along if k == 1 else 1.0 - depth if k == 2 else 1.0 - along
    scale = 1.0 / (homography[6] * u + homography[7] * v + 1.0)
    return (
        (homography[0] * u + homography[1] * v + homography[2]) * scale,
        (homography[3] * u + homography[4] * v + homography[5]) * scale,
    )


@kernel
def side_of(corners, homography, k, bounds):
    """Side k of the square with corners (4, 2).

    Parameters
    ----------
    bounds : (cells + 1,)
        Written: where the cells of the data's first row begin and end, px along the side.
    """
    x, y = corners[k, 0], corners[k, 1]
    dx, dy = corners[(k + 1) % 4, 0] - x, corners[(k + 1) % 4, 1] - y
    length = math.hypot(dx, dy)
    ex, ey = dx / length, dy / length
    cell = 1.0 / (len(bounds) - 1)
    far = np.empty((2, 2))
    limits = np.empty(2)
    for end in range(2):
        for inside in range(2):
            along, depth = cell + end * (1.0 - 2.0 * cell), cell if inside == 1 else -cell
            px, py = _place(homography, k, along, depth)
            far[inside, end] = abs((px - x) * ey - (py - y) * ex)
        left_out = LEFT_OUT_CELLS * cell
        px, py = _place(homography, k, left_out + end * (1.0 - 2.0 * left_out), 0.0)
        limits[end] = (px - x) * ex + (py - y) * ey
    for j in range(len(bounds)):
        px, py = _place(homography, k, j * cell, DATA_DEPTH_CELLS * cell)
        bounds[j] = (px - x) * ex + (py - y) * ey
    return Side(
        x, y, ex, ey, length, far[0, 0], far[0, 1], far[1, 0], far[1, 1], limits[0], limits[1]
    )


@kernel
def gather_pixels(image, side, reach_px, pixels):
    """Write the first three columns of the pixels along a side; returns how many these are.

    Every row of the image is looked at where the side is steep, else every column; of many only
    some, evenly spaced.
    """
    is_steep = abs(side.along_y) > abs(side.along_x)
    start, other = (side.y, side.x) if is_steep else (side.x, side.y)
    step, lean = (side.along_y, side.along_x) if is_steep else (side.along_x, side.along_y)
    lines, width = (
        (image.shape[0], image.shape[1]) if is_steep else (image.shape[1], image.shape[0])
    )
    reach_px = min(reach_px, MOST_REACH_PX)
    half, slack = reach_px / abs(step), reach_px * abs(lean)
    one, two = start + step * side.begin, start + step * side.end
    first = max(math.ceil(min(one, two) - slack), 0)
    last = min(math.floor(max(one, two) + slack), lines - 1)
    wanted = min(MOST_LINES, max(LEAST_LINES, int(PIXELS_WANTED / (2.0 * half + 1.0))))
    chosen = min(last - first + 1, wanted)
    count = 0
    for number in range(chosen):
        i = first + int(number * (last - first) / max(chosen - 1, 1) + 0.5)
        middle = other + (i - start) * lean / step
        begin, end = math.ceil(middle - half), math.floor(middle + half)
        for j in range(max(0, begin), min(width - 1, end) + 1):
            x, y = (j, i) if is_steep else (i, j)
            dx, dy = x - side.x, y - side.y
            t = dx * side.along_x + dy * side.along_y
            out = dx * side.along_y - dy * side.along_x
            along = t / side.length
            outer = side.outer_first + (side.outer_last - side.outer_first) * along
            inner = side.inner_first + (side.inner_last - side.inner_first) * along
            is_near = -REACH_CELLS * inner <= out <= REACH_CELLS * outer
            if is_near and side.begin <= t <= side.end and count < len(pixels):
                pixels[count, 0], pixels[count, 1], pixels[count, 2] = along, out, image[y, x]
                count += 1
    return count


@kernel
def shade_pixels(pixels, side, normals, bounds, row, spread_px):
    """Write the last two columns of the pixels (n, PIXEL_COLUMNS) along a side.

    Parameters
    ----------
    normals : (2, 2)
        Outward normals of the sides that end and begin at its two corners.
    bounds : (cells + 1,)
        As ``side_of`` writes them.
    row : (cells,)
        The cells of the data's first row with the border's at both ends: 1 is white.
    spread_px
        Of the blur along the side.
    """
    reach = BLUR_REACH * spread_px
    ex, ey = side.along_x, side.along_y
    before_along = ex * normals[0, 0] + ey * normals[0, 1]
    before_out = ey * normals[0, 0] - ex * normals[0, 1]
    after_along = ex * normals[1, 0] + ey * normals[1, 1]
    after_out = ey * normals[1, 0] - ex * normals[1, 1]
    for i in range(len(pixels)):
        t, out = pixels[i, 0] * side.length, pixels[i, 1]
        before = t * before_along + out * before_out
        after = (t - side.length) * after_along + out * after_out
        face = 1.0
        if before > -reach:
            face -= step_share(before / spread_px)
        if after > -reach:
            face -= step_share(after / spread_px)
        data = 0.0
        for j in range(1, len(row)):
            if row[j] != row[j - 1]:
                share = step_share((t - bounds[j]) / spread_px)
                data += share if row[j] > row[j - 1] else -share
        pixels[i, 3], pixels[i, 4] = face, data
