"""Compiled: fits one side of a tag's black square to the grey levels of the pixels along it.

Gauss-Newton steps on the model of ``edge_model``. Distances are perpendicular to the side, so that
the line is one of total least squares (R. Hartley, A. Zisserman, Multiple view geometry, 2nd ed.,
2004, section 4.2 on geometric distance). Parts of a side that the model does not describe count
less: weights as P. J. Huber's (Robust statistics, 1981), squared, by the RMS residual of each part.
"""

import math

import numpy as np

from posefuse.compiling import kernel
from posefuse.rendering.compiled.edge_model import (
    BEYOND,
    BEYOND_SLOPE,
    BLACK,
    BOW,
    EXPECTED,
    FIRST,
    IS_BOX,
    LAST,
    PARAMETERS,
    SPREAD,
    WHITE,
    WIDTH,
    grey_with_slopes,
)

__all__ = ["fit_side", "set_levels", "solve", "to_root"]

LANES = 8
PRODUCTS = (PARAMETERS + 1) * (PARAMETERS + 2) // 2 - 1
MOST_STEPS = 4
MOST_STEP_PX = 0.7
MOST_BLUR_CHANGE = 0.5
MOST_PARTS = 32
BAD_PART = 2.0
"""A part whose RMS residual is this many times the median one begins to count less."""

LEAST_NOISE_GREY = 0.5
LEAST_SPREAD_PX, LEAST_WIDTH_PX = 0.15, 1.0
# what is known before, as spreads
SPREAD_STD_PX, WIDTH_STD_PX = 0.5, 1.0
BOW_STD_PER_PX = 1.25e-5
"""Bow of a side as a share of its squared length: wide lenses bend lines by up to about three
times as much, which long sides show by themselves. Short ones are as good as straight."""

# a side is fitted where
LEAST_PIXELS = 24
LEAST_CONTRAST_GREY, LEAST_CONTRAST_NOISES = 10.0, 4.0
MOST_STD_PX = 0.25
MOST_MOVE_CELLS = 0.8


@kernel
def to_root(normal):
    """Turn a symmetric matrix (n, n), of which the lower triangle counts, into its Cholesky root.

    The root's upper triangle is not written.
    """
    for i in range(len(normal)):
        for j in range(i + 1):
            rest = normal[i, j]
            for k in range(j):
                rest -= normal[i, k] * normal[j, k]
            normal[i, j] = math.sqrt(rest) if i == j else rest / normal[j, j]


@kernel
def solve(root, right):
    """Turn the right side (n,) into the solution, with the root that ``to_root`` gives."""
    for i in range(len(right)):
        for k in range(i):
            right[i] -= root[i, k] * right[k]
        right[i] /= root[i, i]
    for i in range(len(right) - 1, -1, -1):
        for k in range(i + 1, len(right)):
            right[i] -= root[k, i] * right[k]
        right[i] /= root[i, i]


@kernel
def set_levels(pixels, fit):
    """Write the grey levels that a fit (FIT_NUMBERS,) to the pixels begins with."""
    fit[BLACK], fit[WHITE] = 255.0, 0.0
    for i in range(len(pixels)):
        fit[BLACK], fit[WHITE] = min(fit[BLACK], pixels[i, 2]), max(fit[WHITE], pixels[i, 2])
    fit[BEYOND], fit[BEYOND_SLOPE] = 0.5 * (fit[BLACK] + fit[WHITE]), 0.0


@kernel
def _sum_up(pixels, side, fit, weights, normal, right, misses):
    """Write the weighted normal equations of a side's pixels, eight of them side by side.

    Parameters
    ----------
    weights : (parts,)
        Of equal parts of the side.
    normal, right : (PARAMETERS, PARAMETERS), (PARAMETERS,)
        Of the matrix, the lower triangle.
    misses : (parts, 2)
        Squared residuals of each part, and its pixels.
    """
    rows, lane_weights = np.zeros((PARAMETERS + 1, LANES)), np.zeros(LANES)
    sums = np.zeros((PRODUCTS, LANES))
    misses[:] = 0.0
    parts = len(weights)
    for start in range(0, len(pixels), LANES):
        for lane in range(LANES):
            i = start + lane
            lane_weights[lane] = 0.0
            if i < len(pixels):
                miss = pixels[i, 2] - grey_with_slopes(pixels[i], side, fit, rows, lane)
                rows[PARAMETERS, lane] = miss
                part = min(parts - 1, max(0, int(pixels[i, 0] * parts)))
                misses[part, 0] += miss * miss
                misses[part, 1] += 1.0
                lane_weights[lane] = weights[part]
        for lane in range(LANES):
            place = 0
            for p in range(PARAMETERS + 1):
                weighted = lane_weights[lane] * rows[p, lane]
                for q in range(min(p + 1, PARAMETERS)):
                    sums[place, lane] += weighted * rows[q, lane]
                    place += 1
    place = 0
    for p in range(PARAMETERS + 1):
        for q in range(min(p + 1, PARAMETERS)):
            if p < PARAMETERS:
                normal[p, q] = np.sum(sums[place])
            else:
                right[q] = np.sum(sums[place])
            place += 1


@kernel
def _expect(normal, right, place, miss, weight):
    """Add to the normal equations that a parameter is off by so much, with that weight."""
    normal[place, place] += weight
    right[place] += weight * miss


