"""Compiled: the probability that a shot goes in, by an integral.

Named tuples of ``aim.arrays``: ``aim`` is ``AimArrays``, ``robot`` is ``RobotState``, ``shots`` is
``ShotArrays``.
"""

import numpy as np

from posefuse.aim.compiled.rectangle import below, rectangle_share
from posefuse.aim.compiled.shot import (
    DEEP_M,
    ERRORS,
    miss_when_set,
    on_step,
    set_by_estimate,
    state_of,
)
from posefuse.compiling import kernel

__all__ = ["hit_shares"]

SQRT_3 = 3.0**0.5
LOST_M = 100.0
STAND = 1.5
REACH = 4.0  # standard deviations of the distance error that are followed
PARTS = 41
LAST_ESTIMATED = 6  # of the axes: what follows does not change what the robot sets
PIVOT = 3  # of the shooter's own spreads
CELL_REACH = 4.0  # standard deviations of the pivot wanted that are followed


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
def expand_miss(robot, mean, root, stds, aim, pivot_follows, moments):
    """Fill moments (6,): what all errors but the first axis of the estimate add to a miss.

    Shift of the mean to the right and up; variance right, covariance, variance up; variance of the
    pivot wanted. Gives the miss without them, of the pivot wanted. The pivot follows the errors of
    the estimate, or stays (the caller then counts its steps). Second-order divided differences
    along the axes of the errors: M. Norgaard, N. K. Poulsen, O. Ravn, Automatica 36, 1627-1638,
    2000.
    """
    errors = np.empty(ERRORS)
    displace(mean, 0.0, root, stds, 1, errors)
    heading, pivot = set_by_estimate(robot, errors, aim)
    h0, p0 = heading, pivot
    miss = miss_when_set(robot, heading, pivot, errors, aim, DEEP_M)
    r0, u0 = miss.right_m, miss.up_m
    moments[:] = 0.0
    if np.isnan(r0):
        return miss
    for k in range(1, ERRORS):
        if not displace(mean, SQRT_3, root, stds, k, errors):
            continue
        wanted = pivot
        if k <= LAST_ESTIMATED:
            h0, wanted = set_by_estimate(robot, errors, aim)
            p0 = wanted if pivot_follows else pivot
        plus = miss_when_set(robot, h0, p0, errors, aim, DEEP_M)
        displace(mean, -SQRT_3, root, stds, k, errors)
        if k <= LAST_ESTIMATED:
            h0, p0 = set_by_estimate(robot, errors, aim)
            moments[5] += (wanted - p0) ** 2 / 12.0
            p0 = p0 if pivot_follows else pivot
        minus = miss_when_set(robot, h0, p0, errors, aim, DEEP_M)
        h0, p0 = heading, pivot
        rp, up, rm, um = mirrored(plus.right_m, plus.up_m, minus.right_m, minus.up_m, r0, u0)
        slope_r, slope_u = (rp - rm) / 12.0**0.5, (up - um) / 12.0**0.5
        bend_r, bend_u = (rp + rm - 2.0 * r0) / 6.0, (up + um - 2.0 * u0) / 6.0
        moments[0] += bend_r
        moments[1] += bend_u
        moments[2] += slope_r * slope_r + 2.0 * bend_r * bend_r
        moments[3] += slope_r * slope_u + 2.0 * bend_r * bend_u
        moments[4] += slope_u * slope_u + 2.0 * bend_u * bend_u
    return miss


@kernel
def follow_first(robot, mean, root, stds, aim, path):
    """Fill path (PARTS, 6) with what happens along the first axis of the estimate's errors.

    The misses of the pivots wanted, then heading and pivot wanted.
    """
    errors = np.empty(ERRORS)
    for part in range(PARTS):
        z = REACH * (2.0 * part / (PARTS - 1) - 1.0)
        displace(mean, z, root, stds, 0, errors)
        heading, pivot = set_by_estimate(robot, errors, aim)
        path[part, 0], path[part, 1], path[part, 2], path[part, 3] = miss_when_set(
            robot, heading, pivot, errors, aim, DEEP_M
        )
        path[part, 4], path[part, 5] = heading, pivot


@kernel
def mean_below(x, first, last, std):
    """Share below x of a normal whose mean spreads evenly from first to last."""
    std = max(std, 1e-12)
    if abs(last - first) < 1e-3 * std:
        return below((x - 0.5 * (first + last)) / std)
    ends = ((x - first) / std, (x - last) / std)
    total = 0.0
    for k in range(2):
        t = ends[k]
        integral = t * below(t) + np.exp(-0.5 * t * t) / np.sqrt(2.0 * np.pi)
        total += integral if k == 0 else -integral
    return total * std / (last - first)


@kernel
def share_in_steps(robot, mean, heading, wanted, m, widened, aim, breaks):
    """The hits of a robot that wants a pivot and sets the steps around it.

    wanted: the pivot wanted spreads evenly from the first to the last of these (2,), and as a
    normal of the variance m[5]; m (6,): see ``expand_miss``; widened: more variance to the right.
    """
    step, half = aim.thrower.step_rad, 0.5 * aim.thrower.step_rad
    first, last = wanted
    std = np.sqrt(m[5])
    reach = CELL_REACH * std
    pivot = on_step(min(first, last) - reach, aim.thrower)
    end = on_step(max(first, last) + reach, aim.thrower)
    errors = np.zeros(ERRORS)
    for row in range(6):
        errors[row] = mean[row]
    total, before = 0.0, 0.0
    while True:
        is_last = pivot > end - half
        after = 1.0 if is_last else mean_below(pivot + half, first, last, std)
        if after - before > 1e-6:
            r, u, right_limit, up_limit = miss_when_set(robot, heading, pivot, errors, aim, DEEP_M)
            total += (after - before) * rectangle_share(
                r + m[0], u + m[1], m[2] + widened, m[3], m[4], right_limit, up_limit, breaks
            )
        before = after
        if is_last:
            return total
        pivot += step


