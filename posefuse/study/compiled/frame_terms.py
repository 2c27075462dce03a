"""Compiled: what each frame does to the filter and what pulls it off, to first order.

For a frame with rows H (pose) and T (constants), believed covariance R and true covariance Rt, as
seen from the odometry row that the frame belongs to::

    A = H' R^-1 H        B = H' R^-1 T        C = H' R^-1 Rt R^-1 H        k = H' R^-1 b

b is what is off without any chance in it: the detector's bias, the lean of an accelerating chassis,
a knocked mount, a frame taken for a current one. C stands for white noise; ``persistent`` is the
same for scatter that stays while corners stay on their pixels, ``repeats`` the share of a frame's
corners for which that is so. A solved pose is the least-squares solution over the camera's six
degrees of freedom, (J'J)^-1 J'. Either way a frame is summed up as J'J, J'T, J'b, J' Rt J first
(J: px by pose; six columns or three), and a gain leads from there to the row's information.
Sources: P. S. Maybeck, Stochastic Models, Estimation, and Control, vol. 1, 1979, ch. 6; S. F.
Schmidt, 1966 (both from memory).
"""

import math

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.geometry.compiled.symmetric import inverse_of
from posefuse.sensing.compiled.bias import add_bias
from posefuse.solving.compiled.frame_sums import (
    FREE,
    OWN_COLUMNS,
    TAG_COLUMNS,
    add_products,
    add_square,
    inverse_rows,
    pose_columns,
)
from posefuse.solving.compiled.slopes import COLUMNS, LEAN, OWN, TAG, corner_slopes

__all__ = ["write_frame_terms", "write_pose_weight"]


@inlined_kernel
def _add_offset(slopes, root, rows, pixels, biased_pixels, offset, off):
    """Add J'b of a sighting to off (m,): bias of the detector, knock of the mount, lean.

    root: of the sighting's weight, which is in its slopes already. offset (5,): pan, tilt and roll
    of the mount, roll and pitch of the chassis.
    """
    for q in range(8):
        biased = root * (biased_pixels[0, q >> 1, q & 1] - pixels[q >> 1, q & 1])
        for j in range(3):
            biased += slopes[q, OWN + j] * offset[j]
        for j in range(2):
            biased += slopes[q, LEAN + j] * offset[3 + j]
        for i in range(len(rows)):
            off[i] += slopes[q, rows[i]] * biased


@inlined_kernel
def _repeated(pixels, cells, eye, n):
    """How many corners lie on the pixel they were on last; writes where they are now."""
    repeated = 0
    for k in range(4):
        u, v = math.floor(pixels[k, 0] + 0.5), math.floor(pixels[k, 1] + 0.5)
        if cells[eye, n, k, 0] == u and cells[eye, n, k, 1] == v:
            repeated += 1
        cells[eye, n, k, 0], cells[eye, n, k, 1] = u, v
    return repeated


@kernel
def _add_noise(slopes, rows, views, s, noise):
    """Add J' Rt J of a sighting to noise[0] (white part) and noise[1] (persistent part).

    On each axis Rt = std^2 [(1 - r) I + r 11'] over the four corners.
    """
    r, share = views.shared_fraction[s], views.persistent_fraction[s]
    variance = views.std_px[s] * views.std_px[s]
    for i in range(len(rows)):
        for j in range(i + 1):
            own = left_u = left_v = right_u = right_v = 0.0
            for k in range(4):
                u, v = slopes[2 * k, rows[i]], slopes[2 * k + 1, rows[i]]
                x, y = slopes[2 * k, rows[j]], slopes[2 * k + 1, rows[j]]
                own += u * x + v * y
                left_u, left_v = left_u + u, left_v + v
                right_u, right_v = right_u + x, right_v + y
            total = variance * ((1.0 - r) * own + r * (left_u * right_u + left_v * right_v))
            noise[0, i, j] += (1.0 - share) * total
            noise[1, i, j] += share * total
            if i != j:
                noise[0, j, i], noise[1, j, i] = noise[0, i, j], noise[1, i, j]


@kernel
def _sum_frame(frames, f, views, cameras, tags, rows, sums, cells):
    """Sum up a frame: the share of corners that stayed on their pixel, -1 if one is not ahead.

    A tag that is found in a share of such frames counts by that share, as a weight. sums: J'J
    (m, m), J'T of the mount and the chassis (m, 13), J'T of each of its tags (n, m, 7), J'b (m,),
    J' Rt J white and persistent (2, m, m). cells (C, T, 4, 2): pixels of the corners.
    """
    square, own, of_tag, off, noise = sums
    slopes, pixels, biased = np.empty((8, COLUMNS)), np.empty((4, 2)), np.empty((1, 4, 2))
    square[:], own[:], off[:], noise[:] = 0.0, 0.0, 0.0, 0.0
    size, eye, repeated = len(rows), frames.eye[f], 0
    for place in range(frames.tag_count[f]):
        s = frames.first[f] + place
        pose, velocity = frames.pose[f], frames.velocity[f]
        if not corner_slopes(cameras, eye, tags, views.tag[s], pose, velocity, slopes, pixels):
            return -1.0
        for k in range(4):
            biased[0, k, 0], biased[0, k, 1] = pixels[k, 0], pixels[k, 1]
        closer, shift = (views.inward_px[s], views.narrowing_px[s]), views.shift_px[s]
        add_bias(biased, 0, closer, (shift[0], shift[1]))
        repeated += _repeated(biased[0], cells, eye, views.tag[s])
        root = math.sqrt(views.share[s])
        if root < 1.0:
            for q in range(8):
                for column in range(COLUMNS):
                    slopes[q, column] *= root
        add_square(slopes, rows, square)
        add_products(slopes, rows, OWN, own)
        of_tag[place] = 0.0
        add_products(slopes, rows, TAG, of_tag[place])
        _add_offset(slopes, root, rows, pixels, biased, frames.tilted[f], off)
        _add_noise(slopes, rows, views, s, noise)
    for i in range(size):
        for j in range(3):
            off[i] += square[i, j] * frames.lateness[f, j]
    return repeated / (4.0 * frames.tag_count[f])


