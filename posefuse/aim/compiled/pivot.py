"""Compiled: the two pivots whose flight passes through a point ahead, and how they change with it.

``thrower``, ``law`` and ``curve`` are ``Thrower``, ``LawTable`` and ``CurveTable`` of
``aim.arrays``. Flights stay in the upright plane of the throw: x ahead of the robot's middle, z up.
"""

import numpy as np

from posefuse.aim.arrays import PieceState, Plane
from posefuse.aim.compiled.flight import fly_to_plane
from posefuse.compiling import inlined_kernel, kernel

__all__ = ["look_up_pivot", "look_up_pivots", "release_point", "solve_arcs"]

BACKSPIN = (0.0, -1.0)
STEEPEST_RAD = 1.565  # a throw straight up comes down on the robot
SCAN_POINTS = 33
GOLDEN = 0.6180339887498949
PEAK_STEPS = 32  # the scan's spacing of 0.1 rad shrinks to 2e-8
ROOT_STEPS = 80
NOT_REACHED = -1e6
FAR_BELOW_M = 3.0  # flights are followed this far below the point (and below the floor)
NUDGE_RAD = 5e-4
CLOSE_M = 1e-4  # spin may turn a piece back: flights then end at the distance, above the point


@inlined_kernel
def release_point(pivot, thrower):
    """(forward, up) of the release in the robot."""
    c, s = np.cos(pivot), np.sin(pivot)
    return (
        thrower.axis_forward_m + c * thrower.arm_along_m - s * thrower.arm_above_m,
        thrower.axis_up_m + s * thrower.arm_along_m + c * thrower.arm_above_m,
    )


@kernel
def flight_ahead(pivot, ahead, height, thrower, law):
    """(t, z - height, vx, vz) at x = ahead; t is -1 where the flight ends before.

    The height error then says how far off in another way: the farther it came, the nearer to zero.
    """
    x, z = release_point(pivot, thrower)
    speed = thrower.speed_m_per_s
    piece = PieceState(x, 0.0, z, speed * np.cos(pivot), 0.0, speed * np.sin(pivot))
    plane = Plane(ahead, 0.0, height, -1.0, 0.0, 0.0)
    floor = min(height, 0.0) - FAR_BELOW_M
    t, piece = fly_to_plane(piece, BACKSPIN, plane, floor, law)
    if t < 0.0:
        return -1.0, NOT_REACHED + piece.x, piece.vx, piece.vz
    return t, piece.z - height, piece.vx, piece.vz


@kernel
def height_error(pivot, ahead, height, thrower, law):
    """How far above the point the flight passes; far below zero where it ends before."""
    return flight_ahead(pivot, ahead, height, thrower, law)[1]


@kernel
def highest_pass(a, b, ahead, height, thrower, law):
    """(pivot, height error) of the highest pass between a and b, or of the first above zero.

    Golden section: J. Kiefer, Proc. Am. Math. Soc. 4, 502-506, 1953.
    """
    p, q = b - GOLDEN * (b - a), a + GOLDEN * (b - a)
    fp = height_error(p, ahead, height, thrower, law)
    fq = height_error(q, ahead, height, thrower, law)
    for _ in range(PEAK_STEPS):
        if fp >= 0.0 or fq >= 0.0:
            break
        if fp > fq:
            b, q, fq = q, p, fp
            p = b - GOLDEN * (b - a)
            fp = height_error(p, ahead, height, thrower, law)
        else:
            a, p, fp = p, q, fq
            q = a + GOLDEN * (b - a)
            fq = height_error(q, ahead, height, thrower, law)
    return (p, fp) if fp > fq else (q, fq)


@kernel
def pass_through(below, above, f_below, f_above, ahead, height, thrower, law):
    """The pivot between one that passes below the point and one that passes above it.

    False position with the Illinois weight (M. Dowell, P. Jarratt, BIT 11, 168-174, 1971), halving
    as long as the lower flight does not arrive at all.
    """
    last = 0
    for _ in range(ROOT_STEPS):
        if f_below < 0.5 * NOT_REACHED:
            middle = 0.5 * (below + above)
        else:
            middle = (below * f_above - above * f_below) / (f_above - f_below)
        f = height_error(middle, ahead, height, thrower, law)
        if abs(f) < 1e-11 or abs(above - below) < 1e-14:
            return middle
        if f < 0.0:
            below, f_below = middle, f
            if last == -1:
                f_above *= 0.5
            last = -1
        else:
            above, f_above = middle, f
            if last == 1 and f_below > 0.5 * NOT_REACHED:
                f_below *= 0.5
            last = 1
    return 0.5 * (below + above)


