"""The compiled recursion of the bound: covariances only, in the filter's own order of events."""

import math

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.fusion.compiled.models import transport

__all__ = ["bound_run"]


@inlined_kernel
def _learn(states, row, to, total):
    """Write covariance ``row`` with what the row's frames tell, (P^-1 + A)^-1 = (I + P A)^-1 P."""
    p00, p01, p02 = states[row, 3], states[row, 4], states[row, 5]
    p11, p12, p22 = states[row, 6], states[row, 7], states[row, 8]
    a00, a01, a02 = total[row, 0], total[row, 1], total[row, 2]
    a11, a12, a22 = total[row, 3], total[row, 4], total[row, 5]
    t00 = 1.0 + p00 * a00 + p01 * a01 + p02 * a02
    t01 = p00 * a01 + p01 * a11 + p02 * a12
    t02 = p00 * a02 + p01 * a12 + p02 * a22
    t10 = p01 * a00 + p11 * a01 + p12 * a02
    t11 = 1.0 + p01 * a01 + p11 * a11 + p12 * a12
    t12 = p01 * a02 + p11 * a12 + p12 * a22
    t20 = p02 * a00 + p12 * a01 + p22 * a02
    t21 = p02 * a01 + p12 * a11 + p22 * a12
    t22 = 1.0 + p02 * a02 + p12 * a12 + p22 * a22
    w00, w10, w20 = t11 * t22 - t12 * t21, t12 * t20 - t10 * t22, t10 * t21 - t11 * t20
    w01, w11, w21 = t02 * t21 - t01 * t22, t00 * t22 - t02 * t20, t01 * t20 - t00 * t21
    w02, w12, w22 = t01 * t12 - t02 * t11, t02 * t10 - t00 * t12, t00 * t11 - t01 * t10
    scale = 1.0 / (t00 * w00 + t01 * w10 + t02 * w20)
    states[to, 3] = scale * (w00 * p00 + w01 * p01 + w02 * p02)
    states[to, 4] = scale * (w00 * p01 + w01 * p11 + w02 * p12)
    states[to, 5] = scale * (w00 * p02 + w01 * p12 + w02 * p22)
    states[to, 6] = scale * (w10 * p01 + w11 * p11 + w12 * p12)
    states[to, 7] = scale * (w10 * p02 + w11 * p12 + w12 * p22)
    states[to, 8] = scale * (w20 * p02 + w21 * p12 + w22 * p22)


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
def _told_at_rows(poses, frame_row, offsets, informations, told):
    """Write each frame's information, told at its capture, as information about its row's pose.

    ``T' I T`` with T = [[1, 0, -north], [0, 1, east], [0, 0, 1]] of the offset motion.
    """
    for f in range(len(frame_row)):
        heading = poses[frame_row[f], 2]
        c, s = math.cos(heading), math.sin(heading)
        east = c * offsets[f, 0] - s * offsets[f, 1]
        north = s * offsets[f, 0] + c * offsets[f, 1]
        xx, xy, xh = informations[f, 0, 0], informations[f, 0, 1], informations[f, 0, 2]
        yy, yh, hh = informations[f, 1, 1], informations[f, 1, 2], informations[f, 2, 2]
        told[f, 0], told[f, 1], told[f, 3] = xx, xy, yy
        told[f, 2] = xh + east * xy - north * xx
        told[f, 4] = yh + east * yy - north * xy
        told[f, 5] = hh + north * north * xx + east * east * yy
        told[f, 5] += 2.0 * (east * yh - north * xh - north * east * xy)


@inlined_kernel
def _step(states, row, to, steps):
    """Write covariance ``row`` carried along the true path to row ``to``, the step added."""
    for k in range(3, 9):
        states[to, k] = states[row, k]
    transport(states, to, steps[to, 0], steps[to, 1])
    for k in range(3, 9):
        states[to, k] += steps[to, k - 1]


@kernel
def bound_run(poses, step_covs, start_cov, frame_row, frame_arrival, offsets, informations, covs):
    """Write the bound at every row as it stood at it: only what had arrived by then is in it.

    Frames stand in the order of their arrival. Every row keeps its covariance before its frames,
    and the sum of what its frames have told so far.
    """
    rows, frames = len(poses), len(frame_row)
    steps, told = np.zeros((rows, 8)), np.empty((frames, 6))
    _steps_in_world(poses, step_covs, steps)
    _told_at_rows(poses, frame_row, offsets, informations, told)
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
                total[frame_row[f], i] += told[f, i]
            f += 1
        _learn(states, back, work, total)
        for row in range(back + 1, k + 1):
            _step(states, work, row, steps)
            _learn(states, row, work, total)
        covs[k, 0, 0], covs[k, 1, 1] = states[work, 3], states[work, 6]
        covs[k, 2, 2] = states[work, 8]
        covs[k, 0, 1] = covs[k, 1, 0] = states[work, 4]
        covs[k, 0, 2] = covs[k, 2, 0] = states[work, 5]
        covs[k, 1, 2] = covs[k, 2, 1] = states[work, 7]
