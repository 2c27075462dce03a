"""Compiled: the joint information about path and constants, along the true path.

What the best estimator could know that is told the spreads of the build and not the build. The
information about (x, y, heading) and p constants stands as one symmetric table (3 + p, 3 + p). A
sighting adds E' S^-1 E, E its slopes by pose and constants and S the detector's true covariance. A
step x' = F x + D c + w carries it on: x is replaced by F^-1 (x' - D c - w), then w is integrated
out. P. Tichavsky, C. Muravchik, A. Nehorai, IEEE Trans. Signal Processing 46(5), 1386-1396, 1998,
for states that include constants.
"""

import math

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.geometry.compiled.symmetric import inverse_of
from posefuse.solving.compiled.slopes import COLUMNS, HEIGHT, LEAN, OWN, TAG, corner_slopes
from posefuse.study.compiled.roots import lower_root

__all__ = ["run_attainable"]


@kernel
def _substitute(table, k, steps, odometry):
    """Replace x by F^-1 (x' - D c) in the table; odometry: the places of D's constants.

    F^-1 = [[1, 0, -a], [0, 1, -b], [0, 0, 1]].
    """
    a, b = steps.levers[k, 0], steps.levers[k, 1]
    size = len(table)
    for j in range(size):
        table[2, j] -= a * table[0, j] + b * table[1, j]
    for i in range(size):
        table[i, 2] -= a * table[i, 0] + b * table[i, 1]
    for which in range(len(odometry)):
        place = odometry[which]
        if place < 0:
            continue
        d0, d1, d2 = (
            steps.slopes[k, 0, which],
            steps.slopes[k, 1, which],
            steps.slopes[k, 2, which],
        )
        for j in range(size):
            table[place, j] -= d0 * table[0, j] + d1 * table[1, j] + d2 * table[2, j]
        for i in range(size):
            table[i, place] -= d0 * table[i, 0] + d1 * table[i, 1] + d2 * table[i, 2]


@kernel
def _integrate_out(table, cov, scratch):
    """Take a step's noise out: J - J_x L (I + L' J_xx L)^-1 L' J_x', cov = L L'; scratch (3, n)."""
    root, inner, inner_root = np.empty((3, 3)), np.empty((3, 3)), np.empty((3, 3))
    lower_root(cov, root)
    size = len(table)
    for i in range(3):
        for j in range(size):
            scratch[i, j] = (
                root[0, i] * table[0, j] + root[1, i] * table[1, j] + root[2, i] * table[2, j]
            )
    for i in range(3):
        for j in range(3):
            total = 1.0 if i == j else 0.0
            for m in range(3):
                total += scratch[i, m] * root[m, j]
            inner[i, j] = total
    lower_root(inner, inner_root)
    for j in range(size):
        first = scratch[0, j] / inner_root[0, 0]
        second = (scratch[1, j] - inner_root[1, 0] * first) / inner_root[1, 1]
        third = scratch[2, j] - inner_root[2, 0] * first - inner_root[2, 1] * second
        scratch[0, j], scratch[1, j] = first, second
        scratch[2, j] = third / inner_root[2, 2]
    for i in range(size):
        x, y, z = scratch[0, i], scratch[1, i], scratch[2, i]
        for j in range(size):
            table[i, j] -= x * scratch[0, j] + y * scratch[1, j] + z * scratch[2, j]


@inlined_kernel
def _places(column_of, eye, tag, places):
    """Write where the columns of a sighting stand in the table, -1 for what is known (COLUMNS,)."""
    own, lean, of_tag = column_of
    for j in range(3):
        places[j] = j
    for j in range(LEAN - OWN):
        places[OWN + j] = own[eye, j]
    for j in range(2):
        places[LEAN + j] = lean[j]
    for j in range(HEIGHT - TAG):
        places[TAG + j] = of_tag[tag, j]
    places[HEIGHT] = -1


@inlined_kernel
def _add_sighting(table, slopes, places, s, views):
    """Add E' S^-1 E, on each axis S^-1 = [I - r / (1 + 3 r) 11'] / (std^2 (1 - r))."""
    r = views.shared_fraction[s]
    weight = 1.0 / (views.std_px[s] * views.std_px[s] * (1.0 - r))
    common = r / (1.0 + 3.0 * r)
    for i in range(COLUMNS):
        to = places[i]
        if to < 0:
            continue
        sum_u = slopes[0, i] + slopes[2, i] + slopes[4, i] + slopes[6, i]
        sum_v = slopes[1, i] + slopes[3, i] + slopes[5, i] + slopes[7, i]
        for j in range(i + 1):
            place = places[j]
            if place < 0:
                continue
            total = 0.0
            for q in range(8):
                total += slopes[q, i] * slopes[q, j]
            if common > 0.0:
                total -= common * (
                    sum_u * (slopes[0, j] + slopes[2, j] + slopes[4, j] + slopes[6, j])
                    + sum_v * (slopes[1, j] + slopes[3, j] + slopes[5, j] + slopes[7, j])
                )
            table[to, place] += weight * total
            if i != j:
                table[place, to] += weight * total