@kernel
def both_pivots(ahead, height, thrower, law, heights):
    """(low, high) pivots whose flights pass through the point; nan where there are none.

    heights (SCAN_POINTS,) is scratch.
    """
    spacing = 2.0 * STEEPEST_RAD / (SCAN_POINTS - 1)
    best = 0
    for i in range(SCAN_POINTS):
        heights[i] = height_error(-STEEPEST_RAD + i * spacing, ahead, height, thrower, law)
        if heights[i] > heights[best]:
            best = i
    peak, f_peak = -STEEPEST_RAD + best * spacing, heights[best]
    if f_peak < 0.0:
        peak, f_peak = highest_pass(peak - spacing, peak + spacing, ahead, height, thrower, law)
        if f_peak < 0.0:
            return np.nan, np.nan
    left = best
    while left > 0 and heights[left] >= 0.0:
        left -= 1
    right = best
    while right < SCAN_POINTS - 1 and heights[right] >= 0.0:
        right += 1
    if heights[left] >= 0.0 or heights[right] >= 0.0:
        return np.nan, np.nan
    if left == best:  # the peak lies between the points of the scan
        left, right = best - 1, best + 1
    p_left, p_right = -STEEPEST_RAD + left * spacing, -STEEPEST_RAD + right * spacing
    f_left = height_error(p_left, ahead, height, thrower, law)
    f_right = height_error(p_right, ahead, height, thrower, law)
    return (
        pass_through(p_left, peak, f_left, f_peak, ahead, height, thrower, law),
        pass_through(p_right, peak, f_right, f_peak, ahead, height, thrower, law),
    )


@kernel
def solve_arcs(aheads, height, thrower, law, arcs):
    """Fill arcs (2, n, 6), the low and the high arc to points x = aheads (n,), z = height.

    Columns: pivot; its slope by x; time of flight; vx; vz at the point; height gained there for
    each radian of pivot. nan where the point is out of reach.
    """
    heights = np.empty(SCAN_POINTS)
    arcs[:] = np.nan
    for i in range(aheads.shape[0]):
        ahead = aheads[i]
        if not ahead > 0.0:
            continue
        pivots = both_pivots(ahead, height, thrower, law, heights)
        for arc in range(2):
            pivot = pivots[arc]
            if np.isnan(pivot):
                continue
            t, error, vx, vz = flight_ahead(pivot, ahead, height, thrower, law)
            if abs(error) > CLOSE_M:
                continue
            above = height_error(pivot + NUDGE_RAD, ahead, height, thrower, law)
            below = height_error(pivot - NUDGE_RAD, ahead, height, thrower, law)
            gain = (above - below) / (2.0 * NUDGE_RAD)
            arcs[arc, i, 0] = pivot
            arcs[arc, i, 1] = -vz / vx / gain
            arcs[arc, i, 2] = t
            arcs[arc, i, 3] = vx
            arcs[arc, i, 4] = vz
            arcs[arc, i, 5] = gain


@kernel
def look_up_pivot(distance, curve):
    """The pivot of a curve at a distance; beyond its ends that of the nearer end."""
    d = curve.distances_m
    last = d.shape[0] - 1
    if distance <= d[0]:
        return curve.pivots_rad[0]
    if distance >= d[last]:
        return curve.pivots_rad[last]
    low, high = 0, last
    while high - low > 1:
        middle = (low + high) // 2
        if d[middle] <= distance:
            low = middle
        else:
            high = middle
    width = d[high] - d[low]
    s = (distance - d[low]) / width
    p0, p1 = curve.pivots_rad[low], curve.pivots_rad[high]
    m0, m1 = width * curve.slopes[low, 0], width * curve.slopes[low, 1]
    # cubic Hermite: G. Farin, Curves and Surfaces for CAGD, 5th ed. 2002, sec. 7.5
    r = 1.0 - s
    return r * r * ((1.0 + 2.0 * s) * p0 + s * m0) + s * s * ((3.0 - 2.0 * s) * p1 - r * m1)


@kernel
def look_up_pivots(distances, curve, pivots):
    """Fill pivots (n,) by ``look_up_pivot`` at distances (n,); nan beyond the curve's ends."""
    first, last = curve.distances_m[0], curve.distances_m[curve.distances_m.shape[0] - 1]
    for i in range(distances.shape[0]):
        inside = first <= distances[i] <= last
        pivots[i] = look_up_pivot(distances[i], curve) if inside else np.nan
