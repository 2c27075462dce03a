"""Compiled: the light that falls on each pixel of a window of the image.

Most pixels show one surface throughout: of them every fourth, in both directions, gets a ray, and
the others what lies between. Pixels that an edge crosses during the exposure (``compiled.marking``)
take rays spread over their area and the exposure; rays through their corners first sort out those
that were marked in vain. Rays are cast in bundles, a tile of the image at a time.

``nodes`` (K, P + 1, 12) and ``frames`` (P + 1, 12): see ``compiled.surfaces``; ``area``: first row,
row after the last, first column and column after the last of a part of the window; ``picture``,
``scene``, ``grid`` and ``work`` are the named tuples ``PictureArrays``, ``SceneArrays``,
``GridArrays`` and ``WorkArrays``; ``near`` (n,) holds the numbers of the surfaces that the part can
show.
"""

import math

import numpy as np

from posefuse.compiling import kernel
from posefuse.randomness.compiled.numbers import uniform
from posefuse.rendering.compiled.marking import (
    is_turned_away,
    mark_surface,
    node_time,
    surface_bounds,
)
from posefuse.rendering.compiled.surfaces import cast, frames_at

__all__ = ["STRIDE", "TILE", "TRIAL_RAYS", "draw_light"]

TILE = 64
STRIDE = 4
SHARPNESS = 2.0  # the grain of plain pixels is taken as from rays so many px apart
TRIAL_RAYS = 4  # through the corners; where they meet the same, no edge crosses
MOVING_RAYS = 8  # a tag that moves may show another cell in between: so many more must agree
PLAIN_RAYS = 12  # enough for the edges of anything but tags
KEY, ROW_SHIFT, ONE = np.uint64(1), np.uint64(32), np.uint64(1)


@kernel
def _tile_bounds(picture, area, out):
    """Write least and most x and y (4,) of the rays through and around a tile."""
    rays_x, rays_y = picture.rays_x, picture.rays_y
    top, bottom, left, right = area
    out[0], out[1], out[2], out[3] = np.inf, np.inf, -np.inf, -np.inf
    for j in range(top, bottom + 2):
        is_end = j == top or j == bottom + 1
        i = left
        while i <= right + 1:
            x, y = rays_x[j, i], rays_y[j, i]
            if x == x:
                out[0], out[1] = min(out[0], x), min(out[1], y)
                out[2], out[3] = max(out[2], x), max(out[3], y)
            i += 1 if is_end else right + 1 - left


@kernel
def _near_tile(bounds, tile, near):
    """How many surfaces can appear in a tile; writes their numbers into near."""
    count = 0
    for p in range(bounds.shape[0]):
        if (
            bounds[p, 0] <= tile[2]
            and bounds[p, 2] >= tile[0]
            and bounds[p, 1] <= tile[3]
            and bounds[p, 3] >= tile[1]
        ):
            near[count] = p
            count += 1
    return count


@kernel
def _set_frames(time, nodes, near, frames):
    """Write the frames of the near surfaces and of the world at a time."""
    for i in range(near.shape[0]):
        frames_at(time, nodes, near[i], frames)
    frames_at(time, nodes, nodes.shape[1] - 1, frames)


