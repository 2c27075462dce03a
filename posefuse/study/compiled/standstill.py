"""Compiled: what a filter's error comes to after a standstill.

At rest nothing moves between the frames, so that n frames of each kind are fused in one. The joint
information about the pose and the constants that the filter does not take for exact, with J and T
the slopes of what is measured by both, R the believed covariance, J0 the prior's information and D
the believed variances of the constants::

    A = J0 + sum n J' R^-1 J      B = sum n J' R^-1 T      C = D^-1 + sum n T' R^-1 T

gives the best linear estimate of the pose, the constants taken out by M = B C^-1. It weighs a
measurement by ``g = (J - T M')' R^-1``, and the covariance that it states is ``P = (A - M B')^-1``.
Its error, with the true covariance Rt, the true spread s and the slopes t of each constant (of
those taken for exact, too) and the bias b of what is measured::

    P (J0 + sum n g Rt g' + sum s^2 (sum n g t)(sum n g t)' + (sum n g b)(sum n g b)') P

White noise grows with n, what persists at rest and constants with n^2: they do not average. Where
all constants are taken for exact M is nothing. What the robot knows beforehand is taken as
consistent and as free of these constants. Sources: P. S. Maybeck, Stochastic Models, Estimation,
and Control, vol. 1, 1979, ch. 6; S. F. Schmidt, 1966 (both from memory).
"""

import numpy as np

from posefuse.compiling import kernel
from posefuse.geometry.compiled.symmetric import factor
from posefuse.solving.compiled.frame_sums import SIGHTING_CONSTANTS, pose_columns
from posefuse.study.compiled.still_errors import add_column, add_errors, write_cov, write_pulls
from posefuse.study.compiled.still_slopes import (
    add_corners,
    add_solved_pose,
    write_levers,
    write_sightings,
)

__all__ = ["write_standstill_covs"]


@kernel
def _assign_places(room, sightings, believed, place_of, held):
    """Give each constant that is met and not taken for exact a place; how many there are.

    place_of (p,) and held (p,): place of a constant, and constant of a place.
    """
    size = 0
    for k in range(sightings):
        for j in range(SIGHTING_CONSTANTS):
            constant = room.constant[k, j]
            if believed[constant] > 0.0 and place_of[constant] < 0:
                place_of[constant], held[size] = size, constant
                size += 1
    return size


@kernel
def _clear_table(table, held, believed, size, prior_information):
    """Set the table's lower half to what is known beforehand."""
    for i in range(size + 3):
        for j in range(i):
            table[i, j] = 0.0
        if i < size:
            table[i, i] = believed[held[i]] ** -2.0
        else:
            table[i, i] = prior_information[i - size]


@kernel
def _write_shares(table, size, shares, information):
    """Write M (3, size) and the lower half of P^-1 (3, 3) from the joint information's factor."""
    for i in range(3):
        for j in range(size - 1, -1, -1):
            total = table[size + i, j]
            for k in range(j + 1, size):
                total -= shares[i, k] * table[k, j]
            shares[i, j] = total / table[j, j]
        for j in range(i + 1):
            total = 0.0
            for k in range(j + 1):
                total += table[size + i, size + k] * table[size + j, size + k]
            information[i, j] = total


@kernel
def _learn(frames, which, columns, room, place_of, size, table):
    """Add what so many frames say to the joint information; False where nothing can be said."""
    if len(columns) == 3:
        add_corners(frames, which, room, place_of, size, table)
        return True
    root = np.empty((3, 3))
    is_known = write_levers(frames, which[0], columns, which[1], room, root)
    if is_known:
        add_solved_pose(frames, which, room, root, place_of, size, table)
    return is_known


@kernel
def _clear_errors(prior_information, noise, pulled, off):
    """Set what pulls the pose off to what the prior does."""
    for i in range(3):
        off[i] = 0.0
        for j in range(i):
            noise[i, j] = 0.0
        noise[i, i] = prior_information[i]
    for constant in range(len(pulled)):
        for i in range(3):
            pulled[constant, i] = 0.0


@kernel
def write_standstill_covs(order, frames, views, scene, is_solved, known, room, covs):
    """Write the mean square error (n, 3, 3) of the estimate at each of n places.

    Parameters
    ----------
    order : tuple of first (n + 1,), first_tag, first_lean
        Where each place's frames begin; where the constants of tags and chassis stand.
    frames, views, room
        ``StillFrames``, ``SeenTags`` and ``StillRoom`` of ``study.linear_frames``.
    scene : tuple of ``LinearCameras`` and ``LinearTags``
    is_solved
        Each frame is fused as one solved pose, else as its corners.
    known : tuple of prior_information (3,), believed (p,), true (p,)
        Of x, y and heading on arrival; spreads of the constants, zero where the filter takes them
        for exact, and those that they have.
    """
    first, first_tag, first_lean = order
    prior_information, believed, true = known
    cameras, tags = scene
    firsts, columns = (first_tag, first_lean), pose_columns(is_solved)
    place_of, held = np.full(len(believed), -1, np.int64), np.empty(len(believed), np.int64)
    unknown = 0
    for constant in range(len(believed)):
        unknown += believed[constant] > 0.0
    table, shares = np.empty((unknown + 3, unknown + 3)), np.empty((3, unknown))
    counts, information, noise = np.empty(len(cameras.rotation)), np.empty((3, 3)), np.empty((3, 3))
    pulled, off = np.empty((len(believed), 3)), np.empty(3)
    for place in range(len(covs)):
        begin, seen = first[place], 0
        for f in range(begin, first[place + 1]):
            is_ahead = write_sightings(f, frames, views, cameras, tags, firsts, seen, room)
            counts[f - begin] = frames.fused[f] if is_ahead else 0.0
            seen += frames.tag_count[f]
        size = _assign_places(room, seen, believed, place_of, held)
        _clear_table(table, held, believed, size, prior_information)
        seen = 0
        for f in range(begin, first[place + 1]):
            which = (f, seen, counts[f - begin])
            if which[2] > 0.0 and not _learn(frames, which, columns, room, place_of, size, table):
                counts[f - begin] = 0.0
            seen += frames.tag_count[f]
        factor(table, size + 3)
        _write_shares(table, size, shares, information)
        _clear_errors(prior_information, noise, pulled, off)
        seen = 0
        for f in range(begin, first[place + 1]):
            if counts[f - begin] > 0.0:
                which = (f, seen, counts[f - begin])
                write_pulls(frames, which, is_solved, room, place_of, shares)
                add_errors(frames, which, views, room, noise, pulled, off)
            seen += frames.tag_count[f]
        add_column(noise, off[0], off[1], off[2])
        for constant in range(len(true)):
            std = true[constant]
            x, y, h = pulled[constant, 0], pulled[constant, 1], pulled[constant, 2]
            add_column(noise, std * x, std * y, std * h)
        write_cov(information, noise, covs[place])
        for j in range(size):
            place_of[held[j]] = -1
