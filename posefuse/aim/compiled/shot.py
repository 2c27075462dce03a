"""Compiled: one shot from the robot's estimate to where the piece crosses the goal's opening.

Named tuples of ``aim.arrays``: ``aim`` is ``AimArrays`` with its parts ``thrower`` and ``curve``,
``robot`` is ``RobotState``, ``throw`` is ``Throw``. World frame.
"""

import numpy as np

from posefuse.aim.arrays import Crossing, PieceState, Plane, RobotState, Throw
from posefuse.aim.compiled.flight import fly_to_plane
from posefuse.aim.compiled.pivot import look_up_pivot, release_point
from posefuse.compiling import kernel

__all__ = [
    "DEEP_M",
    "ERRORS",
    "crossing_of",
    "is_hit",
    "is_inside",
    "miss_of_shot",
    "miss_when_set",
    "on_step",
    "set_by_estimate",
    "state_of",
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
def state_of(state):
    """The robot of a row (5,): x, y, vx, vy, w."""
    return RobotState(state[0], state[1], state[2], state[3], state[4])


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
def fly_from(robot, throw, thrower, plane, floor_m, law):
    """``fly_to_plane`` of a throw from a robot."""
    heading, pivot = throw.heading_rad, throw.pivot_rad
    c, s = np.cos(heading), np.sin(heading)
    forward, up = release_point(pivot, thrower)
    rx = c * forward - s * thrower.left_m
    ry = s * forward + c * thrower.left_m
    level = throw.speed_m_per_s * np.cos(pivot)
    piece = PieceState(
        robot.x_m + rx,
        robot.y_m + ry,
        up,
        level * np.cos(heading + throw.side_rad) + robot.vx - robot.w * ry,
        level * np.sin(heading + throw.side_rad) + robot.vy + robot.w * rx,
        throw.speed_m_per_s * np.sin(pivot),
    )
    return fly_to_plane(piece, (s, -c), plane, floor_m, law)


@kernel
def off_the_middle(robot, heading, pivot, aim):
    """(to the left, above): where a throw passes the opening's middle; nan if it never does.

    Seen in the upright plane through the middle square to the line of sight.
    """
    goal = aim.opening
    dx, dy = goal.x_m - robot.x_m, goal.y_m - robot.y_m
    d = np.sqrt(dx * dx + dy * dy)
    c, s = dx / d, dy / d
    plane = Plane(goal.x_m, goal.y_m, goal.z_m, -c, -s, 0.0)
    throw = Throw(heading, pivot, aim.thrower.speed_m_per_s, 0.0)
    t, piece = fly_from(robot, throw, aim.thrower, plane, DEEP_M, aim.law)
    if t < 0.0:
        return np.nan, np.nan
    return c * (piece.y - goal.y_m) - s * (piece.x - goal.x_m), piece.z - goal.z_m


@kernel
def steer(robot, aim):
    """(heading, pivot) that a robot sets for its estimated state.

    At rest by the curve. On the move the first guess is the goal displaced by the robot's motion
    during the flight, then Newton's method on where the throw passes the opening's middle. Where
    nothing passes it, out of reach, the nearest of what was tried.
    """
    thrower = aim.thrower
    dx, dy = aim.opening.x_m - robot.x_m, aim.opening.y_m - robot.y_m
    heading, pivot = turned_to(dx, dy, thrower, aim.curve)
    if robot.vx == 0.0 and robot.vy == 0.0 and robot.w == 0.0:
        return heading, pivot
    flight_s = np.sqrt(dx * dx + dy * dy) / (thrower.speed_m_per_s * np.cos(pivot))
    ahead_x, ahead_y = dx - robot.vx * flight_s, dy - robot.vy * flight_s
    heading, pivot = turned_to(ahead_x, ahead_y, thrower, aim.curve)
    h = LEAD_NUDGE_RAD
    least, best_heading, best_pivot = np.inf, heading, pivot
    for _ in range(LEAD_STEPS):
        a, b = off_the_middle(robot, heading, pivot, aim)
        if np.isnan(a):
            break
        off = abs(a) + abs(b)
        if off < least:
            least, best_heading, best_pivot = off, heading, pivot
        if off < LEAD_CLOSE_M:
            break
        ah, bh = off_the_middle(robot, heading + h, pivot, aim)
        ap, bp = off_the_middle(robot, heading, pivot + h, aim)
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
def on_step(pivot, thrower):
    """The pivot that is set for a pivot wanted: the nearest step within the range."""
    step, low = thrower.step_rad, thrower.pivot_low_rad
    if step == 0.0:
        return pivot
    last = np.floor((thrower.pivot_high_rad - low) / step + 1e-9)
    return low + step * min(max(np.floor((pivot - low) / step + 0.5), 0.0), last)


@kernel
def steer_all(states, aim, commands):
    """Fill commands (n, 2) by ``steer`` of estimated states (n, 5): x, y, vx, vy, w."""
    for i in range(states.shape[0]):
        heading, pivot = steer(state_of(states[i]), aim)
        commands[i, 0], commands[i, 1] = heading, on_step(pivot, aim.thrower)


@kernel
def crossing_of(robot, throw, aim, floor_m):
    """The ``Crossing`` of a throw with the goal's plane.

    The limits are half the opening less what the piece needs: one that comes at a slant needs
    ``r sqrt(1 + (v_right / v_in)^2)`` of the width, the half length of the ellipse that its path
    cuts out of the plane.
    """
    o = aim.opening
    plane = Plane(o.x_m, o.y_m, o.z_m, o.nx, o.ny, o.nz)
    t, piece = fly_from(robot, throw, aim.thrower, plane, floor_m, aim.law)
    if t < 0.0:
        return Crossing(np.nan, np.nan, np.nan, np.nan)
    dx, dy, dz = piece.x - o.x_m, piece.y - o.y_m, piece.z - o.z_m
    vx, vy, vz = piece.vx, piece.vy, piece.vz
    inward = vx * o.nx + vy * o.ny + vz * o.nz
    across = (vx * o.rx + vy * o.ry) / inward
    along = (vx * o.ux + vy * o.uy + vz * o.uz) / inward
    return Crossing(
        dx * o.rx + dy * o.ry,
        dx * o.ux + dy * o.uy + dz * o.uz,
        o.half_width_m - o.rim_m * np.sqrt(1.0 + across * across),
        o.half_height_m - o.rim_m * np.sqrt(1.0 + along * along),
    )


@kernel
def is_inside(crossing):
    """Whether the piece goes in, clear of the rim; not where it does not cross."""
    return (
        abs(crossing.right_m) <= crossing.right_limit_m
        and abs(crossing.up_m) <= crossing.up_limit_m
    )


@kernel
def set_by_estimate(robot, errors, aim):
    """(true heading, pivot wanted) of a robot that steers by its estimate.

    Of errors (ERRORS,) only the first seven matter: those of the estimate and of the delay.
    """
    late, delay = errors[6], aim.thrower.delay_s
    estimated = RobotState(
        robot.x_m + errors[0] + errors[3] * delay - robot.vx * late,
        robot.y_m + errors[1] + errors[4] * delay - robot.vy * late,
        robot.vx + errors[3],
        robot.vy + errors[4],
        robot.w + errors[5],
    )
    turned = errors[2] + errors[5] * delay - robot.w * late
    heading, pivot = steer(estimated, aim)
    return heading - turned, pivot


@kernel
def miss_when_set(robot, heading, pivot, errors, aim, floor_m):
    """``crossing_of`` a shot with heading and pivot set, and the shooter's own errors."""
    speed = aim.thrower.speed_m_per_s + errors[7]
    throw = Throw(heading, pivot + errors[9], speed, errors[8])
    return crossing_of(robot, throw, aim, floor_m)


@kernel
def miss_of_shot(robot, errors, aim, floor_m):
    """``crossing_of`` a shot that the robot steers by its estimate.

    Parameters
    ----------
    robot
        Its true state as the piece leaves.
    errors : (ERRORS,) array
        See ``ERRORS``.
    """
    heading, pivot = set_by_estimate(robot, errors, aim)
    return miss_when_set(robot, heading, on_step(pivot, aim.thrower), errors, aim, floor_m)


@kernel
def is_hit(robot, errors, aim):
    """Whether the shot goes in, clear of the rim, before it falls on the floor."""
    return is_inside(miss_of_shot(robot, errors, aim, 0.0))
