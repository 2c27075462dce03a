"""Compiled: which pixels an edge crosses during their exposure, and where each surface can appear.

``nodes`` (K, P + 1, 12) holds ``local_from_camera`` of each surface at K instants, see
``compiled.surfaces``; ``grid`` is the named tuple of ``rendering.picture_arrays``. The image is a
window of the camera's: pixel (0, 0) of the arrays is pixel ``grid.corner`` of the camera.
"""

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.rendering.compiled.surfaces import frames_at
from posefuse.sensing.compiled.projection import project_point

__all__ = ["is_turned_away", "mark_surface", "node_time", "surface_bounds"]

NEAREST_M = 0.01  # nothing closer to the camera's plane than this is followed
MOST_INSTANTS = 64
STILL_PX = 0.02
SPREAD = 1e9


@inlined_kernel
def node_time(row, share, grid):
    """Time at a share (-0.5 to 0.5) of a camera row's exposure, counted in steps of the nodes."""
    seconds = grid.row_time_s * (row - 0.5 * (grid.height_px - 1.0)) + share * grid.exposure_s
    return (seconds - grid.first_s) / grid.step_s


@kernel
def _to_camera(frames, p, point, out):
    """Write the point (3,) of surface p's frame into out (3,), in the camera's frame."""
    a = point[0] - frames[p, 9]
    b = point[1] - frames[p, 10]
    c = point[2] - frames[p, 11]
    for i in range(3):
        out[i] = frames[p, i] * a + frames[p, 3 + i] * b + frames[p, 6 + i] * c


@kernel
def _keep_ahead(first, second, a, b, c):
    """Cut the line between two points (3,) to where a x + b y + c z >= 0; whether any is left."""
    one = a * first[0] + b * first[1] + c * first[2]
    two = a * second[0] + b * second[1] + c * second[2]
    if one < 0.0 and two < 0.0:
        return False
    if one < 0.0 or two < 0.0:
        share = one / (one - two)
        for i in range(3):
            middle = first[i] + share * (second[i] - first[i])
            if one < 0.0:
                first[i] = middle
            else:
                second[i] = middle
    return True


@kernel
def _cut_ahead(first, second):
    """Cut a line in the camera frame to what is in front of the camera; whether any is left."""
    first[2] -= NEAREST_M
    second[2] -= NEAREST_M
    is_left = _keep_ahead(first, second, 0.0, 0.0, 1.0)
    first[2] += NEAREST_M
    second[2] += NEAREST_M
    return is_left


@kernel
def _box_corner(halves, p, place, out):
    """Write corner number place (its bits are the sides) of surface p's box into out (3,)."""
    for i in range(3):
        out[i] = halves[p, i] if place >> i & 1 else -halves[p, i]


@kernel
def surface_bounds(nodes, p, halves, bounds):
    """Write bounds[p]: least and most x and y, on the plane at depth 1, of surface p at all nodes.

    They hold what of its edges is in front of the camera; empty where nothing is.
    """
    corner, first, second = np.empty(3), np.empty(3), np.empty(3)
    low_x, low_y, high_x, high_y = SPREAD, SPREAD, -SPREAD, -SPREAD
    for k in range(nodes.shape[0]):
        for edge in range(12):
            axis, sides = edge >> 2, edge & 3
            place = (sides >> axis << axis + 1) | (sides & ((1 << axis) - 1))  # the axis' bit is 0
            _box_corner(halves, p, place, corner)
            _to_camera(nodes[k], p, corner, first)
            _box_corner(halves, p, place | 1 << axis, corner)
            _to_camera(nodes[k], p, corner, second)
            if not _cut_ahead(first, second):
                continue
            for end in (first, second):
                x, y = end[0] / end[2], end[1] / end[2]
                low_x, high_x = min(low_x, x), max(high_x, x)
                low_y, high_y = min(low_y, y), max(high_y, y)
    bounds[p, 0], bounds[p, 1], bounds[p, 2], bounds[p, 3] = low_x, low_y, high_x, high_y


@kernel
def _cut_to_window(first, second, reach):
    """Cut a line in the camera frame to what the window can show; whether any is left."""
    return (
        _cut_ahead(first, second)
        and _keep_ahead(first, second, 1.0, 0.0, -reach[0])
        and _keep_ahead(first, second, 0.0, 1.0, -reach[1])
        and _keep_ahead(first, second, -1.0, 0.0, reach[2])
        and _keep_ahead(first, second, 0.0, -1.0, reach[3])
    )


@kernel
def _mark_around(u, v, marks, reach, level):
    """Raise marks (h, w) to the level at the pixel and those up to reach px from it."""
    height, width = marks.shape
    i, j = int(np.floor(u + 0.5)), int(np.floor(v + 0.5))
    for row in range(max(j - reach, 0), min(j + reach + 1, height)):
        for column in range(max(i - reach, 0), min(i + reach + 1, width)):
            marks[row, column] = max(marks[row, column], level)


@kernel
def _walk(first, second, lens, corner, marks, reach, level):
    """Mark along a line between two points (3,) of the camera frame, in steps of reach px."""
    z1, z2 = first[2], second[2]
    u1, v1 = project_point(first[0], first[1], z1, lens)
    u2, v2 = project_point(second[0], second[1], z2, lens)
    steps = int(1.3 * max(abs(u2 - u1), abs(v2 - v1)) / reach) + 1
    for i in range(steps + 1):
        ahead = i / steps  # even steps in the image of a pinhole are uneven ones along the line
        share = ahead * z1 / ((1.0 - ahead) * z2 + ahead * z1)
        x = first[0] + share * (second[0] - first[0])
        y = first[1] + share * (second[1] - first[1])
        u, v = project_point(x, y, z1 + share * (z2 - z1), lens)
        _mark_around(u - corner[0], v - corner[1], marks, reach, level)


