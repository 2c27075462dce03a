"""Compiled: the probability that a shot goes in, by an integral.

Named tuples as in ``aim.compiled_shot``.
"""

import numpy as np

from posefuse.aim.compiled.rectangle import below, rectangle_share
from posefuse.aim.compiled.shot import (
    DEEP_M,
    ERRORS,
    miss_of_shot,
    miss_when_set,
    set_by_belief,
)
from posefuse.compiling import kernel

__all__ = ["hit_shares"]

SQRT_3 = 3.0**0.5
LOST_M = 100.0
STAND = 1.5
REACH = 4.0  # standard deviations of the distance error that are followed
PARTS = 41
LAST_BELIEVED = 6  # of the axes: what follows does not change what the robot sets


@kernel
def mirrored(rp, up, rm, um, r0, u0):
    """Both misses along an axis; one that never crosses the plane mirrors the other.

    Where neither crosses, an error of that size is a miss to either side.
    """
    if np.isnan(rp) and np.isnan(rm):
        return r0 + LOST_M, u0 + LOST_M, r0 - LOST_M, u0 - LOST_M
    if np.isnan(rp):
        return 2.0 * r0 - rm, 2.0 * u0 - um, rm, um
    if np.isnan(rm):
        return rp, up, 2.0 * r0 - rp, 2.0 * u0 - up
    return rp, up, rm, um


@kernel
def displace(mean, z, root, stds, k, errors):
    """Fill errors (ERRORS,) with the mean, z standard deviations along axis k; False for no axis.

    Axes 0 to 5 are the columns of root (6, 6), the others those of stds (4,).
    """
    is_there = False
    for row in range(6):
        along = root[row, k] if k < 6 else 0.0
        is_there = is_there or along != 0.0
        errors[row] = mean[row] + z * along
    for row in range(6, ERRORS):
        along = stds[row - 6] if k == row else 0.0
        is_there = is_there or along != 0.0
        errors[row] = z * along
    return is_there


@kernel
def expand_miss(state, mean, root, stds, thrower, opening, curve, law, moments):
    """Fill moments (5,): what all errors but the first axis of the estimate add to a miss.

    Shift of the mean to the right and up; variance right, covariance, variance up. Gives the miss
    without them, as ``miss_of_shot``. Second-order divided differences along the axes of the
    errors: M. Norgaard, N. K. Poulsen, O. Ravn, Automatica 36, 1627-1638, 2000.
    """
    x, y, vx, vy, w = state[0], state[1], state[2], state[3], state[4]
    errors = np.empty(ERRORS)
    displace(mean, 0.0, root, stds, 1, errors)
    heading, pivot = set_by_belief(x, y, vx, vy, w, errors, thrower, opening, curve, law)
    h0, p0 = heading, pivot
    r0, u0, right_limit, up_limit = miss_when_set(
        x, y, vx, vy, w, heading, pivot, errors, thrower, opening, law, DEEP_M
    )
    moments[:] = 0.0
    if np.isnan(r0):
        return r0, u0, right_limit, up_limit
    for k in range(1, ERRORS):
        if not displace(mean, SQRT_3, root, stds, k, errors):
            continue
        if k <= LAST_BELIEVED:
            h0, p0 = set_by_belief(x, y, vx, vy, w, errors, thrower, opening, curve, law)
        rp, up, _a, _b = miss_when_set(
            x, y, vx, vy, w, h0, p0, errors, thrower, opening, law, DEEP_M
        )
        displace(mean, -SQRT_3, root, stds, k, errors)
        if k <= LAST_BELIEVED:
            h0, p0 = set_by_belief(x, y, vx, vy, w, errors, thrower, opening, curve, law)
        rm, um, _a, _b = miss_when_set(
            x, y, vx, vy, w, h0, p0, errors, thrower, opening, law, DEEP_M
        )
        h0, p0 = heading, pivot
        rp, up, rm, um = mirrored(rp, up, rm, um, r0, u0)
        slope_r, slope_u = (rp - rm) / 12.0**0.5, (up - um) / 12.0**0.5
        bend_r, bend_u = (rp + rm - 2.0 * r0) / 6.0, (up + um - 2.0 * u0) / 6.0
        moments[0] += bend_r
        moments[1] += bend_u
        moments[2] += slope_r * slope_r + 2.0 * bend_r * bend_r
        moments[3] += slope_r * slope_u + 2.0 * bend_r * bend_u
        moments[4] += slope_u * slope_u + 2.0 * bend_u * bend_u
    return r0, u0, right_limit, up_limit


