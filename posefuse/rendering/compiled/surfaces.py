"""Compiled: what a bundle of rays from the camera meets first, and how bright that is.

Every surface has a frame of its own. ``frames[p]`` (12,) is ``local_from_camera`` of surface p:
nine numbers of the rotation, row by row, then the camera's place; the last row of ``frames`` is the
world's. ``scene`` is the named tuple ``SceneArrays``; ``rays`` are two arrays xs and ys, ray i is
(xs[i], ys[i], 1); of the arrays of a bundle only the first ``count`` places are used; ``near``
(n,) holds the numbers of the surfaces that the bundle can meet; ``hits``: see ``cast``. Each
function runs over a whole bundle: its loop holds numbers only, which is what makes it fast.
"""

import math

import numpy as np

from posefuse.compiling import inlined_kernel, kernel

__all__ = ["cast", "frames_at"]

TAG_AHEAD_M = 0.01  # a tag wins over what it hangs on, as in sensing.compiled.visibility
BACKDROP = 0.14  # reflected light of what is beyond the walls
STEEPEST = 0.05  # a texture seen more grazing than this is taken as seen so
GLOSS = 120.0  # how sharp the lamp's mirror image is: exp(-GLOSS (1 - cos(angle)))
FLOOR = 4  # faces are numbered -x, +x, -y, +y, -z, +z
NOTHING = -1
FAR = 1e18


@kernel
def frames_at(time, nodes, surface, out):
    """Write out[surface] (12,): its frame at a time, linear between the nodes (K, P + 1, 12).

    The time counts in steps of the nodes from the first; beyond both ends it is held.
    """
    last = nodes.shape[0] - 1
    if last == 0:
        for i in range(12):
            out[surface, i] = nodes[0, surface, i]
        return
    k = min(max(int(np.floor(time)), 0), last - 1)
    share = min(max(time - k, 0.0), 1.0)
    for i in range(12):
        low = nodes[k, surface, i]
        out[surface, i] = low + share * (nodes[k + 1, surface, i] - low)


@kernel
def _meet_tag(rays, count, frames, p, half, hits):
    """Where tag p's picture is the first so far, put in its depth and p."""
    xs, ys = rays
    best, which, _ = hits
    a, b, c = frames[p, 0], frames[p, 1], frames[p, 2]
    d, e, f = frames[p, 3], frames[p, 4], frames[p, 5]
    g, h, k = frames[p, 6], frames[p, 7], frames[p, 8]
    ox, oy, oz = frames[p, 9], frames[p, 10], frames[p, 11]
    if oz <= 0.0:  # seen from behind there is nothing
        return
    for i in range(count):
        x, y = xs[i], ys[i]
        depth = -oz / (g * x + h * y + k)
        across = ox + depth * (a * x + b * y + c)
        up = oy + depth * (d * x + e * y + f)
        ahead = depth - TAG_AHEAD_M / math.sqrt(x * x + y * y + 1.0)
        is_met = (depth > 0.0) & (ahead < best[i]) & (abs(across) <= half) & (abs(up) <= half)
        best[i] = ahead if is_met else best[i]
        which[i] = p if is_met else which[i]


@kernel
def _meet_box(rays, count, frames, p, halves, hits):
    """Where box p is the first so far, put in its depth, p and the face.

    The slab method: T. L. Kay, J. T. Kajiya, Ray tracing complex scenes, SIGGRAPH 1986. A box
    around the camera is not seen.
    """
    xs, ys = rays
    best, which, face = hits
    a, b, c = frames[p, 0], frames[p, 1], frames[p, 2]
    d, e, f = frames[p, 3], frames[p, 4], frames[p, 5]
    g, h, k = frames[p, 6], frames[p, 7], frames[p, 8]
    ox, oy, oz = frames[p, 9], frames[p, 10], frames[p, 11]
    hx, hy, hz = halves[p, 0], halves[p, 1], halves[p, 2]
    for i in range(count):
        x, y = xs[i], ys[i]
        step_x, step_y, step_z = (
            1.0 / (a * x + b * y + c),
            1.0 / (d * x + e * y + f),
            1.0 / (g * x + h * y + k),
        )
        enter_x, leave_x = -ox * step_x - abs(hx * step_x), -ox * step_x + abs(hx * step_x)
        enter_y, leave_y = -oy * step_y - abs(hy * step_y), -oy * step_y + abs(hy * step_y)
        enter_z, leave_z = -oz * step_z - abs(hz * step_z), -oz * step_z + abs(hz * step_z)
        enter = max(enter_x, enter_y, enter_z)
        leave = min(leave_x, leave_y, leave_z)
        is_met = (enter > 0.0) & (enter < leave) & (enter < best[i])
        side = 4 if step_z > 0.0 else 5
        side = (2 if step_y > 0.0 else 3) if enter == enter_y else side
        side = (0 if step_x > 0.0 else 1) if enter == enter_x else side
        best[i] = enter if is_met else best[i]
        which[i] = p if is_met else which[i]
        face[i] = side if is_met else face[i]


