"""Compiled: one shot from what the robot believes to where the piece crosses the goal's opening.

``thrower`` and ``opening`` are the named tuples of ``aim.thrower``, ``curve`` is
``aim.curve.CurveTable``, ``law`` is ``aim.law.LawTable``. World frame; a robot's motion is (vx, vy)
in the world and its turn rate w.
"""

import numpy as np

from posefuse.aim.compiled.flight import fly_to_plane
from posefuse.aim.compiled.pivot import look_up_pivot, release_point
from posefuse.compiling import kernel

__all__ = [
    "DEEP_M",
    "ERRORS",
    "crossing_of",
    "is_hit",
    "miss_of_shot",
    "miss_when_set",
    "set_by_belief",
    "steer_all",
    "turned_to",
]

DEEP_M = -60.0
"""A floor so deep that a shot which falls short still crosses the goal's plane, below it."""
ERRORS = 10
"""Of a shot: estimate minus truth in x, y, heading, vx, vy, w; then the true values' excess in
release delay, exit speed, side, pivot."""

LEAD_STEPS = 8
LEAD_CLOSE_M = 1e-6
LEAD_NUDGE_RAD = 1e-4
LARGEST_TURN_RAD = 0.2


@kernel
def turned_to(dx, dy, thrower, curve):
    """(heading, pivot) of a robot at rest for a goal at (dx, dy) from its middle."""
    d = np.sqrt(dx * dx + dy * dy)
    beside = min(max(thrower.left_m / max(d, 1e-9), -1.0), 1.0)
    pivot = look_up_pivot(d, curve)
    return (
        np.arctan2(dy, dx) - np.arcsin(beside),
        min(max(pivot, thrower.pivot_low_rad), thrower.pivot_high_rad),
    )


@kernel
def throw(
    x,
    y,
    heading,
    pivot,
    speed,
    side,
    vx,
    vy,
    w,
    thrower,
    plane,
    floor_m,
    law,
):
    """``fly_to_plane`` of a throw from a robot; plane is a point and a normal, 6 numbers."""
    c, s = np.cos(heading), np.sin(heading)
    forward, up = release_point(pivot, thrower)
    rx = c * forward - s * thrower.left_m
    ry = s * forward + c * thrower.left_m
    level = speed * np.cos(pivot)
    return fly_to_plane(
        x + rx,
        y + ry,
        up,
        level * np.cos(heading + side) + vx - w * ry,
        level * np.sin(heading + side) + vy + w * rx,
        speed * np.sin(pivot),
        s,
        -c,
        plane[0],
        plane[1],
        plane[2],
        plane[3],
        plane[4],
        plane[5],
        floor_m,
        law,
    )


@kernel
def off_the_middle(x, y, heading, pivot, vx, vy, w, thrower, opening, law):
    """(to the left, above): where a throw passes the opening's middle; nan if it never does.

    Seen in the upright plane through the middle square to the line of sight.
    """
    dx, dy = opening.x_m - x, opening.y_m - y
    d = np.sqrt(dx * dx + dy * dy)
    c, s = dx / d, dy / d
    plane = (opening.x_m, opening.y_m, opening.z_m, -c, -s, 0.0)
    speed = thrower.speed_m_per_s
    flown = throw(x, y, heading, pivot, speed, 0.0, vx, vy, w, thrower, plane, DEEP_M, law)
    if flown[0] < 0.0:
        return np.nan, np.nan
    left = c * (flown[2] - opening.y_m) - s * (flown[1] - opening.x_m)
    return left, flown[3] - opening.z_m


@kernel
def steer(x, y, vx, vy, w, thrower, opening, curve, law):
    """(heading, pivot) that a robot sets which believes itself at (x, y) with the motion vx, vy, w.

    At rest by the curve. On the move the first guess is the goal displaced by the robot's motion
    during the flight, then Newton's method on where the throw passes the opening's middle. Where
    nothing passes it, out of reach, the nearest of what was tried.
    """
    dx, dy = opening.x_m - x, opening.y_m - y
    heading, pivot = turned_to(dx, dy, thrower, curve)
    if vx == 0.0 and vy == 0.0 and w == 0.0:
        return heading, pivot
    flight_s = np.sqrt(dx * dx + dy * dy) / (thrower.speed_m_per_s * np.cos(pivot))
    heading, pivot = turned_to(dx - vx * flight_s, dy - vy * flight_s, thrower, curve)
    h = LEAD_NUDGE_RAD
    least, best_heading, best_pivot = np.inf, heading, pivot
    for _ in range(LEAD_STEPS):
        a, b = off_the_middle(x, y, heading, pivot, vx, vy, w, thrower, opening, law)
        if np.isnan(a):
            break
        off = abs(a) + abs(b)
        if off < least:
            least, best_heading, best_pivot = off, heading, pivot
        if off < LEAD_CLOSE_M:
            break
        ah, bh = off_the_middle(x, y, heading + h, pivot, vx, vy, w, thrower, opening, law)
        ap, bp = off_the_middle(x, y, heading, pivot + h, vx, vy, w, thrower, opening, law)
        ah, bh, ap, bp = (ah - a) / h, (bh - b) / h, (ap - a) / h, (bp - b) / h
        det = ah * bp - ap * bh
        turn = (ap * b - bp * a) / det
        lift = (bh * a - ah * b) / det
        if not np.isfinite(turn + lift):
            break
        heading += min(max(turn, -LARGEST_TURN_RAD), LARGEST_TURN_RAD)
        pivot += min(max(lift, -LARGEST_TURN_RAD), LARGEST_TURN_RAD)
        pivot = min(max(pivot, thrower.pivot_low_rad), thrower.pivot_high_rad)
    return best_heading, best_pivot


