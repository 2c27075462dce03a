"""Compiled: step and correction of a state that knows of build errors.

The state is x, y, heading and p constants, n = 3 + p in all; its covariance stands in a table of
three rows (constants considered: the rest never changes) or of n rows (estimated). Considered:
S. F. Schmidt, Application of state-space methods to navigation problems, Advances in Control
Systems 3, 1966; A. H. Jazwinski, Stochastic Processes and Filtering Theory, 1970, sec. 8.4 (both
from memory): gains of constants are zero.
"""

import math

from posefuse.compiling import inlined_kernel, kernel
from posefuse.fusion.compiled.as_built import value_of
from posefuse.fusion.compiled.filter import arc
from posefuse.geometry.compiled.symmetric import factor

__all__ = ["copy_state", "correct_build", "innovate", "step_build"]


@kernel
def copy_state(mean, table, to_mean, to_table):
    """Copy a state number by number: to assign whole arrays compiles for seconds."""
    for j in range(len(mean)):
        to_mean[j] = mean[j]
    for i in range(table.shape[0]):
        for j in range(table.shape[1]):
            to_table[i, j] = table[i, j]


@inlined_kernel
def _transport(table, a, b):
    """Turn P into F P F', F = [[1, 0, a], [0, 1, b], [0, 0, 1]] on the pose."""
    for j in range(table.shape[1]):
        table[0, j] += a * table[2, j]
        table[1, j] += b * table[2, j]
    for i in range(table.shape[0]):
        table[i, 0] += a * table[i, 2]
        table[i, 1] += b * table[i, 2]


@inlined_kernel
def _add_constant(table, place, variance, effect):
    """Carry a constant's uncertainty into the pose: pose + effect times constant; effect (3,)."""
    rows = table.shape[0]
    if rows > 3:
        for j in range(table.shape[1]):
            for i in range(3):
                table[i, j] += effect[i] * table[place, j]
        for j in range(rows):
            for i in range(3):
                table[j, i] += effect[i] * table[j, place]
    else:
        x, y, h = table[0, place], table[1, place], table[2, place]
        before = (x, y, h)
        for i in range(3):
            table[i, place] += effect[i] * variance
        for i in range(3):
            for j in range(3):
                table[i, j] += effect[i] * before[j] + table[i, place] * effect[j]


@kernel
def step_build(mean, table, k, variances, build):
    """Carry a state to row k from the row before.

    variances (rows, 2): what a step adds to x and y, and to the heading; build: ``BuildArrays``.
    """
    forward, left, turn = build.twists[k, 0], build.twists[k, 1], build.twists[k, 2]
    slopes, places = build.slopes[k], build.wheel_place
    for w in range(len(places)):
        value = value_of(mean, places[w])
        forward -= slopes[0, w] * value
        left -= slopes[1, w] * value
        turn -= slopes[2, w] * value
    dx, dy, _, _ = arc(forward, left, turn)
    c, s = math.cos(mean[2]), math.sin(mean[2])
    east, north = c * dx - s * dy, s * dx + c * dy
    _transport(table, -north, east)
    # errors of a twist show about halfway through its turn
    c, s = math.cos(mean[2] + 0.5 * turn), math.sin(mean[2] + 0.5 * turn)
    for w in range(len(places)):
        if places[w] >= 0:
            f, e = slopes[0, w], slopes[1, w]
            effect = (s * e - c * f, -s * f - c * e, -slopes[2, w])
            _add_constant(table, places[w], build.variances[places[w]], effect)
    mean[0] += east
    mean[1] += north
    mean[2] += turn
    table[0, 0] += variances[k, 0]
    table[1, 1] += variances[k, 0]
    table[2, 2] += variances[k, 1]


@kernel
def _write_spread(table, build, shape, room):
    """Write the covariance of the parts involved with the innovation, at their places."""
    size, parts = shape
    rows, places, spread = room.rows, room.places, room.spread
    kept = table.shape[0]
    for j in range(parts):
        place = places[j]
        for q in range(size):
            total = 0.0
            if place < kept:
                for m in range(parts):
                    total += table[place, places[m]] * rows[q, m]
            else:
                for m in range(3):
                    total += table[m, place] * rows[q, m]
                total += build.variances[place] * rows[q, j]
            spread[place, q] = total


