"""Compiled: how far off an estimate or a robot may be so that the shot still goes in.

``aim`` is the named tuple ``aim.arrays.AimArrays``; ``away`` (2,) is the direction from the goal
to a robot at rest.
"""

import numpy as np

from posefuse.aim.arrays import RobotState, Throw
from posefuse.aim.compiled.shot import (
    ERRORS,
    crossing_of,
    is_hit,
    is_inside,
    state_of,
    turned_to,
)
from posefuse.compiling import kernel

__all__ = ["find_roomiest", "find_scoring_reach"]

HALVINGS = 24
ROOM_STEP_M = 0.05
ROOM_HALVINGS = 12  # of the step: to 1e-5 m
MOST_ROOM_M = 5.0
PIVOT_STEP_RAD = 0.005
MOST_STEPS = 200
GOLDEN = 0.6180339887498949
GOLDEN_STEPS = 16


@kernel
def scores_with(robot, size, direction, errors, aim):
    """Whether a shot scores with errors of ``size`` times a direction (ERRORS,).

    errors (ERRORS,) is scratch.
    """
    for k in range(ERRORS):
        errors[k] = size * direction[k]
    return is_hit(robot, errors, aim)


@kernel
def find_scoring_reach(states, directions, steps, most, aim, reach):
    """Fill reach (n, m): the largest multiple of each direction of errors that still scores.

    states (n, 5); directions (n, m, ERRORS); steps (m,) in which the end is looked for, and most
    (m,) that is looked at. 0 where the shot without errors misses.
    """
    errors = np.zeros(ERRORS)
    for i in range(states.shape[0]):
        robot = state_of(states[i])
        for k in range(directions.shape[1]):
            inside, step, direction = 0.0, steps[k], directions[i, k]
            reach[i, k] = 0.0
            if not scores_with(robot, 0.0, direction, errors, aim):
                continue
            while inside < most[k] and scores_with(robot, inside + step, direction, errors, aim):
                inside += step
            if inside < most[k]:
                for _ in range(HALVINGS):
                    step *= 0.5
                    if scores_with(robot, inside + step, direction, errors, aim):
                        inside += step
            reach[i, k] = min(inside, most[k])


@kernel
def scores_from(distance, pivot, away, aim):
    """Whether a robot at rest at a distance from the goal scores with a pivot."""
    dx, dy = -away[0] * distance, -away[1] * distance
    heading, _pivot = turned_to(dx, dy, aim.thrower, aim.curve)
    robot = RobotState(aim.opening.x_m - dx, aim.opening.y_m - dy, 0.0, 0.0, 0.0)
    throw = Throw(heading, pivot, aim.thrower.speed_m_per_s, 0.0)
    return is_inside(crossing_of(robot, throw, aim, 0.0))


@kernel
def room_to(sign, pivot, distance, away, aim):
    """How far beyond (sign 1) or before (-1) a distance a robot may stand, the pivot kept."""
    inside, step = 0.0, ROOM_STEP_M
    while inside < MOST_ROOM_M and scores_from(distance + sign * (inside + step), pivot, away, aim):
        inside += step
    if inside >= MOST_ROOM_M:
        return MOST_ROOM_M
    for _ in range(ROOM_HALVINGS):
        step *= 0.5
        if scores_from(distance + sign * (inside + step), pivot, away, aim):
            inside += step
    return inside


@kernel
def room_of(pivot, distance, away, aim):
    """The smaller of both rooms; -1 where the pivot does not score."""
    if not scores_from(distance, pivot, away, aim):
        return -1.0
    return min(room_to(1.0, pivot, distance, away, aim), room_to(-1.0, pivot, distance, away, aim))


@kernel
def end_of_scoring(sign, pivot, distance, away, aim):
    """The last pivot that scores, in steps from one that does, within the pivot's range."""
    last = pivot
    for step in range(1, MOST_STEPS):
        following = pivot + sign * step * PIVOT_STEP_RAD
        if not aim.thrower.pivot_low_rad <= following <= aim.thrower.pivot_high_rad:
            break
        if not scores_from(distance, following, away, aim):
            break
        last = following
    return last


@kernel
def find_roomiest(distances, centred, away, aim, found):
    """Fill found (n, 3): the pivot with most room, its room, and the room of the centred pivot.

    Around the pivots centred (n,), which pass through the middle of the opening, by golden section
    among the pivots that score. nan where the centred pivot does not score or is out of range.
    """
    for i in range(distances.shape[0]):
        d, middle = distances[i], centred[i]
        found[i, :] = np.nan
        if not aim.thrower.pivot_low_rad <= middle <= aim.thrower.pivot_high_rad:
            continue
        at_middle = room_of(middle, d, away, aim)
        if at_middle < 0.0:
            continue
        a = end_of_scoring(-1.0, middle, d, away, aim)
        b = end_of_scoring(1.0, middle, d, away, aim)
        p, q = b - GOLDEN * (b - a), a + GOLDEN * (b - a)
        fp, fq = room_of(p, d, away, aim), room_of(q, d, away, aim)
        for _ in range(GOLDEN_STEPS):
            if fp > fq:
                b, q, fq = q, p, fp
                p = b - GOLDEN * (b - a)
                fp = room_of(p, d, away, aim)
            else:
                a, p, fp = p, q, fq
                q = a + GOLDEN * (b - a)
                fq = room_of(q, d, away, aim)
        best, room = (p, fp) if fp > fq else (q, fq)
        if room < at_middle:
            best, room = middle, at_middle
        found[i, 0], found[i, 1], found[i, 2] = best, room, at_middle