@kernel
def follow_first(state, mean, root, stds, thrower, opening, curve, law, path):
    """Fill path (PARTS, 4) with the misses along the first axis of the estimate's errors."""
    x, y, vx, vy, w = state[0], state[1], state[2], state[3], state[4]
    errors = np.empty(ERRORS)
    for part in range(PARTS):
        z = REACH * (2.0 * part / (PARTS - 1) - 1.0)
        displace(mean, z, root, stds, 0, errors)
        path[part, 0], path[part, 1], path[part, 2], path[part, 3] = miss_of_shot(
            x, y, vx, vy, w, errors, thrower, opening, curve, law, DEEP_M
        )


@kernel
def share_along(path, moments, breaks):
    """The hits along a path (PARTS, 4): each part's share, weighted by its share of the errors.

    A part stretches halfway to its neighbours, which the variance is widened by. moments (3, 5)
    stand at -STAND, 0 and STAND standard deviations, with straight lines between them.
    """
    width = 2.0 * REACH / (PARTS - 1)
    m = np.empty(5)
    total, below_before = 0.0, 0.0
    for part in range(PARTS):
        below_after = 1.0
        if part < PARTS - 1:
            below_after = below(width * (part + 0.5) - REACH)
        place = min(max((part * width - REACH) / STAND, -1.0), 1.0)
        for k in range(5):
            m[k] = moments[1, k] + abs(place) * (moments[2 if place > 0 else 0, k] - moments[1, k])
        first, last = max(part - 1, 0), min(part + 1, PARTS - 1)
        dr = (path[last, 0] - path[first, 0]) / (last - first)
        du = (path[last, 1] - path[first, 1]) / (last - first)
        if not abs(dr) + abs(du) < np.inf:  # a neighbour is lost
            dr, du = 0.0, 0.0
        share = rectangle_share(
            path[part, 0] + m[0],
            path[part, 1] + m[1],
            m[2] + dr * dr / 12.0,
            m[3] + dr * du / 12.0,
            m[4] + du * du / 12.0,
            path[part, 2],
            path[part, 3],
            breaks,
        )
        total += (below_after - below_before) * share
        below_before = below_after
    return total


@kernel
def hit_shares(states, means, roots, stds, thrower, opening, curve, law, shares):
    """Fill shares (n,): the probability that each shot goes in.

    The first axis of the estimate's errors, the distance, is followed part by part; where the piece
    crosses the opening otherwise spreads as a normal in the plane.

    Parameters
    ----------
    states : (n, 5) array
        True x, y, vx, vy, w as the piece leaves.
    means, roots : (n, 6), (n, 6, 6) arrays
        Of the estimate's error; ``root root'`` is its covariance.
    stds : (4,) array
        Delay, exit speed, side, pivot.
    """
    breaks, moments, path = np.empty(11), np.empty((3, 5)), np.empty((PARTS, 4))
    errors, moved = np.empty(ERRORS), np.empty(ERRORS)
    for i in range(states.shape[0]):
        state, mean, root = states[i], means[i], roots[i]
        if displace(mean, 0.0, root, stds, 0, errors):
            for k in range(3):
                displace(mean, STAND * (k - 1), root, stds, 0, moved)
                m = moments[k]
                expand_miss(state, moved[:6], root, stds, thrower, opening, curve, law, m)
            follow_first(state, mean, root, stds, thrower, opening, curve, law, path)
            shares[i] = share_along(path, moments, breaks)
        else:
            m = moments[0]
            r, u, right_limit, up_limit = expand_miss(
                state, mean, root, stds, thrower, opening, curve, law, m
            )
            r, u = r + m[0], u + m[1]
            shares[i] = rectangle_share(r, u, m[2], m[3], m[4], right_limit, up_limit, breaks)
