"""Compiled: how solved poses move with the build.

A pose is the least-squares solution over a camera's six degrees of freedom. Where constants of the
build are off by c, the corners move by T c, and the solution by ``(J'J)^-1 J' T c``, of which x, y
and heading are kept.
"""

import math

import numpy as np

from posefuse.compiling import kernel
from posefuse.solving.compiled.frame_sums import (
    FREE,
    OWN_COLUMNS,
    TAG_COLUMNS,
    add_products,
    add_square,
    inverse_rows,
    pose_columns,
)
from posefuse.solving.compiled.slopes import COLUMNS, OWN, TAG, corner_slopes

__all__ = ["write_pose_slopes"]


@kernel
def _product_at_row(inverse, products, levers, result):
    """Write inverse (3, 6) times products (6, n), carried back to the row: levers north, east."""
    for j in range(products.shape[1]):
        for i in range(3):
            total = 0.0
            for k in range(FREE):
                total += inverse[i, k] * products[k, j]
            result[i, j] = total
        result[0, j] += levers[0] * result[2, j]
        result[1, j] -= levers[1] * result[2, j]


@kernel
def _clear(table):
    """Set a table to zero number by number."""
    for i in range(table.shape[0]):
        for j in range(table.shape[1]):
            table[i, j] = 0.0


@kernel
def write_pose_slopes(cameras, tags, seen, poses, motion, own, of_tag):
    """Write how solved poses, carried back to their odometry rows, move with the build.

    Zero where there is no solution.

    Parameters
    ----------
    cameras, tags
        ``LinearCameras`` and ``LinearTags`` of ``solving.linear``.
    seen : tuple of eye (n,), first (n,), count (n,), target (S,), offered (n,)
        Camera of each frame, its sightings, the tag of each sighting, solutions of each frame.
    poses : (n, 2, 3)
        Both solutions at the capture.
    motion : tuple of offsets (n, 5), velocities (n, 3)
        Motion from the row to the capture; velocity in the robot's axes at the capture.
    own, of_tag : (n, 2, 3, OWN_COLUMNS), (S, 2, 3, TAG_COLUMNS)
        Where to write.
    """
    eye, first, count, target, offered = seen
    offsets, velocities = motion
    columns = pose_columns(True)
    slopes, pixels = np.empty((8, COLUMNS)), np.empty((4, 2))
    square, inverse = np.empty((FREE, FREE)), np.empty((3, FREE))
    sums = np.empty((FREE, OWN_COLUMNS))
    tag_sums = np.empty((len(tags.centres_m), FREE, TAG_COLUMNS))
    velocity, levers = np.empty(3), np.empty(2)
    for m in range(len(eye)):
        for k in range(2):
            _clear(own[m, k])
            for sighting in range(first[m], first[m] + count[m]):
                _clear(of_tag[sighting, k])
            if k >= offered[m]:
                continue
            pose = poses[m, k]
            c, s = math.cos(pose[2]), math.sin(pose[2])
            velocity[0] = c * velocities[m, 0] - s * velocities[m, 1]
            velocity[1] = s * velocities[m, 0] + c * velocities[m, 1]
            velocity[2] = velocities[m, 2]
            _clear(square)
            _clear(sums)
            is_ahead = True
            for place in range(count[m]):
                n = target[first[m] + place]
                is_seen = corner_slopes(cameras, eye[m], tags, n, pose, velocity, slopes, pixels)
                is_ahead = is_ahead and is_seen
                add_square(slopes, columns, square)
                add_products(slopes, columns, OWN, sums)
                _clear(tag_sums[place])
                add_products(slopes, columns, TAG, tag_sums[place])
            if is_ahead and inverse_rows(square, inverse):
                heading = pose[2] - offsets[m, 2]
                c, s = math.cos(heading), math.sin(heading)
                levers[0] = s * offsets[m, 0] + c * offsets[m, 1]
                levers[1] = c * offsets[m, 0] - s * offsets[m, 1]
                _product_at_row(inverse, sums, levers, own[m, k])
                for place in range(count[m]):
                    _product_at_row(inverse, tag_sums[place], levers, of_tag[first[m] + place, k])