@kernel
def _meet_room(rays, count, frames, room, hits):
    """Where nothing was met so far, put in the wall or floor that the ray leaves the room by."""
    xs, ys = rays
    best, which, face = hits
    p = frames.shape[0] - 1
    a, b, c = frames[p, 0], frames[p, 1], frames[p, 2]
    d, e, f = frames[p, 3], frames[p, 4], frames[p, 5]
    g, h, k = frames[p, 6], frames[p, 7], frames[p, 8]
    ox, oy, oz = frames[p, 9], frames[p, 10], frames[p, 11]
    length, width, height = room[0], room[1], room[2]
    for i in range(count):
        x, y = xs[i], ys[i]
        dx, dy, dz = a * x + b * y + c, d * x + e * y + f, g * x + h * y + k
        to_x = ((length if dx > 0.0 else 0.0) - ox) / dx
        to_y = ((width if dy > 0.0 else 0.0) - oy) / dy
        depth = min(to_x, to_y)
        side = (1 if dx > 0.0 else 0) if to_x < to_y else (3 if dy > 0.0 else 2)
        is_floor = oz + depth * dz < 0.0
        side = FLOOR if is_floor else side
        depth = -oz / dz if is_floor else depth
        is_met = (which[i] == NOTHING) & (depth > 0.0) & (oz + depth * dz <= height)
        best[i] = depth if is_met else best[i]
        which[i] = p if is_met else which[i]
        face[i] = side if is_met else face[i]


@inlined_kernel
def _grain(u, v, footprint, grain, size, levels):
    """The grain at (u, v), in texels of the finest level; about -1 to 1, bilinear, repeating.

    footprint: how many texels a pixel covers; it picks the level of the pyramid.
    """
    start, level = 0, 1
    while footprint > 1.5 and level < levels:
        footprint *= 0.5
        u *= 0.5
        v *= 0.5
        start += size * size
        size >>= 1
        level += 1
    fu, fv = math.floor(u), math.floor(v)
    a, b = u - fu, v - fv
    mask = size - 1
    i, j = int(fu) & mask, int(fv) & mask
    i2, j2 = (i + 1) & mask, (j + 1) & mask
    low, high = start + j * size, start + j2 * size
    top = grain[low + i] + a * (grain[low + i2] - grain[low + i])
    bottom = grain[high + i] + a * (grain[high + i2] - grain[high + i])
    return top + b * (bottom - top)


@kernel
def _shade_surface(rays, count, frames, p, pixels, hits, scene, value):
    """Write the reflected light where box p, or the room, is met.

    pixels: how many of them the rays are apart, for the sharpness of the grain.
    """
    xs, ys = rays
    best, which, face = hits
    bases, contrasts = scene.bases[p], scene.contrasts[p]
    a, b, c = frames[p, 0], frames[p, 1], frames[p, 2]
    d, e, f = frames[p, 3], frames[p, 4], frames[p, 5]
    g, h, k = frames[p, 6], frames[p, 7], frames[p, 8]
    ox, oy, oz = frames[p, 9], frames[p, 10], frames[p, 11]
    grain, size, levels = scene.grain, scene.grain_size, scene.grain_levels
    per_m, wide = scene.grain_per_m, scene.grain_per_m * scene.pixel_rad * pixels
    for i in range(count):
        if which[i] != p:
            continue
        x, y, depth, side = xs[i], ys[i], best[i], face[i]
        dx, dy, dz = a * x + b * y + c, d * x + e * y + f, g * x + h * y + k
        squared = x * x + y * y + 1.0
        if side < 2:
            u, v, steep = oy + depth * dy, oz + depth * dz, abs(dx)
        elif side < 4:
            u, v, steep = ox + depth * dx, oz + depth * dz, abs(dy)
        else:
            u, v, steep = ox + depth * dx, oy + depth * dy, abs(dz)
        footprint = wide * depth * squared / max(steep, STEEPEST)
        # each box and each of its faces shows another part of the grain
        u, v = per_m * u + 37.0 * p, per_m * v + 61.0 * side
        texel = _grain(u, v, footprint, grain, size, levels)
        value[i] = bases[side] * (1.0 + contrasts[side] * texel)


@kernel
def _shade_tag(rays, count, frames, p, hits, scene, value):
    """Write the reflected light where tag p is met; its face is 1 on white cells, 0 on black."""
    xs, ys = rays
    best, which, face = hits
    a, b, c = frames[p, 0], frames[p, 1], frames[p, 2]
    d, e, f = frames[p, 3], frames[p, 4], frames[p, 5]
    ox, oy = frames[p, 9], frames[p, 10]
    pictures, picture, cells = scene.pictures, scene.picture_of[p], scene.cell_counts[p]
    half, ink, paper = scene.halves[p, 0], scene.ink, scene.paper
    per_m = 0.5 * cells / half
    for i in range(count):
        if which[i] != p:
            continue
        x, y = xs[i], ys[i]
        depth = best[i] + TAG_AHEAD_M / math.sqrt(x * x + y * y + 1.0)
        best[i] = depth
        column = int((half + ox + depth * (a * x + b * y + c)) * per_m)
        row = int((half - oy - depth * (d * x + e * y + f)) * per_m)
        column, row = min(max(column, 0), cells - 1), min(max(row, 0), cells - 1)
        is_white = pictures[picture, row, column]
        value[i] = paper if is_white else ink
        face[i] = 1 if is_white else 0