@kernel
def write_pose_weight(inverse, pixel_var, extra, weight):
    """Write R^-1 (3, 3) of a solved pose, R = pixel_var (J'J)^-1 + diag(extra)."""
    xx, yy = pixel_var * inverse[0, 0] + extra[0], pixel_var * inverse[1, 1] + extra[0]
    hh = pixel_var * inverse[2, 2] + extra[1]
    xy, xh, yh = pixel_var * inverse[0, 1], pixel_var * inverse[0, 2], pixel_var * inverse[1, 2]
    wxx, wxy, wxh, wyy, wyh, whh = inverse_of(xx, xy, xh, yy, yh, hh)
    weight[0, 0], weight[0, 1], weight[0, 2] = wxx, wxy, wxh
    weight[1, 0], weight[1, 1], weight[1, 2] = wxy, wyy, wyh
    weight[2, 0], weight[2, 1], weight[2, 2] = wxh, wyh, whh


@inlined_kernel
def _to_row(offset, heading, back):
    """Write H (3, 3): the pose at the capture by the pose at the row before an offset motion."""
    c, s = math.cos(heading), math.sin(heading)
    back[:] = 0.0
    back[0, 0] = back[1, 1] = back[2, 2] = 1.0
    back[0, 2] = -(s * offset[0] + c * offset[1])
    back[1, 2] = c * offset[0] - s * offset[1]


@kernel
def _multiply(left, right, product):
    """Write left (a, b) times right (b, c)."""
    for i in range(left.shape[0]):
        for j in range(right.shape[1]):
            total = 0.0
            for k in range(left.shape[1]):
                total += left[i, k] * right[k, j]
            product[i, j] = total


@kernel
def _gain(frames, f, square, back, is_solved, gain):
    """Write what leads from J' to the row's information, (3, m); False where no pose is solved.

    back' R^-1 (J'J)^-1, its first three rows, for a solved pose; back' / variance for corners.
    """
    if not is_solved:
        for i in range(3):
            for j in range(3):
                gain[i, j] = back[j, i] / frames.pixel_var[f]
        return True
    inverse, weight, lever = np.empty((3, FREE)), np.empty((3, 3)), np.empty((3, 3))
    if not inverse_rows(square, inverse):
        return False
    write_pose_weight(inverse, frames.pixel_var[f], frames.extra_var[f], weight)
    _multiply(back.T, weight, lever)
    _multiply(lever, inverse, gain)
    return True


@kernel
def _sandwich(gain, middle, result):
    """Write gain (3, m) middle (m, m) gain' into result (3, 3)."""
    size = gain.shape[1]
    for i in range(3):
        for j in range(3):
            total = 0.0
            for a in range(size):
                for b in range(size):
                    total += gain[i, a] * middle[a, b] * gain[j, b]
            result[i, j] = total


@kernel
def write_frame_terms(frames, views, cameras, tags, is_solved, terms):
    """Write the terms of every frame.

    ``frames``, ``views`` and ``terms`` are ``FusedFrames``, ``SeenTags`` and ``FrameTerms`` of
    ``study.linear_frames``; frames stand in the order in which they are fused. is_solved: each
    frame is fused as one solved pose, else as its corners.
    """
    rows = pose_columns(is_solved)
    size = len(rows)
    square, own = np.empty((size, size)), np.empty((size, OWN_COLUMNS))
    of_tag = np.empty((len(tags.centres_m), size, TAG_COLUMNS))
    off, noise = np.empty(size), np.empty((2, size, size))
    back, gain = np.empty((3, 3)), np.empty((3, size))
    pull, lever = np.empty((size, 3)), np.empty((size, 3))
    cells = np.full((len(cameras.rotation), len(tags.centres_m), 4, 2), -1e9)
    for f in range(len(frames.eye)):
        first, count = frames.first[f], frames.tag_count[f]
        sums = (square, own, of_tag, off, noise)
        terms.repeats[f] = _sum_frame(frames, f, views, cameras, tags, rows, sums, cells)
        for i in range(size):
            for j in range(3):
                pull[i, j] = square[i, j]
        _to_row(frames.offset[f], frames.row_heading[f], back)
        if not (terms.repeats[f] >= 0.0 and _gain(frames, f, square, back, is_solved, gain)):
            terms.information[f], terms.white[f], terms.persistent[f] = 0.0, 0.0, 0.0
            terms.known[f], terms.of_own[f] = 0.0, 0.0
            terms.of_tag[first : first + count] = 0.0
            continue
        _multiply(pull, back, lever)
        _multiply(gain, lever, terms.information[f])
        _multiply(gain, own, terms.of_own[f])
        for place in range(count):
            _multiply(gain, of_tag[place], terms.of_tag[first + place])
        _sandwich(gain, noise[0], terms.white[f])
        _sandwich(gain, noise[1], terms.persistent[f])
        for i in range(3):
            total = 0.0
            for a in range(size):
                total += gain[i, a] * off[a]
            terms.known[f, i] = total
