"""Compiled: how strongly a standstill's filter weighs each corner, and what errs by that.

g, the constants taken out, and the error's parts are those of ``study.compiled.standstill``.
"""

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.geometry.compiled.symmetric import inverse_of
from posefuse.solving.compiled.frame_sums import SIGHTING_CONSTANTS
from posefuse.solving.compiled.slopes import OWN

__all__ = ["add_column", "add_errors", "write_cov", "write_pulls"]


@kernel
def write_pulls(frames, which, is_solved, room, place_of, shares):
    """Write g of each corner of a frame, (tags, 8, 3).

    which: frame, place of its first sighting in the room, how many frames like it.
    """
    f, at, _ = which
    taken, middle, rest = room.pull, np.zeros((3, 3)), np.empty(3)
    for k in range(at, at + frames.tag_count[f]):
        for q in range(8):
            for i in range(3):
                taken[k, q, i] = room.slopes[k, q, i]
            for j in range(SIGHTING_CONSTANTS):
                place = place_of[room.constant[k, j]]
                if place >= 0:
                    for i in range(3):
                        taken[k, q, i] -= shares[i, place] * room.slopes[k, q, OWN + j]
            for i in range(3):
                if is_solved:
                    for j in range(3):
                        middle[i, j] += taken[k, q, i] * room.lever[k, q, j]
                else:
                    taken[k, q, i] /= frames.pixel_var[f]
    if not is_solved:
        return
    for k in range(at, at + frames.tag_count[f]):
        for q in range(8):
            for i in range(3):
                rest[i] = 0.0
                for j in range(3):
                    rest[i] += middle[i, j] * room.lever[k, q, j]
            for i in range(3):
                room.pull[k, q, i] = rest[i]


@kernel
def _add_noise(pull, count, s, views, noise):
    """Add what the scatter of a sighting does in so many frames to the lower half of noise (3, 3).

    On each axis Rt = std^2 [(1 - r) I + r 11'] over the four corners; a part of it persists.
    """
    r, persistent = views.shared_fraction[s], views.persistent_fraction[s]
    # the part that persists is there in all the frames in which the tag is found
    frames = (1.0 - persistent) + persistent * count * views.share[s]
    variance = count * frames * views.std_px[s] * views.std_px[s]
    for i in range(3):
        for j in range(i + 1):
            own = left_u = left_v = right_u = right_v = 0.0
            for k in range(4):
                u, v = pull[2 * k, i], pull[2 * k + 1, i]
                x, y = pull[2 * k, j], pull[2 * k + 1, j]
                own += u * x + v * y
                left_u, left_v = left_u + u, left_v + v
                right_u, right_v = right_u + x, right_v + y
            together = left_u * right_u + left_v * right_v
            noise[i, j] += variance * ((1.0 - r) * own + r * together)


@inlined_kernel
def _add_pulled(room, k, count, pulled, off):
    """Add what constants (p, 3), each by one unit, and bias (3,) of a sighting do to the pose."""
    for j in range(SIGHTING_CONSTANTS):
        constant = room.constant[k, j]
        for q in range(8):
            slope = count * room.slopes[k, q, OWN + j]
            for i in range(3):
                pulled[constant, i] += slope * room.pull[k, q, i]
    for q in range(8):
        for i in range(3):
            off[i] += count * room.bias[k, q] * room.pull[k, q, i]


@kernel
def add_errors(frames, which, views, room, noise, pulled, off):
    """Add what noise (3, 3), constants (p, 3) and bias (3,) of so many frames do to the pose."""
    f, at, count = which
    for k in range(frames.tag_count[f]):
        _add_noise(room.pull[at + k], count, frames.first[f] + k, views, noise)
        _add_pulled(room, at + k, count, pulled, off)


@inlined_kernel
def add_column(noise, x, y, h):
    """Add the column's product with itself to noise (3, 3), its lower half alone."""
    noise[0, 0] += x * x
    noise[1, 0] += y * x
    noise[1, 1] += y * y
    noise[2, 0] += h * x
    noise[2, 1] += h * y
    noise[2, 2] += h * h


@kernel
def write_cov(information, noise, cov):
    """Write P noise P (3, 3), P the inverse of the information; of both the lower half is read."""
    half, inverse = np.empty((3, 3)), np.empty((3, 3))
    xx, xy, xh, yy, yh, hh = inverse_of(
        information[0, 0],
        information[1, 0],
        information[2, 0],
        information[1, 1],
        information[2, 1],
        information[2, 2],
    )
    inverse[0, 0], inverse[0, 1], inverse[0, 2] = xx, xy, xh
    inverse[1, 0], inverse[1, 1], inverse[1, 2] = xy, yy, yh
    inverse[2, 0], inverse[2, 1], inverse[2, 2] = xh, yh, hh
    noise[0, 1], noise[0, 2], noise[1, 2] = noise[1, 0], noise[2, 0], noise[2, 1]
    for i in range(3):
        for j in range(3):
            total = 0.0
            for k in range(3):
                total += inverse[i, k] * noise[k, j]
            half[i, j] = total
    for i in range(3):
        for j in range(i + 1):
            total = 0.0
            for k in range(3):
                total += half[i, k] * inverse[k, j]
            cov[i, j] = cov[j, i] = total