@kernel
def moments_at(moments, z, m):
    """Fill m (6,): moments (3, 6) stand at -STAND, 0 and STAND; straight lines between them."""
    place = min(max(z / STAND, -1.0), 1.0)
    for k in range(6):
        m[k] = moments[1, k] + abs(place) * (moments[2 if place > 0 else 0, k] - moments[1, k])


@kernel
def share_along_in_steps(robot, mean, path, moments, aim, breaks):
    """``share_along`` of a pivot that is set in steps, wider than it scatters in one part."""
    width = 2.0 * REACH / (PARTS - 1)
    m = np.empty(6)
    total, below_before = 0.0, 0.0
    for part in range(PARTS):
        z = part * width - REACH
        below_after = below(z + 0.5 * width) if part < PARTS - 1 else 1.0
        moments_at(moments, z, m)
        first, last = max(part - 1, 0), min(part + 1, PARTS - 1)
        # the pivot as set does not follow: only the heading moves the miss within a part
        dr = (path[last, 0] - path[first, 0]) / (last - first)
        widened = dr * dr / 12.0 if abs(dr) < np.inf else 0.0
        wanted = (
            0.5 * (path[first, 5] + path[part, 5]),
            0.5 * (path[part, 5] + path[last, 5]),
        )
        share = share_in_steps(robot, mean, path[part, 4], wanted, m, widened, aim, breaks)
        total += (below_after - below_before) * share
        below_before = below_after
    return total


@kernel
def share_along(path, moments, breaks):
    """The hits along a path (PARTS, 6): each part's share, weighted by its share of the errors.

    A part stretches halfway to its neighbours, which the variance is widened by.
    """
    width = 2.0 * REACH / (PARTS - 1)
    m = np.empty(6)
    total, below_before = 0.0, 0.0
    for part in range(PARTS):
        below_after = 1.0
        if part < PARTS - 1:
            below_after = below(width * (part + 0.5) - REACH)
        moments_at(moments, part * width - REACH, m)
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
def share_of_followed(robot, mean, root, stds, aim, breaks):
    """The hits where the distance errs: followed part by part."""
    moments, path, moved = np.empty((3, 6)), np.empty((PARTS, 6)), np.empty(ERRORS)
    follow_first(robot, mean, root, stds, aim, path)
    step, middle = aim.thrower.step_rad, PARTS // 2
    spread = (path[middle + 1, 5] - path[middle - 1, 5]) ** 2 / 48.0
    if step > 0.0:
        expand_miss(robot, mean, root, stds, aim, True, moments[1])
        spread += moments[1, 5]
    in_steps = step * step > spread
    own = with_pivot_spread(stds, 0.0 if in_steps else step)
    for k in range(3):
        displace(mean, STAND * (k - 1), root, own, 0, moved)
        expand_miss(robot, moved[:6], root, own, aim, not in_steps, moments[k])
    if in_steps:
        return share_along_in_steps(robot, mean, path, moments, aim, breaks)
    return share_along(path, moments, breaks)


@kernel
def share_of_known_distance(robot, mean, root, stds, aim, breaks):
    """The hits where the distance does not err, or by a known error alone."""
    m, step, errors = np.empty(6), aim.thrower.step_rad, np.empty(ERRORS)
    r, u, right_limit, up_limit = expand_miss(robot, mean, root, stds, aim, True, m)
    if step > 0.0:
        in_steps = step * step > m[5]
        own = with_pivot_spread(stds, 0.0 if in_steps else step)
        r, u, right_limit, up_limit = expand_miss(robot, mean, root, own, aim, not in_steps, m)
        if in_steps:
            displace(mean, 0.0, root, own, 0, errors)
            heading, pivot = set_by_estimate(robot, errors, aim)
            return share_in_steps(robot, mean, heading, (pivot, pivot), m, 0.0, aim, breaks)
    r, u = r + m[0], u + m[1]
    return rectangle_share(r, u, m[2], m[3], m[4], right_limit, up_limit, breaks)


@kernel
def with_pivot_spread(stds, width):
    """The stds (4,) with a pivot that besides lies anywhere in a width."""
    wider = stds.copy()
    wider[PIVOT] = np.sqrt(stds[PIVOT] ** 2 + width * width / 12.0)
    return wider


@kernel
def hit_shares(shots, stds, aim, shares):
    """Fill shares (n,): the probability that each shot goes in.

    The first axis of the estimate's errors, the distance, is followed part by part; where the piece
    crosses the opening otherwise spreads as a normal in the plane. stds (4,): delay, exit speed,
    side, pivot. Steps of the pivot that are wider than what else spreads it are counted one by one.
    """
    breaks, errors = np.empty(11), np.empty(ERRORS)
    for i in range(shots.states.shape[0]):
        robot, mean, root = state_of(shots.states[i]), shots.means[i], shots.roots[i]
        if displace(mean, 0.0, root, stds, 0, errors):
            shares[i] = share_of_followed(robot, mean, root, stds, aim, breaks)
        else:
            shares[i] = share_of_known_distance(robot, mean, root, stds, aim, breaks)