@kernel
def steer_all(states, thrower, opening, curve, law, commands):
    """Fill commands (n, 2) by ``steer`` of believed states (n, 5): x, y, vx, vy, w."""
    for i in range(states.shape[0]):
        x, y, vx, vy, w = states[i, 0], states[i, 1], states[i, 2], states[i, 3], states[i, 4]
        heading, pivot = steer(x, y, vx, vy, w, thrower, opening, curve, law)
        commands[i, 0], commands[i, 1] = heading, pivot


@kernel
def crossing_of(
    x,
    y,
    heading,
    pivot,
    speed,
    side,
    vx,
    vy,
    w,
    thrower,
    opening,
    law,
    floor_m,
):
    """(right, up, right limit, up limit) of the piece's middle where it crosses the opening.

    The limits are half the opening less what the piece needs: one that comes at a slant needs
    ``r sqrt(1 + (v_right / v_in)^2)`` of the width, the half length of the ellipse that its path
    cuts out of the plane. All nan where it does not cross.
    """
    o = opening
    plane = (o.x_m, o.y_m, o.z_m, o.nx, o.ny, o.nz)
    flown = throw(x, y, heading, pivot, speed, side, vx, vy, w, thrower, plane, floor_m, law)
    if flown[0] < 0.0:
        return np.nan, np.nan, np.nan, np.nan
    dx, dy, dz = flown[1] - o.x_m, flown[2] - o.y_m, flown[3] - o.z_m
    ux, uy, uz = flown[4], flown[5], flown[6]
    inward = ux * o.nx + uy * o.ny + uz * o.nz
    across = (ux * o.rx + uy * o.ry) / inward
    along = (ux * o.ux + uy * o.uy + uz * o.uz) / inward
    return (
        dx * o.rx + dy * o.ry,
        dx * o.ux + dy * o.uy + dz * o.uz,
        o.half_width_m - o.rim_m * np.sqrt(1.0 + across * across),
        o.half_height_m - o.rim_m * np.sqrt(1.0 + along * along),
    )


@kernel
def set_by_belief(x, y, vx, vy, w, errors, thrower, opening, curve, law):
    """(true heading, pivot) that a robot comes to which steers by what it believes.

    Of errors (ERRORS,) only the first seven matter: those of the estimate and of the delay.
    """
    late, delay = errors[6], thrower.delay_s
    bx = x + errors[0] + errors[3] * delay - vx * late
    by = y + errors[1] + errors[4] * delay - vy * late
    turned = errors[2] + errors[5] * delay - w * late
    heading, pivot = steer(
        bx, by, vx + errors[3], vy + errors[4], w + errors[5], thrower, opening, curve, law
    )
    return heading - turned, pivot


@kernel
def miss_when_set(
    x,
    y,
    vx,
    vy,
    w,
    heading,
    pivot,
    errors,
    thrower,
    opening,
    law,
    floor_m,
):
    """``crossing_of`` a shot with heading and pivot set, and the shooter's own errors."""
    speed = thrower.speed_m_per_s + errors[7]
    pivot += errors[9]
    return crossing_of(
        x, y, heading, pivot, speed, errors[8], vx, vy, w, thrower, opening, law, floor_m
    )


@kernel
def miss_of_shot(x, y, vx, vy, w, errors, thrower, opening, curve, law, floor_m):
    """``crossing_of`` a shot that the robot steers by what it believes.

    Parameters
    ----------
    x, y, vx, vy, w
        True state of the robot as the piece leaves.
    errors : (ERRORS,) array
        See ``ERRORS``.
    """
    heading, pivot = set_by_belief(x, y, vx, vy, w, errors, thrower, opening, curve, law)
    return miss_when_set(x, y, vx, vy, w, heading, pivot, errors, thrower, opening, law, floor_m)


@kernel
def is_hit(x, y, vx, vy, w, errors, thrower, opening, curve, law):
    """Whether the shot goes in, clear of the rim, before it falls on the floor."""
    right, up, right_limit, up_limit = miss_of_shot(
        x, y, vx, vy, w, errors, thrower, opening, curve, law, 0.0
    )
    return abs(right) <= right_limit and abs(up) <= up_limit
