"""Compiled: a frame's corners summed up as normal equations, about the pose and about the build.

With J the slopes of the corners (px) by the pose and T those by constants of the build, a frame is
summed up as J'J and J'T. J has the three columns of a pose on the floor, or six: a camera's pose is
solved with all its degrees of freedom, (J'J)^-1 J', of which x, y and heading are kept.
"""

import numpy as np

from posefuse.compiling import kernel
from posefuse.geometry.compiled.symmetric import factor
from posefuse.solving.compiled.slopes import HEIGHT, LEAN, OWN, TAG

__all__ = [
    "FREE",
    "OWN_COLUMNS",
    "SIGHTING_CONSTANTS",
    "TAG_COLUMNS",
    "add_products",
    "add_square",
    "inverse_rows",
    "pose_columns",
]

FREE = 6
"""Degrees of freedom of a camera: x, y, heading, height, roll, pitch of the robot that it is on."""
OWN_COLUMNS = TAG - OWN
"""Constants of a frame: its mount's eleven, then the chassis' roll and pitch."""
TAG_COLUMNS = HEIGHT - TAG
"""Constants of a tag."""
SIGHTING_CONSTANTS = OWN_COLUMNS + TAG_COLUMNS
"""Constants that a sighting depends on, in the order of the slopes."""


@kernel
def pose_columns(is_solved):
    """Where the columns of J stand among the slopes: six for a solved pose, else three."""
    columns = np.empty(FREE if is_solved else 3, np.int64)
    for i in range(3):
        columns[i] = i
    if is_solved:
        columns[3], columns[4], columns[5] = HEIGHT, LEAN, LEAN + 1
    return columns


@kernel
def add_square(slopes, columns, square):
    """Add J'J of a sighting's slopes (8, COLUMNS) to square (m, m)."""
    for q in range(8):
        for i in range(len(columns)):
            slope = slopes[q, columns[i]]
            for j in range(len(columns)):
                square[i, j] += slope * slopes[q, columns[j]]


@kernel
def add_products(slopes, columns, first, into):
    """Add J'T to into (m, n), T the n columns of the slopes from first on."""
    for q in range(8):
        for i in range(len(columns)):
            slope = slopes[q, columns[i]]
            for j in range(into.shape[1]):
                into[i, j] += slope * slopes[q, first + j]


@kernel
def inverse_rows(square, inverse):
    """Write the first three rows (3, 6) of the inverse of a positive square (6, 6); False if not.

    The square is overwritten.
    """
    if not factor(square, FREE):
        return False
    for which in range(3):
        for i in range(FREE):
            total = 1.0 if i == which else 0.0
            for k in range(i):
                total -= square[i, k] * inverse[which, k]
            inverse[which, i] = total / square[i, i]
        for i in range(FREE - 1, -1, -1):
            total = inverse[which, i]
            for k in range(i + 1, FREE):
                total -= square[k, i] * inverse[which, k]
            inverse[which, i] = total / square[i, i]
    return True
