"""Compiled: how far an estimate or a robot may be off and the shot still goes in.

Named tuples as in ``aim.compiled_shot``.
"""

import numpy as np

from posefuse.aim.compiled.shot import ERRORS, crossing_of, is_hit, turned_to
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
def scores_with(state, size, direction, errors, thrower, opening, curve, law):
    """Whether a shot scores whose errors go ``size`` along a direction (ERRORS,)."""
    for k in range(ERRORS):
        errors[k] = size * direction[k]
    x, y, vx, vy, w = state[0], state[1], state[2], state[3], state[4]
    return is_hit(x, y, vx, vy, w, errors, thrower, opening, curve, law)


@kernel
def find_scoring_reach(states, directions, steps, most, thrower, opening, curve, law, reach):
    """Fill reach (n, m): how many units along each direction a shot's errors may go and it scores.

    states (n, 5); directions (n, m, ERRORS); steps (m,) in which the end is looked for, and most
    (m,) that is looked at. 0 where the shot without errors misses.
    """
    errors = np.zeros(ERRORS)
    for i in range(states.shape[0]):
        for k in range(directions.shape[1]):
            inside, step, direction = 0.0, steps[k], directions[i, k]
            reach[i, k] = 0.0
            if not scores_with(states[i], 0.0, direction, errors, thrower, opening, curve, law):
                continue
            while inside < most[k] and scores_with(
                states[i], inside + step, direction, errors, thrower, opening, curve, law
            ):
                inside += step
            if inside < most[k]:
                for _ in range(HALVINGS):
                    step *= 0.5
                    if scores_with(
                        states[i], inside + step, direction, errors, thrower, opening, curve, law
                    ):
                        inside += step
            reach[i, k] = min(inside, most[k])


@kernel
def scores_from(distance, pivot, away_x, away_y, thrower, opening, curve, law):
    """Whether a robot at rest at a distance in a direction from the goal scores with a pivot."""
    dx, dy = -away_x * distance, -away_y * distance
    heading, _pivot = turned_to(dx, dy, thrower, curve)
    x, y, speed = opening.x_m - dx, opening.y_m - dy, thrower.speed_m_per_s
    right, up, right_limit, up_limit = crossing_of(
        x, y, heading, pivot, speed, 0.0, 0.0, 0.0, 0.0, thrower, opening, law, 0.0
    )
    return abs(right) <= right_limit and abs(up) <= up_limit


@kernel
def room_to(sign, pivot, distance, away_x, away_y, thrower, opening, curve, law):
    """How far beyond (sign 1) or before (-1) a distance a robot may stand, the pivot kept."""
    inside, step = 0.0, ROOM_STEP_M
    while inside < MOST_ROOM_M and scores_from(
        distance + sign * (inside + step), pivot, away_x, away_y, thrower, opening, curve, law
    ):
        inside += step
    if inside >= MOST_ROOM_M:
        return MOST_ROOM_M
    for _ in range(ROOM_HALVINGS):
        step *= 0.5
        if scores_from(
            distance + sign * (inside + step), pivot, away_x, away_y, thrower, opening, curve, law
        ):
            inside += step
    return inside


@kernel
def room_of(pivot, distance, away_x, away_y, thrower, opening, curve, law):
    """The smaller of both rooms; -1 where the pivot does not score."""
    if not scores_from(distance, pivot, away_x, away_y, thrower, opening, curve, law):
        return -1.0
    return min(
        room_to(1.0, pivot, distance, away_x, away_y, thrower, opening, curve, law),
        room_to(-1.0, pivot, distance, away_x, away_y, thrower, opening, curve, law),
    )


@kernel
def end_of_scoring(sign, pivot, distance, away_x, away_y, thrower, opening, curve, law):
    """The last of a row of pivots from one that scores, within the range, that scores too."""
    last = pivot
    for step in range(1, MOST_STEPS):
        following = pivot + sign * step * PIVOT_STEP_RAD
        if not thrower.pivot_low_rad <= following <= thrower.pivot_high_rad:
            break
        if not scores_from(distance, following, away_x, away_y, thrower, opening, curve, law):
            break
        last = following
    return last


@kernel
def find_roomiest(distances, centred, away_x, away_y, thrower, opening, curve, law, found):
    """Fill found (n, 3): the pivot with most room, its room, and the room of the centred pivot.

    Around the pivots centred (n,), which pass through the middle of the opening, by golden section
    among the pivots that score. nan where the centred pivot does not score or is out of range.
    """
    for i in range(distances.shape[0]):
        d, middle = distances[i], centred[i]
        found[i, :] = np.nan
        if not thrower.pivot_low_rad <= middle <= thrower.pivot_high_rad:
            continue
        at_middle = room_of(middle, d, away_x, away_y, thrower, opening, curve, law)
        if at_middle < 0.0:
            continue
        a = end_of_scoring(-1.0, middle, d, away_x, away_y, thrower, opening, curve, law)
        b = end_of_scoring(1.0, middle, d, away_x, away_y, thrower, opening, curve, law)
        p, q = b - GOLDEN * (b - a), a + GOLDEN * (b - a)
        fp = room_of(p, d, away_x, away_y, thrower, opening, curve, law)
        fq = room_of(q, d, away_x, away_y, thrower, opening, curve, law)
        for _ in range(GOLDEN_STEPS):
            if fp > fq:
                b, q, fq = q, p, fp
                p = b - GOLDEN * (b - a)
                fp = room_of(p, d, away_x, away_y, thrower, opening, curve, law)
            else:
                a, p, fp = p, q, fq
                q = a + GOLDEN * (b - a)
                fq = room_of(q, d, away_x, away_y, thrower, opening, curve, law)
        best, room = (p, fp) if fp > fq else (q, fq)
        if room < at_middle:
            best, room = middle, at_middle
        found[i, 0], found[i, 1], found[i, 2] = best, room, at_middle