@kernel
def _fill_between(area, across, value, light):
    """Write the light of a tile from every STRIDE-th ray of it, across to a row."""
    top, bottom, left, right = area
    for j in range(bottom - top):
        a, down = (j // STRIDE) * across, (j % STRIDE) * (1.0 / STRIDE)
        b = a + across
        for k in range(across - 1):
            here = value[a + k] + down * (value[b + k] - value[a + k])
            step = value[a + k + 1] + down * (value[b + k + 1] - value[a + k + 1]) - here
            step *= 1.0 / STRIDE
            i = left + STRIDE * k
            if i + STRIDE <= right:
                for n in range(STRIDE):
                    light[top + j, i + n] = here + n * step
            else:
                for n in range(right - i):
                    light[top + j, i + n] = here + n * step


@kernel
def _is_one(count, which, face):
    """Whether all rays meet the same face of the same surface."""
    unlike = 0
    for n in range(1, count):
        unlike += (which[n] != which[0]) | (face[n] != face[0])
    return unlike == 0


@kernel
def _mark_between(area, across, which, face, marks):
    """Mark pixels between rays that meet unlike things where no edge was marked.

    Two boxes that run into each other meet along such a line.
    """
    top, bottom, left, right = area
    for j in range((bottom - top + STRIDE - 1) // STRIDE):
        for k in range(across - 1):
            a = j * across + k
            b = a + across
            mark = 8 * which[a] + face[a]
            if (
                mark != 8 * which[a + 1] + face[a + 1]
                or mark != 8 * which[b] + face[b]
                or mark != 8 * which[b + 1] + face[b + 1]
            ):
                first_row, first = top + STRIDE * j, left + STRIDE * k
                for row in range(first_row, min(first_row + STRIDE, bottom)):
                    for i in range(first, min(first + STRIDE, right)):
                        marks[row, i] = max(marks[row, i], 1)


@kernel
def _draw_plain(picture, area, near, scene, work):
    """Write the light of a tile's pixels as if no edge crossed any."""
    xs, ys = work.xs, work.ys
    rays_x, rays_y = picture.rays_x, picture.rays_y
    top, bottom, left, right = area
    down = (bottom - top + STRIDE - 1) // STRIDE + 1
    across = (right - left + STRIDE - 1) // STRIDE + 1
    n = 0
    for j in range(down):
        for i in range(across):
            xs[n] = rays_x[top + STRIDE * j + 1, left + STRIDE * i + 1]
            ys[n] = rays_y[top + STRIDE * j + 1, left + STRIDE * i + 1]
            n += 1
    which, face, value = work.which, work.face, work.value
    hits = (work.best, which, face)
    cast((xs, ys), n, SHARPNESS, work.frames, near, scene, hits, value)
    _fill_between(area, across, value, picture.light)
    if not _is_one(n, which, face):
        _mark_between(area, across, which, face, picture.marks)


@kernel
def _choose(area, marks, rows, columns):
    """How many pixels of a tile are marked; writes where they are."""
    top, bottom, left, right = area
    count = 0
    for j in range(top, bottom):
        for i in range(left, right):
            if marks[j, i] > 0:
                rows[count], columns[count] = j, i
                count += 1
    return count


@kernel
def _gather(rows, columns, count, picture, slopes):
    """Write slopes (8, count) of the chosen pixels.

    The ray's x and y, their change to the right and down, and a shift of the pixel's other rays,
    each pixel's own: what the rays' pattern does to an edge then does not add up along it.
    """
    rays_x, rays_y = picture.rays_x, picture.rays_y
    for n in range(count):
        j, i = rows[n] + 1, columns[n] + 1
        slopes[0, n], slopes[1, n] = rays_x[j, i], rays_y[j, i]
        slopes[2, n] = 0.5 * (rays_x[j, i + 1] - rays_x[j, i - 1])
        slopes[3, n] = 0.5 * (rays_y[j, i + 1] - rays_y[j, i - 1])
        slopes[4, n] = 0.5 * (rays_x[j + 1, i] - rays_x[j - 1, i])
        slopes[5, n] = 0.5 * (rays_y[j + 1, i] - rays_y[j - 1, i])
        counter = np.uint64(j) << ROW_SHIFT | np.uint64(2 * i)
        slopes[6, n], slopes[7, n] = uniform(KEY, counter), uniform(KEY, counter + ONE)


@kernel
def _aim(slopes, count, du, dv, is_trial, xs, ys):
    """Write the rays (xs, ys) through the chosen pixels, (du, dv) px off their middles.

    Each pixel's own shift is added, round the pixel's border, but for the trial.
    """
    share = 0.0 if is_trial else 1.0
    for n in range(count):
        right, down = du + share * slopes[6, n], dv + share * slopes[7, n]
        right, down = right - math.floor(right + 0.5), down - math.floor(down + 0.5)
        xs[n] = slopes[0, n] + right * slopes[2, n] + down * slopes[4, n]
        ys[n] = slopes[1, n] + right * slopes[3, n] + down * slopes[5, n]


@kernel
def _add_up(count, taken, work):
    """Add the values of one more ray of each chosen pixel and note which see more than one thing.

    The first ray after the trial starts the sum anew.
    """
    which, face, value = work.which, work.face, work.value
    total, seen, uneven = work.total, work.seen, work.uneven
    for n in range(count):
        mark = 8 * which[n] + face[n]
        if taken == 0:
            seen[n], uneven[n] = mark, False
        uneven[n] = uneven[n] or seen[n] != mark
        total[n] = value[n] + (0.0 if taken in (0, TRIAL_RAYS) else total[n])


@kernel
def _settle(count, taken, most, is_still, work, picture):
    """How many chosen pixels need more rays, moved to the front; the others get their light."""
    marks, light = picture.marks, picture.light
    rows, columns, total, uneven, seen = work.rows, work.columns, work.total, work.uneven, work.seen
    slopes, kept, summed = work.slopes, 0, taken - TRIAL_RAYS if taken > TRIAL_RAYS else taken
    for n in range(count):
        j, i = rows[n], columns[n]
        is_tag = marks[j, i] > 1
        is_sure = not uneven[n] and (taken > TRIAL_RAYS or is_still or not is_tag)
        if is_sure or taken >= TRIAL_RAYS + (most if is_tag else PLAIN_RAYS):
            light[j, i] = total[n] / summed
        else:
            rows[kept], columns[kept], total[kept] = j, i, total[n]
            uneven[kept], seen[kept] = uneven[n], seen[n]
            for k in range(8):
                slopes[k, kept] = slopes[k, n]
            kept += 1
    return kept


@kernel
def _draw_marked(picture, area, nodes, near, scene, grid, work):
    """Write the light of the marked pixels of some rows of a tile, which are exposed together."""
    spread = grid.spread
    row, most = 0.5 * (area[0] + area[1] - 1) + grid.corner[1], spread.shape[0] - TRIAL_RAYS
    xs, ys, rows, columns = work.xs, work.ys, work.rows, work.columns
    hits, frames = (work.best, work.which, work.face), work.frames
    count = _choose(area, picture.marks, rows, columns)
    _gather(rows, columns, count, picture, work.slopes)
    taken = 0
    while count > 0:
        _set_frames(node_time(row, spread[taken, 2], grid), nodes, near, frames)
        is_trial = taken < TRIAL_RAYS
        _aim(work.slopes, count, spread[taken, 0], spread[taken, 1], is_trial, xs, ys)
        cast((xs, ys), count, 1.0, frames, near, scene, hits, work.value)
        _add_up(count, taken, work)
        taken += 1
        if taken - TRIAL_RAYS in (0, MOVING_RAYS, PLAIN_RAYS, most):
            count = _settle(count, taken, most, nodes.shape[0] == 1, work, picture)


@kernel
def _draw_tile(picture, area, nodes, bounds, numbers, scene, grid, work):
    """Write the light of one tile of the window.

    bounds (P, 4): see ``surface_bounds``; numbers (P,) is room to work in.
    """
    top, bottom, left, right = area
    _tile_bounds(picture, area, work.tile)
    near = numbers[: _near_tile(bounds, work.tile, numbers)]
    time = node_time(0.5 * (top + bottom - 1) + grid.corner[1], 0.0, grid)
    _set_frames(time, nodes, near, work.frames)
    _draw_plain(picture, area, near, scene, work)
    is_rolling = grid.row_time_s > 0.0 and nodes.shape[0] > 1
    step = 1 if is_rolling else bottom - top
    for first in range(top, bottom, step):
        rows = (first, first + step, left, right)
        _draw_marked(picture, rows, nodes, near, scene, grid, work)


@kernel
def draw_light(picture, nodes, scene, grid, work):
    """Write the picture's light: what falls on each pixel, 1 for full light reflected whole."""
    height, width = picture.light.shape
    count = nodes.shape[1] - 1
    bounds, frames = np.empty((count, 4)), work.frames
    numbers = np.empty(count, np.int64)
    for p in range(count):
        if scene.cell_counts[p] > 0 and is_turned_away(nodes, p):
            bounds[p, 0], bounds[p, 2] = np.inf, -np.inf  # of its back nothing is seen
            continue
        surface_bounds(nodes, p, scene.halves, bounds)
        if _near_tile(bounds[p : p + 1], grid.reach, numbers) > 0:
            mark_surface(p, nodes, scene, grid, frames, picture.marks)
    mark_surface(count, nodes, scene, grid, frames, picture.marks)
    for top in range(0, height, TILE):
        for left in range(0, width, TILE):
            area = (top, min(top + TILE, height), left, min(left + TILE, width))
            _draw_tile(picture, area, nodes, bounds, numbers, scene, grid, work)