@kernel
def _learn(table, f, run, column_of, slopes, pixels, places):
    """Add what a frame's sightings say, as seen from its row."""
    frames, views, cameras, tags = run
    eye = frames.eye[f]
    c, s = math.cos(frames.row_heading[f]), math.sin(frames.row_heading[f])
    east = c * frames.offset[f, 0] - s * frames.offset[f, 1]
    north = s * frames.offset[f, 0] + c * frames.offset[f, 1]
    for sighting in range(frames.first[f], frames.first[f] + frames.tag_count[f]):
        n = views.tag[sighting]
        pose, velocity = frames.pose[f], frames.velocity[f]
        if corner_slopes(cameras, eye, tags, n, pose, velocity, slopes, pixels):
            for q in range(8):
                slopes[q, 2] += east * slopes[q, 1] - north * slopes[q, 0]
            _places(column_of, eye, n, places)
            _add_sighting(table, slopes, places, sighting, views)


@kernel
def _copy(table, to):
    """Copy a square table number by number: to assign whole arrays compiles for seconds."""
    for i in range(len(table)):
        for j in range(len(table)):
            to[i, j] = table[i, j]


@kernel
def _pose_cov(table, factor, cov):
    """Write the covariance (3, 3) of the pose: the inverse of what is left of its information.

    The constants are taken out from the last on (Schur complement by Cholesky); factor: scratch.
    """
    size = len(table)
    _copy(table, factor)
    for j in range(size - 1, 2, -1):
        pivot = 1.0 / factor[j, j]
        for i in range(j):
            share = factor[j, i] * pivot
            for m in range(i + 1):
                factor[i, m] -= share * factor[j, m]
    xx, xy, xh, yy, yh, hh = inverse_of(
        factor[0, 0], factor[1, 0], factor[2, 0], factor[1, 1], factor[2, 1], factor[2, 2]
    )
    cov[0, 0], cov[0, 1], cov[0, 2] = xx, xy, xh
    cov[1, 0], cov[1, 1], cov[1, 2] = xy, yy, yh
    cov[2, 0], cov[2, 1], cov[2, 2] = xh, yh, hh


@kernel
def run_attainable(table, steps, run, column_of, order, shots, covs):
    """Write the least covariance (k, 3, 3) of the pose at every shot on what had arrived by then.

    Parameters
    ----------
    table : (3 + p, 3 + p)
        Information at the first row: the start's, and one over each constant's variance.
    steps
        ``LinearSteps`` of ``study.linear_frames``.
    run : tuple of frames, views, cameras, tags
        See ``study.linear_frames``.
    column_of : tuple of own (C, 11), lean (2,), of_tag (T, 7), odometry (wheels + 3,)
        Where constants stand in the table, -1 for what is known.
    order : tuple of first row, first (rows + 1,), arrival (frames,)
        As in ``run_forecast``.
    shots : tuple of row (k,), base (k,)
        As in ``run_forecast``.
    """
    first_row, first_of, arrival = order
    shot_row, shot_base = shots
    columns, odometry = column_of[:3], column_of[3]
    slopes, pixels = np.empty((8, COLUMNS)), np.empty((4, 2))
    places, scratch = np.empty(COLUMNS, np.int64), np.empty((3, len(table)))
    spare, factor = np.empty_like(table), np.empty_like(table)
    shot = 0
    for k in range(first_row - 1, len(steps.levers)):
        if k > first_row:
            _substitute(table, k, steps, odometry)
            _integrate_out(table, steps.true_covs[k], scratch)
        if k >= first_row:
            for f in range(first_of[k], first_of[k + 1]):
                _learn(table, f, run, columns, slopes, pixels, places)
        while shot < len(shot_row) and max(shot_base[shot], first_row - 1) == k:
            _copy(table, spare)
            for row in range(k + 1, shot_row[shot] + 1):
                if row > first_row:
                    _substitute(spare, row, steps, odometry)
                    _integrate_out(spare, steps.true_covs[row], scratch)
                for f in range(first_of[row], first_of[row + 1]):
                    if arrival[f] <= shot_row[shot]:
                        _learn(spare, f, run, columns, slopes, pixels, places)
            _pose_cov(spare, factor, covs[shot])
            shot += 1