@kernel
def innovate(table, build, shape, room):
    """The normalised innovation squared; prepares ``room`` for ``correct_build``.

    shape: numbers measured, and parts of the state that they depend on. Infinite where the
    innovation has no positive covariance.
    """
    size, parts = shape
    rows, places, spread, cov, off = room.rows, room.places, room.spread, room.cov, room.off
    _write_spread(table, build, shape, room)
    for q in range(size):
        for r in range(q + 1):
            total = 0.0
            for j in range(parts):
                total += rows[q, j] * spread[places[j], r]
            cov[q, r] += total
    nis = math.inf
    if factor(cov, size):
        nis = 0.0
        for q in range(size):
            for r in range(q):
                off[q] -= cov[q, r] * off[r]
            off[q] /= cov[q, q]
            nis += off[q] * off[q]
    return nis


@inlined_kernel
def _halve(spread, i, cov, size):
    """Divide row i of the spread by the innovation's root from the right."""
    for q in range(size):
        for r in range(q):
            spread[i, q] -= cov[q, r] * spread[i, r]
        spread[i, q] /= cov[q, q]


@kernel
def _correct_all(mean, table, shape, room):
    """Correct a state whose constants are estimated."""
    size, parts = shape
    rows, places, spread, cov, off = room.rows, room.places, room.spread, room.cov, room.off
    for i in range(len(mean)):
        for q in range(size):
            total = 0.0
            for j in range(parts):
                total += table[i, places[j]] * rows[q, j]
            spread[i, q] = total
        _halve(spread, i, cov, size)
        for q in range(size):
            mean[i] += spread[i, q] * off[q]
    for i in range(len(mean)):
        for j in range(i + 1):
            total = 0.0
            for q in range(size):
                total += spread[i, q] * spread[j, q]
            table[i, j] -= total
            table[j, i] = table[i, j]


@kernel
def _correct_pose(mean, table, build, shape, room):
    """Correct a state whose constants are considered: the gain K moves the pose alone.

    With T the slopes by constants and D their variances, P_xc becomes (I - K H) P_xc - K T D.
    """
    size, parts = shape
    rows, places, spread, cov, off = room.rows, room.places, room.spread, room.cov, room.off
    for i in range(3):
        _halve(spread, i, cov, size)
        for q in range(size):
            mean[i] += spread[i, q] * off[q]
    for i in range(3):
        for j in range(3):
            total = 0.0
            for q in range(size):
                total += spread[i, q] * spread[j, q]
            table[i, j] -= total
    for i in range(3):  # from here on the spread's rows are the gain's
        for q in range(size - 1, -1, -1):
            for r in range(q + 1, size):
                spread[i, q] -= cov[r, q] * spread[i, r]
            spread[i, q] /= cov[q, q]
    for i in range(3):
        for j in range(3):
            total = 0.0
            for q in range(size):
                total += spread[i, q] * rows[q, j]
            room.taken[i, j] = total
    taken, first, second, third = room.taken, table[0], table[1], table[2]
    for j in range(3, table.shape[1]):
        x, y, h = first[j], second[j], third[j]
        first[j] = x - taken[0, 0] * x - taken[0, 1] * y - taken[0, 2] * h
        second[j] = y - taken[1, 0] * x - taken[1, 1] * y - taken[1, 2] * h
        third[j] = h - taken[2, 0] * x - taken[2, 1] * y - taken[2, 2] * h
    for j in range(3, parts):
        variance = build.variances[places[j]]
        for i in range(3):
            total = 0.0
            for q in range(size):
                total += spread[i, q] * rows[q, j]
            table[i, places[j]] -= total * variance


@kernel
def correct_build(mean, table, build, shape, room):
    """Correct a state by a measurement that ``innovate`` has prepared."""
    if build.is_estimated:
        _correct_all(mean, table, shape, room)
    else:
        _correct_pose(mean, table, build, shape, room)
