"""The compiled filter: one run, row by row, with late frames put back and what follows replayed."""

import math

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.fusion.compiled.models import (
    correct,
    misfit,
    move_camera,
    move_sensor,
    predict,
    tell_beacon,
    tell_corners,
    tell_pose,
    wrapped,
)

__all__ = ["BEACONS", "CORNERS", "POSES", "arcs", "locate", "run_filter"]

POSES, CORNERS, BEACONS = 0, 1, 2
FUSED, GATED, NO_ANSWER = 0, 1, 3  # values of Outcome


@kernel
def locate(stamps, times, rows):
    """Write for each time the last row stamped at or before it, -1 where there is none.

    Walks from the row found last: quick where the times are nearly in order.
    """
    row, last = 0, len(stamps) - 1
    for k in range(len(times)):
        time = times[k]
        while row < last and stamps[row + 1] <= time:
            row += 1
        while row >= 0 and stamps[row] > time:
            row -= 1
        rows[k] = row
        row = max(row, 0)


@kernel
def arcs(twists, row, share, motions):
    """Write the motion of a share of a twist: dx, dy, turn, cos(turn), sin(turn).

    The same as ``geometry.arc_motion``; a turn below a quarter radian by its series, whose first
    term left out is below 1e-17.

    Parameters
    ----------
    twists : (rows, 3)
        forward, left, turn.
    row, share : (n,)
        Whose twist, and how much of it.
    motions : (n, 5)
        Where to write.
    """
    for k in range(len(row)):
        forward, left = share[k] * twists[row[k], 0], share[k] * twists[row[k], 1]
        w = share[k] * twists[row[k], 2]
        if abs(w) < 0.25:
            q = w * w
            sine = 1.0 - q / 6.0 * (
                1.0 - q / 20.0 * (1.0 - q / 42.0 * (1.0 - q / 72.0 * (1.0 - q / 110.0)))
            )
            cosine = (
                0.5 * w * (1.0 - q / 12.0 * (1.0 - q / 30.0 * (1.0 - q / 56.0 * (1.0 - q / 90.0))))
            )
            motions[k, 3], motions[k, 4] = 1.0 - w * cosine, w * sine
        else:
            motions[k, 3], motions[k, 4] = math.cos(w), math.sin(w)
            sine, cosine = motions[k, 4] / w, (1.0 - motions[k, 3]) / w
        motions[k, 0] = sine * forward - cosine * left
        motions[k, 1] = cosine * forward + sine * left
        motions[k, 2] = w


@inlined_kernel
def _tell_nearest(states, row, answers, k, told):
    """Write what a solved pose tells: of two answers offered, the one that fits the state better.

    A second answer is offered where its information is above zero.
    """
    which = 0
    if answers[k, 1, 3] > 0.0:
        tell_pose(states, row, answers, k, 1, told)
        second = misfit(states, row, told)
        tell_pose(states, row, answers, k, 0, told)
        which = 1 if second < misfit(states, row, told) else 0
    tell_pose(states, row, answers, k, which, told)


@kernel
def run_filter(
    kind,
    answers,
    frame_sensor,
    sensors,
    target,
    targets,
    values,
    informations,
    gate,
    first_row,
    start,
    motions,
    step_vars,
    frame_row,
    frame_arrival,
    frame_offset,
    frame_begin,
    frame_end,
    nis,
    outcome,
    poses,
    covs,
):
    """Filter one run: writes poses and covariances of every row as they stood at it.

    Frames stand in the order in which they are put into the run: by row, then by capture. Behind
    every row's state before its frames (rows 0 to N-1 of the table of states) stands the state
    after each frame (N and up), so that a late frame takes up the run exactly where it belongs.
    """
    rows, frames = len(motions), len(frame_row)
    states = np.empty((rows + frames, 9))
    firsts = np.empty(rows + 1, np.int64)
    _first_frames(frame_row, firsts)
    earliest = np.full(rows, frames, np.int64)
    for f in range(frames - 1, -1, -1):
        earliest[frame_arrival[f]] = f
    told, moved = np.empty(10), np.empty(14)
    for k in range(9):
        states[first_row, k] = start[k]
    now = first_row
    for k in range(first_row, rows):
        if k > first_row:
            predict(states, now, k, motions, step_vars, k)
            now = k
        frame = earliest[k]
        row = k
        if frame < frames:
            row = frame_row[frame]
            now = row
            for f in range(firsts[row], frame):
                if frame_arrival[f] < k:
                    now = rows + f
        while frame < firsts[k + 1]:
            while row < frame_row[frame]:
                row += 1
                predict(states, now, row, motions, step_vars, row)
                now = row
            if frame_arrival[frame] <= k:
                for i in range(9):
                    states[rows + frame, i] = states[now, i]
                now = rows + frame
                if kind == CORNERS:
                    move_camera(sensors, frame_sensor[frame], frame_offset, frame, moved)
                elif kind == BEACONS:
                    move_sensor(sensors, frame_sensor[frame], frame_offset, frame, moved)
                for m in range(frame_begin[frame], frame_end[frame]):
                    is_told = True
                    if kind == CORNERS:
                        is_told = tell_corners(
                            states, now, moved, targets, target[m], values, informations, m, told
                        )
                    elif kind == BEACONS:
                        is_told = tell_beacon(
                            states, now, moved, targets, target[m], values, informations, m, told
                        )
                    else:
                        _tell_nearest(states, now, answers, m, told)
                    nis[m] = correct(states, now, told, gate) if is_told else math.nan
                    fused = FUSED if nis[m] <= gate else GATED
                    outcome[m] = fused if is_told else NO_ANSWER
            frame += 1
        while row < k:
            row += 1
            predict(states, now, row, motions, step_vars, row)
            now = row
        _write(states, now, poses, covs, k)
    for k in range(first_row):
        _write(states, first_row, poses, covs, k)


@inlined_kernel
def _first_frames(frame_row, firsts):
    """Write for each row where its frames begin."""
    frame = 0
    for row in range(len(firsts)):
        while frame < len(frame_row) and frame_row[frame] < row:
            frame += 1
        firsts[row] = frame


@inlined_kernel
def _write(states, row, poses, covs, k):
    """Write a state as pose and full covariance ``k``."""
    poses[k, 0], poses[k, 1], poses[k, 2] = states[row, 0], states[row, 1], wrapped(states[row, 2])
    covs[k, 0, 0], covs[k, 1, 1], covs[k, 2, 2] = states[row, 3], states[row, 6], states[row, 8]
    covs[k, 0, 1] = covs[k, 1, 0] = states[row, 4]
    covs[k, 0, 2] = covs[k, 2, 0] = states[row, 5]
    covs[k, 1, 2] = covs[k, 2, 1] = states[row, 7]
