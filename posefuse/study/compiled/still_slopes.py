"""Compiled: what is seen in a frame at a standstill, and what a filter makes of it.

J and T are the slopes (px) of the corners by the pose on the floor and by constants of the build.
A frame enters the joint information about both as ``E'E``: E the slopes of its corners, each
divided by its believed spread; or of the pose solved from them, ``L' (J6'J6)^-1 J6'`` times the
slopes, with J6 the slopes by six degrees of freedom and ``L L'`` the inverse of the pose's believed
covariance. A tag that is found in a share of the frames counts by that share, as a weight.
"""

import math

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.sensing.compiled.bias import add_bias
from posefuse.solving.compiled.frame_sums import (
    FREE,
    OWN_COLUMNS,
    SIGHTING_CONSTANTS,
    TAG_COLUMNS,
    add_square,
    inverse_rows,
)
from posefuse.solving.compiled.slopes import COLUMNS, LEAN, OWN, corner_slopes
from posefuse.study.compiled.frame_terms import write_pose_weight
from posefuse.study.compiled.roots import lower_root

__all__ = ["add_corners", "add_solved_pose", "write_levers", "write_sightings"]


@inlined_kernel
def _write_constants(eye, tag, firsts, constant):
    """Write where the constants of a sighting stand in the row of all, (SIGHTING_CONSTANTS,)."""
    first_tag, first_lean = firsts
    own = LEAN - OWN
    for j in range(own):
        constant[j] = eye * own + j
    for j in range(OWN_COLUMNS - own):
        constant[own + j] = first_lean + j
    for j in range(TAG_COLUMNS):
        constant[OWN_COLUMNS + j] = first_tag + TAG_COLUMNS * tag + j


@kernel
def write_sightings(f, frames, views, cameras, tags, firsts, at, room):
    """Write slopes, bias and constants of a frame's sightings from place ``at`` of the room on.

    False if a tag is not ahead of its camera. Slopes and bias are those by the root of the share in
    which the tag is found.
    """
    still, pixels, biased = np.zeros(3), np.empty((4, 2)), np.empty((1, 4, 2))
    eye = frames.eye[f]
    for k in range(frames.tag_count[f]):
        s = frames.first[f] + k
        slopes = room.slopes[at + k]
        pose, tag = frames.pose[f], views.tag[s]
        if not corner_slopes(cameras, eye, tags, tag, pose, still, slopes, pixels):
            return False
        for i in range(4):
            biased[0, i, 0], biased[0, i, 1] = pixels[i, 0], pixels[i, 1]
        shift = views.shift_px[s]
        add_bias(biased, 0, (views.inward_px[s], views.narrowing_px[s]), (shift[0], shift[1]))
        root = math.sqrt(views.share[s])
        for q in range(8):
            room.bias[at + k, q] = root * (biased[0, q >> 1, q & 1] - pixels[q >> 1, q & 1])
            for column in range(COLUMNS):
                slopes[q, column] *= root
        _write_constants(eye, tag, firsts, room.constant[at + k])
    return True


@kernel
def write_levers(frames, f, columns, at, room, root):
    """Write L' (J6'J6)^-1 J6', the weight of each corner in the pose solved (tags, 8, 3).

    Writes L to root (3, 3), too; False where no pose is solved.
    """
    square, inverse = np.zeros((FREE, FREE)), np.empty((3, FREE))
    weight, whitened = np.empty((3, 3)), np.empty((3, FREE))
    for k in range(at, at + frames.tag_count[f]):
        add_square(room.slopes[k], columns, square)
    if not inverse_rows(square, inverse):
        return False
    write_pose_weight(inverse, frames.pixel_var[f], frames.extra_var[f], weight)
    lower_root(weight, root)
    for i in range(3):
        for j in range(FREE):
            whitened[i, j] = (
                root[0, i] * inverse[0, j] + root[1, i] * inverse[1, j] + root[2, i] * inverse[2, j]
            )
    for k in range(at, at + frames.tag_count[f]):
        for q in range(8):
            for i in range(3):
                total = 0.0
                for j in range(FREE):
                    total += whitened[i, j] * room.slopes[k, q, columns[j]]
                room.lever[k, q, i] = total
    return True


@inlined_kernel
def _add_rows(table, rows, places, weight):
    """Add weight times E'E to the table's lower half; places: where columns stand, -1: nowhere."""
    for i in range(len(places)):
        to = places[i]
        if to < 0:
            continue
        for j in range(len(places)):
            place = places[j]
            if place < 0 or place > to:
                continue
            total = 0.0
            for q in range(rows.shape[0]):
                total += rows[q, i] * rows[q, j]
            table[to, place] += weight * total


@kernel
def add_corners(frames, which, room, place_of, size, table):
    """Add what so many frames say to the joint information: the corners of each tag.

    which: frame, place of its first sighting in the room, how many frames like it. place_of: where
    each constant stands in the table, -1 for what is known; the pose stands behind them, from
    ``size`` on.
    """
    f, at, count = which
    places = np.full(COLUMNS, -1, np.int64)
    for i in range(3):
        places[i] = size + i
    for k in range(at, at + frames.tag_count[f]):
        for j in range(SIGHTING_CONSTANTS):
            places[OWN + j] = place_of[room.constant[k, j]]
        _add_rows(table, room.slopes[k], places, count / frames.pixel_var[f])


@kernel
def add_solved_pose(frames, which, room, root, place_of, size, table):
    """Add what so many frames say to the joint information: the pose solved from all their tags.

    As ``add_corners``; root: L of ``write_levers``.
    """
    f, at, count = which
    seen = frames.tag_count[f]
    columns = 3 + OWN_COLUMNS + TAG_COLUMNS * seen
    rows, places = np.zeros((3, columns)), np.full(columns, -1, np.int64)
    for i in range(3):
        places[i] = size + i
        for j in range(3):
            rows[j, i] = root[i, j]
    for k in range(seen):
        for j in range(SIGHTING_CONSTANTS):
            column = 3 + j + (TAG_COLUMNS * k if j >= OWN_COLUMNS else 0)
            places[column] = place_of[room.constant[at + k, j]]
            if places[column] < 0:
                continue
            for q in range(8):
                slope = room.slopes[at + k, q, OWN + j]
                for i in range(3):
                    rows[i, column] += room.lever[at + k, q, i] * slope
    _add_rows(table, rows, places, count)