@kernel
def _add_known(normal, right, side, fit, noise2):
    """Add what is known of a side before its pixels are seen; noise2 is that of a grey level."""
    contrast2 = max(fit[WHITE] - fit[BLACK], LEAST_CONTRAST_GREY) ** 2
    is_box = fit[IS_BOX] > 0.0
    off = fit[EXPECTED] - fit[WIDTH if is_box else SPREAD]
    std = WIDTH_STD_PX if is_box else SPREAD_STD_PX
    bow_std = BOW_STD_PER_PX * side.length**2
    _expect(normal, right, BOW, -fit[BOW], noise2 / bow_std**2)
    _expect(normal, right, SPREAD, off, noise2 / std**2)
    _expect(normal, right, BEYOND, fit[WHITE] - fit[BEYOND], noise2 / contrast2)
    _expect(normal, right, BEYOND_SLOPE, -fit[BEYOND_SLOPE], 16.0 * noise2 / contrast2)


@kernel
def _take(step, fit):
    """Move a fit by a step (PARAMETERS,), or a part of it; returns how far the side moves, px."""
    moved = max(abs(step[FIRST]), abs(step[LAST]))
    blur = WIDTH if fit[IS_BOX] > 0.0 else SPREAD
    share = 1.0
    if moved > MOST_STEP_PX:
        share = MOST_STEP_PX / moved
    if share * abs(step[SPREAD]) > MOST_BLUR_CHANGE * fit[blur]:
        share = MOST_BLUR_CHANGE * fit[blur] / abs(step[SPREAD])
    for p in range(PARAMETERS):
        if p != SPREAD:
            fit[p] += share * step[p]
    least = LEAST_WIDTH_PX if blur == WIDTH else LEAST_SPREAD_PX
    fit[blur] = max(least, fit[blur] + share * step[SPREAD])
    return max(moved, 0.5 * abs(step[SPREAD]))


@kernel
def _weigh(misses, weights):
    """Write the weights of parts by their RMS residuals, beside the median of these."""
    seen = 0
    rms = np.empty(len(weights))  # rising
    for part in range(len(weights)):
        if misses[part, 1] > 0.0:
            one, place = math.sqrt(misses[part, 0] / misses[part, 1]), seen
            while place > 0 and rms[place - 1] > one:
                rms[place] = rms[place - 1]
                place -= 1
            rms[place] = one
            seen += 1
    limit = BAD_PART * max(rms[seen // 2], LEAST_NOISE_GREY)
    for part in range(len(weights)):
        if misses[part, 1] > 0.0:
            off = math.sqrt(misses[part, 0] / misses[part, 1]) / limit
            weights[part] = 1.0 if off <= 1.0 else 1.0 / off**2


@kernel
def _noise2(misses, weights):
    """Variance of a grey level about the model."""
    total, count = 0.0, -float(PARAMETERS)
    for part in range(len(weights)):
        total += weights[part] * misses[part, 0]
        count += weights[part] * misses[part, 1]
    return max(LEAST_NOISE_GREY**2, total / max(count, 4.0))


@kernel
def _judge(side, fit, root, noise2):
    """Whether a fit is to be trusted; where it says nothing, its ends are put back.

    Parameters
    ----------
    root : (PARAMETERS, PARAMETERS)
        Of its normal equations.
    noise2
        Variance of a grey level.
    """
    contrast = fit[WHITE] - fit[BLACK]
    cell = min(side.outer_first, side.outer_last, side.inner_first, side.inner_last)
    is_near = max(abs(fit[FIRST]), abs(fit[LAST])) <= MOST_MOVE_CELLS * cell
    if not (is_near and contrast >= LEAST_CONTRAST_GREY):
        fit[FIRST], fit[LAST] = 0.0, 0.0
        return False
    is_clear = contrast >= LEAST_CONTRAST_NOISES * math.sqrt(noise2)
    column = np.empty(PARAMETERS)
    for end in range(FIRST, LAST + 1):
        column[:] = 0.0
        column[end] = 1.0
        solve(root, column)
        is_clear = is_clear and noise2 * column[end] <= MOST_STD_PX**2
    return is_clear


@kernel
def fit_side(pixels, side, fit, settled_px):
    """Fit a side to its pixels (n, PIXEL_COLUMNS); whether it is to be trusted.

    Where it is not, it may still be nearer than before; else it stays where it was.

    Parameters
    ----------
    fit : (FIT_NUMBERS,)
        Where it begins; the fit is written.
    settled_px
        Steps shorter than this are the last.
    """
    fit[FIRST], fit[LAST] = 0.0, 0.0
    if len(pixels) < LEAST_PIXELS:
        return False
    weights = np.ones(min(MOST_PARTS, max(1, int(side.end - side.begin))))
    root, right = np.empty((PARAMETERS, PARAMETERS)), np.empty(PARAMETERS)
    misses = np.empty((len(weights), 2))
    noise2 = 0.0
    for _ in range(MOST_STEPS):
        _sum_up(pixels, side, fit, weights, root, right, misses)
        noise2 = _noise2(misses, weights)
        _add_known(root, right, side, fit, noise2)
        to_root(root)
        solve(root, right)
        moved = _take(right, fit)
        if moved < settled_px:
            break
        _weigh(misses, weights)
    return _judge(side, fit, root, noise2)