@kernel
def _add_light(rays, count, frames, hits, scene, value):
    """Multiply values by the light there: partly from all around, partly from the lamp."""
    xs, ys = rays
    best, which, _ = hits
    p = frames.shape[0] - 1
    a, b, c = frames[p, 0], frames[p, 1], frames[p, 2]
    d, e, f = frames[p, 3], frames[p, 4], frames[p, 5]
    g, h, k = frames[p, 6], frames[p, 7], frames[p, 8]
    lamp, share = scene.lamp, scene.lamp_share
    ox, oy, oz = frames[p, 9] - lamp[0], frames[p, 10] - lamp[1], frames[p, 11] - lamp[2]
    reach = scene.lamp_reach_m * scene.lamp_reach_m
    for i in range(count):
        x, y, depth = xs[i], ys[i], best[i]
        ex = ox + depth * (a * x + b * y + c)
        ey = oy + depth * (d * x + e * y + f)
        ez = oz + depth * (g * x + h * y + k)
        light = 1.0 - share + share * reach / (reach + ex * ex + ey * ey + ez * ez)
        value[i] *= light if which[i] != NOTHING else 1.0


@kernel
def _add_glare(rays, count, frames, p, lamp, glare, hits, value):
    """Add the lamp's mirror image in the plane z = 0 of surface p; lamp (3,): in its frame.

    Of the room, whose frame is the last, the floor alone mirrors.
    """
    xs, ys = rays
    best, which, face = hits
    is_room = p == frames.shape[0] - 1
    a, b, c = frames[p, 0], frames[p, 1], frames[p, 2]
    d, e, f = frames[p, 3], frames[p, 4], frames[p, 5]
    g, h, k = frames[p, 6], frames[p, 7], frames[p, 8]
    ox, oy = frames[p, 9], frames[p, 10]
    if lamp[2] <= 0.0:
        return
    for i in range(count):
        if which[i] != p or (is_room and face[i] != FLOOR):
            continue
        x, y, depth = xs[i], ys[i], best[i]
        dx, dy, dz = a * x + b * y + c, d * x + e * y + f, g * x + h * y + k
        ex, ey = lamp[0] - ox - depth * dx, lamp[1] - oy - depth * dy
        lengths = (dx * dx + dy * dy + dz * dz) * (ex * ex + ey * ey + lamp[2] * lamp[2])
        cosine = (dx * ex + dy * ey - dz * lamp[2]) / math.sqrt(lengths)
        value[i] += glare * math.exp(GLOSS * (cosine - 1.0))


@kernel
def _meet_all(rays, count, frames, near, scene, hits):
    """Write what each ray meets first among the near surfaces and the room."""
    best, which, face = hits
    for i in range(count):
        best[i], which[i], face[i] = FAR, NOTHING, 0
    for n in range(near.shape[0]):
        p = near[n]
        if scene.cell_counts[p] > 0:
            _meet_tag(rays, count, frames, p, scene.halves[p, 0], hits)
        else:
            _meet_box(rays, count, frames, p, scene.halves, hits)
    if scene.has_room:
        _meet_room(rays, count, frames, scene.room, hits)


@kernel
def _glare_all(rays, count, frames, near, scene, hits, value):
    """Add the lamp's mirror image on the floor and on the near tags."""
    if scene.has_room:
        room = frames.shape[0] - 1
        _add_glare(rays, count, frames, room, scene.lamp, scene.glare, hits, value)
    for n in range(near.shape[0]):
        p = near[n]
        if scene.cell_counts[p] > 0:
            _add_glare(rays, count, frames, p, scene.lamp_in_tag[p], scene.glare, hits, value)


@kernel
def cast(rays, count, pixels, frames, near, scene, hits, value):
    """Write the light (count,) of what each ray meets first among the near surfaces and the room.

    Light is a share of what a surface that reflects everything gives in full light. pixels: how
    many of them the rays are apart. hits: (depth, surface, face) of what each ray met, (count,)
    each, which are written too; surface and face are the same for equal colours of a tag.
    """
    _meet_all(rays, count, frames, near, scene, hits)
    for i in range(count):
        value[i] = BACKDROP if scene.has_room else scene.backdrop
    if scene.has_room:
        _shade_surface(rays, count, frames, frames.shape[0] - 1, pixels, hits, scene, value)
    for n in range(near.shape[0]):
        p = near[n]
        if scene.cell_counts[p] > 0:
            _shade_tag(rays, count, frames, p, hits, scene, value)
        else:
            _shade_surface(rays, count, frames, p, pixels, hits, scene, value)
    if scene.lamp_share > 0.0:
        _add_light(rays, count, frames, hits, scene, value)
    if scene.glare > 0.0:
        _glare_all(rays, count, frames, near, scene, hits, value)
