"""The compiled recursion of the bound: covariances only, in the filter's own order of events."""

import math

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.fusion.compiled.state import posterior, transport

__all__ = ["bound_run"]


@inlined_kernel
def _update(states, row, to, total):
    """Write covariance ``row`` with the information of the row's frames, as row ``to``."""
    a = (
        total[row, 0],
        total[row, 1],
        total[row, 2],
        total[row, 3],
        total[row, 4],
        total[row, 5],
    )
    (
        states[to, 3],
        states[to, 4],
        states[to, 5],
        states[to, 6],
        states[to, 7],
        states[to, 8],
    ) = posterior(states, row, a)


@kernel
def _steps_in_world(poses, step_covs, steps):
    """Write for each row the step's lever (-north, east) and its spread in the world's axes."""
    for k in range(1, len(poses)):
        c, s = math.cos(poses[k - 1, 2]), math.sin(poses[k - 1, 2])
        qff, qfl, qfh = step_covs[k, 0, 0], step_covs[k, 0, 1], step_covs[k, 0, 2]
        qll, qlh, qhh = step_covs[k, 1, 1], step_covs[k, 1, 2], step_covs[k, 2, 2]
        steps[k, 0] = poses[k - 1, 1] - poses[k, 1]
        steps[k, 1] = poses[k, 0] - poses[k - 1, 0]
        steps[k, 2] = c * c * qff - 2.0 * c * s * qfl + s * s * qll
        steps[k, 3] = c * s * (qff - qll) + (c * c - s * s) * qfl
        steps[k, 4] = c * qfh - s * qlh
        steps[k, 5] = s * s * qff + 2.0 * c * s * qfl + c * c * qll
        steps[k, 6] = s * qfh + c * qlh
        steps[k, 7] = qhh


@kernel
def _information_at_rows(poses, frame_row, offsets, information, at_rows):
    """Write each frame's information about its capture's pose as information about its row's.

    ``T' I T`` with T = [[1, 0, -north], [0, 1, east], [0, 0, 1]] of the offset motion.
    """
    for f in range(len(frame_row)):
        heading = poses[frame_row[f], 2]
        c, s = math.cos(heading), math.sin(heading)
        east = c * offsets[f, 0] - s * offsets[f, 1]
        north = s * offsets[f, 0] + c * offsets[f, 1]
        xx, xy, xh = information[f, 0, 0], information[f, 0, 1], information[f, 0, 2]
        yy, yh, hh = information[f, 1, 1], information[f, 1, 2], information[f, 2, 2]
        at_rows[f, 0], at_rows[f, 1], at_rows[f, 3] = xx, xy, yy
        at_rows[f, 2] = xh + east * xy - north * xx
        at_rows[f, 4] = yh + east * yy - north * xy
        at_rows[f, 5] = hh + north * north * xx + east * east * yy
        at_rows[f, 5] += 2.0 * (east * yh - north * xh - north * east * xy)


@inlined_kernel
def _step(states, row, to, steps):
    """Write covariance ``row`` carried along the true path to row ``to``, the step added."""
    for k in range(3, 9):
        states[to, k] = states[row, k]
    transport(states, to, steps[to, 0], steps[to, 1])
    for k in range(3, 9):
        states[to, k] += steps[to, k - 1]


@kernel
def bound_run(poses, step_covs, start_cov, frame_row, frame_arrival, offsets, information, covs):
    """Write the bound at every row as it stood at it: only what had arrived by then is in it.

    Frames stand in the order of their arrival. Every row keeps its covariance before its frames,
    and the sum of its frames' information so far.
    """
    rows, frames = len(poses), len(frame_row)
    steps, at_rows = np.zeros((rows, 8)), np.empty((frames, 6))
    _steps_in_world(poses, step_covs, steps)
    _information_at_rows(poses, frame_row, offsets, information, at_rows)
    total = np.zeros((rows, 6))
    states = np.zeros((rows + 1, 9))  # the last one is worked on
    work, f = rows, 0
    states[0, 3], states[0, 4], states[0, 5] = start_cov[0, 0], start_cov[0, 1], start_cov[0, 2]
    states[0, 6], states[0, 7], states[0, 8] = start_cov[1, 1], start_cov[1, 2], start_cov[2, 2]
    for k in range(rows):
        if k > 0:
            _step(states, work, k, steps)
        back = k
        while f < frames and frame_arrival[f] <= k:
            back = min(back, frame_row[f])
            for i in range(6):
                total[frame_row[f], i] += at_rows[f, i]
            f += 1
        _update(states, back, work, total)
        for row in range(back + 1, k + 1):
            _step(states, work, row, steps)
            _update(states, row, work, total)
        covs[k, 0, 0], covs[k, 1, 1] = states[work, 3], states[work, 6]
        covs[k, 2, 2] = states[work, 8]
        covs[k, 0, 1] = covs[k, 1, 0] = states[work, 4]
        covs[k, 0, 2] = covs[k, 2, 0] = states[work, 5]
        covs[k, 1, 2] = covs[k, 2, 1] = states[work, 7]