@kernel
def _time_span(nodes, p, centre, half, grid):
    """(first, last, px): when a box is exposed, in steps of the nodes, and how far it moves.

    The box lies around a centre (3,) of surface p's frame, half (3,) to each side. The rows it can
    lie in are those of a lens without distortion, with some slack, and how far it moves is taken
    half as large again: a mark too many costs time only.
    """
    corner, seen = np.empty(3), np.empty(3)
    top, bottom, furthest = SPREAD, -SPREAD, 0.0
    for i in range(8):
        corner[0] = centre[0] + (half[0] if i & 1 else -half[0])
        corner[1] = centre[1] + (half[1] if i & 2 else -half[1])
        corner[2] = centre[2] + (half[2] if i & 4 else -half[2])
        u = v = np.nan
        path = 0.0
        for k in range(nodes.shape[0]):
            _to_camera(nodes[k], p, corner, seen)
            if seen[2] < NEAREST_M:
                top, bottom = 0.0, grid.height_px - 1.0
                continue
            before_u, before_v = u, v
            u = grid.lens[0] * seen[0] / seen[2] + grid.lens[2]
            v = grid.lens[1] * seen[1] / seen[2] + grid.lens[3]
            top, bottom = min(top, v), max(bottom, v)
            if k > 0 and before_u == before_u:
                path += np.hypot(u - before_u, v - before_v)
        furthest = max(furthest, path)
    slack = 0.1 * grid.height_px
    top = min(max(top - slack, 0.0), grid.height_px - 1.0)
    bottom = min(max(bottom + slack, 0.0), grid.height_px - 1.0)
    first, last = node_time(top, -0.5, grid), node_time(bottom, 0.5, grid)
    steps = max(nodes.shape[0] - 1, 1)
    return first, last, 1.5 * furthest * (last - first) / steps


@kernel
def _mark_line(ends, p, spans, nodes, grid, frames, marks, level):
    """Mark what a line between ends (3,) in surface p's frame crosses; spans: ``_time_span``."""
    first, second = np.empty(3), np.empty(3)
    # one px apart; where the surface moves, two px in its way and along it, and as many around
    instants, reach = (
        (min(int(0.5 * spans[2]) + 2, MOST_INSTANTS), 2) if spans[2] > STILL_PX else (1, 1)
    )
    for m in range(instants):
        share = m / (instants - 1) if instants > 1 else 0.5
        frames_at(spans[0] + share * (spans[1] - spans[0]), nodes, p, frames)
        _to_camera(frames, p, ends[0], first)
        _to_camera(frames, p, ends[1], second)
        if _cut_to_window(first, second, grid.reach):
            _walk(first, second, grid.lens, grid.corner, marks, reach, level)


@kernel
def _mark_tag(p, half, cells, spans, nodes, grid, frames, marks):
    """Mark the lines between the cells of a tag and around its margin as level 2."""
    one, two = np.zeros(3), np.zeros(3)
    for line in range(cells + 1):
        at = half * (2.0 * line / cells - 1.0)
        for axis in range(2):
            one[axis] = two[axis] = at
            one[1 - axis], two[1 - axis] = -half, half
            _mark_line((one, two), p, spans, nodes, grid, frames, marks, 2)


@kernel
def _is_hidden(nodes, p, halves, others, signs):
    """Whether the camera is behind both faces that meet at an edge of box p at all nodes."""
    for k in range(nodes.shape[0]):
        for n in range(2):
            if nodes[k, p, 9 + others[n]] * signs[n] > halves[others[n]]:
                return False
    return True


@kernel
def _mark_box(p, centre, halves, spans, nodes, grid, frames, marks):
    """Mark the edges of a box around a centre (3,) of surface p's frame as level 1.

    All twelve of the room, which is seen from inside; of a box those that it does not hide itself.
    """
    one, two = np.zeros(3), np.zeros(3)
    is_room = p == nodes.shape[1] - 1
    for axis in range(3):
        others = ((axis + 1) % 3, (axis + 2) % 3)
        for i in range(4):
            signs = (1.0 if i & 1 else -1.0, 1.0 if i & 2 else -1.0)
            if not is_room and _is_hidden(nodes, p, halves, others, signs):
                continue
            for end in (one, two):
                for n in range(2):
                    end[others[n]] = centre[others[n]] + halves[others[n]] * signs[n]
            one[axis], two[axis] = centre[axis] - halves[axis], centre[axis] + halves[axis]
            _mark_line((one, two), p, spans, nodes, grid, frames, marks, 1)


@kernel
def is_turned_away(nodes, p):
    """Whether the camera is behind the plane of tag p at all nodes."""
    return nodes[:, p, 11].max() <= 0.0


@kernel
def mark_surface(p, nodes, scene, grid, frames, marks):
    """Raise marks (h, w) where an edge of surface p passes during the exposure: 2 tags, 1 others.

    p beyond the last surface is the room. frames (P + 1, 12) is room to work in.
    """
    centre, half, spans, count = np.zeros(3), np.zeros(3), np.empty(3), nodes.shape[1] - 1
    for i in range(3):
        half[i] = scene.halves[p, i] if p < count else 0.5 * scene.room[i]
        centre[i] = 0.0 if p < count else half[i]
    spans[0], spans[1], spans[2] = _time_span(nodes, p, centre, half, grid)
    if p < count and scene.cell_counts[p] > 0:
        _mark_tag(p, half[0], scene.cell_counts[p], spans, nodes, grid, frames, marks)
    elif p < count or scene.has_room:
        _mark_box(p, centre, half, spans, nodes, grid, frames, marks)
