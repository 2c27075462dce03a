"""Compiled preparation of measurements: what is computed once for each, before the filter runs."""

import math

import numpy as np

from posefuse.compiling import kernel
from posefuse.geometry.compiled.symmetric import inverse_of

__all__ = ["place_solutions", "tag_distances"]


@kernel
def place_solutions(poses, unit_covs, pixel_vars, extra_vars, offered, offset, offsets, solutions):
    """Write each solved pose as the pose at its odometry row, with its information.

    The pose is carried back over the offset motion, its covariance ``R`` with it:
    ``G R G'``, G = [[1, 0, north], [0, 1, -east], [0, 0, 1]].

    Parameters
    ----------
    poses, unit_covs : (n, 2, 3), (n, 2, 3, 3)
        Both solutions at the capture, and their covariance for corners of 1 px.
    pixel_vars, extra_vars : (n,), (n, 2)
        ``R = pixel_var * unit_cov + diag(extra[0], extra[0], extra[1])``.
    offered : (n,)
        How many solutions the filter may choose from; those beyond get no information.
    offset, offsets : (n,), (frames, 5)
        Which offset motion, and the motions: dx, dy, turn, cos(turn), sin(turn).
    solutions : (n, 2, 10)
        Where to write: the pose, and the upper half of the inverse of its covariance; the last
        column is left alone.
    """
    for m in range(len(poses)):
        pixel_var = pixel_vars[m]
        dx, dy, turn = offsets[offset[m], 0], offsets[offset[m], 1], offsets[offset[m], 2]
        for k in range(2):
            if k >= offered[m]:
                for i in range(9):
                    solutions[m, k, i] = 0.0
                continue
            heading = poses[m, k, 2] - turn
            c, s = math.cos(heading), math.sin(heading)
            east, north = c * dx - s * dy, s * dx + c * dy
            hh = pixel_var * unit_covs[m, k, 2, 2] + extra_vars[m, 1]
            xh, yh = pixel_var * unit_covs[m, k, 0, 2], pixel_var * unit_covs[m, k, 1, 2]
            xx = pixel_var * unit_covs[m, k, 0, 0] + extra_vars[m, 0]
            yy = pixel_var * unit_covs[m, k, 1, 1] + extra_vars[m, 0]
            xy = pixel_var * unit_covs[m, k, 0, 1]
            xx += north * (2.0 * xh + north * hh)
            xy += north * yh - east * xh - north * east * hh
            yy += east * (east * hh - 2.0 * yh)
            xh += north * hh
            yh -= east * hh
            solutions[m, k, 0] = poses[m, k, 0] - east
            solutions[m, k, 1] = poses[m, k, 1] - north
            solutions[m, k, 2] = heading
            (
                solutions[m, k, 3],
                solutions[m, k, 4],
                solutions[m, k, 5],
                solutions[m, k, 6],
                solutions[m, k, 7],
                solutions[m, k, 8],
            ) = inverse_of(xx, xy, xh, yy, yh, hh)


@kernel
def tag_distances(corners, edges, tag, distances):
    """Write the distance of each tag by the longest side of its image.

    Parameters
    ----------
    corners : (n, 4, 2)
        On the plane at depth 1, in order around the square.
    edges, tag : (tags,), (n,)
        Edge of each tag, and which tag each sighting is of.
    """
    for m in range(len(tag)):
        longest, x, y = 0.0, 0.0, 0.0
        for k in range(4):
            across = corners[m, k, 0] - corners[m, (k + 1) % 4, 0]
            down = corners[m, k, 1] - corners[m, (k + 1) % 4, 1]
            longest = max(longest, across * across + down * down)
            x, y = x + 0.25 * corners[m, k, 0], y + 0.25 * corners[m, k, 1]
        ray = math.sqrt(1.0 + x * x + y * y)
        distances[m] = ray * edges[tag[m]] / math.sqrt(longest) if longest > 0.0 else np.inf
