"""The compiled filter: one run, row by row, with late frames put back and what follows replayed."""

import math

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.fusion.compiled.models import (
    beacon_information,
    corner_information,
    move_camera,
    move_sensor,
    pose_information,
)
from posefuse.fusion.compiled.state import correct, nis, predict, wrapped

__all__ = [
    "BEACONS",
    "CORNERS",
    "FUSED",
    "GATED",
    "NO_SOLUTION",
    "POSES",
    "arc",
    "arcs",
    "index_frames",
    "locate",
    "run_filter",
]

POSES, CORNERS, BEACONS = 0, 1, 2
FUSED, GATED, NO_SOLUTION = 0, 1, 3  # values of Outcome


@kernel
def locate(stamps, times, rows):
    """Write for each time the last row stamped at or before it, -1 where there is none.

    Walks from the row found last, which is fast where the times are nearly in order.
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


@inlined_kernel
def arc(forward, left, turn):
    """(dx, dy, cos(turn), sin(turn)): the motion of a twist.

    The same as ``geometry.arc_motion``; a turn below a quarter radian by its series, whose first
    term left out is below 1e-17.
    """
    w = turn
    if abs(w) < 0.25:
        q = w * w
        sine = 1.0 - q / 6.0 * (
            1.0 - q / 20.0 * (1.0 - q / 42.0 * (1.0 - q / 72.0 * (1.0 - q / 110.0)))
        )
        cosine = 0.5 * w * (1.0 - q / 12.0 * (1.0 - q / 30.0 * (1.0 - q / 56.0 * (1.0 - q / 90.0))))
        c, s = 1.0 - w * cosine, w * sine
    else:
        c, s = math.cos(w), math.sin(w)
        sine, cosine = s / w, (1.0 - c) / w
    return sine * forward - cosine * left, cosine * forward + sine * left, c, s


@kernel
def arcs(twists, row, share, motions):
    """Write the motion of a share of a twist: dx, dy, turn, cos(turn), sin(turn).

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
        turn = share[k] * twists[row[k], 2]
        dx, dy, c, s = arc(share[k] * twists[row[k], 0], share[k] * twists[row[k], 1], turn)
        motions[k, 0], motions[k, 1], motions[k, 2] = dx, dy, turn
        motions[k, 3], motions[k, 4] = c, s


@inlined_kernel
def _nearest_information(states, row, solutions, k, information):
    """Write the information of a solved pose: of two solutions, the more likely one.

    Its distance from the state and its misfit to the corners decide together. There is a second one
    where its information is above zero.
    """
    which = 0
    if solutions[k, 1, 3] > 0.0:
        pose_information(states, row, solutions, k, 1, information)
        second = nis(states, row, information) + solutions[k, 1, 9]
        pose_information(states, row, solutions, k, 0, information)
        which = 1 if second < nis(states, row, information) + solutions[k, 0, 9] else 0
    pose_information(states, row, solutions, k, which, information)


@inlined_kernel
def _move_sensor(measured, frames, frame, moved):
    """Write the numbers of a frame's sensor as seen from the robot at the frame's row."""
    if measured.kind == CORNERS:
        move_camera(measured.sensors, measured.sensor[frame], frames.offsets, frame, moved)
    elif measured.kind == BEACONS:
        move_sensor(measured.sensors, measured.sensor[frame], frames.offsets, frame, moved)


@inlined_kernel
def _fuse_frame(states, row, frame, frames, measured, gate, room, output):
    """Correct state ``row`` by the measurements of a frame, one after another.

    Parameters
    ----------
    room : ((14,), (10,))
        The numbers of the frame's sensor; where to write the information of a measurement.
    """
    moved, information = room
    for k in range(frames.begin[frame], frames.end[frame]):
        is_possible = True
        if measured.kind == CORNERS:
            is_possible = corner_information(states, row, moved, measured, k, information)
        elif measured.kind == BEACONS:
            is_possible = beacon_information(states, row, moved, measured, k, information)
        else:
            _nearest_information(states, row, measured.solutions, k, information)
        output.nis[k], output.outcome[k] = math.nan, NO_SOLUTION
        if is_possible:
            output.nis[k] = correct(states, row, information, gate)
            output.outcome[k] = FUSED if output.nis[k] <= gate else GATED


@inlined_kernel
def _carry(states, now, row, to, steps):
    """Carry state ``now``, one of those at a row, on to a later row; which state stands there."""
    while row < to:
        row += 1
        predict(states, now, row, steps, row)
        now = row
    return now


@inlined_kernel
def _state_before(frame, k, firsts, frames, rows):
    """Which state a frame corrects at row ``k``: the one after the last frame known before it."""
    now = frames.row[frame]
    for before in range(firsts[now], frame):
        if frames.arrival[before] < k:
            now = rows + before
    return now


@kernel
def run_filter(start, first_row, steps, frames, measured, gate, output):
    """Filter one run: writes poses and covariances of every row as they stood at it.

    Behind every row's state before its frames (rows 0 to N-1 of the table of states) stands the
    state after each frame (N and up), so that a late frame takes up the run exactly where it
    belongs.

    Parameters
    ----------
    start : (9,)
        The state at ``first_row``.
    steps, frames, measured, output
        ``StepArrays``, ``FrameArrays``, ``MeasurementArrays``, ``FilterOutput``.
    gate : float
        The largest normalised innovation squared that is fused.
    """
    rows, count = len(output.poses), len(frames.row)
    states = np.empty((rows + count, 9))
    firsts, earliest = np.empty(rows + 1, np.int64), np.full(rows, count, np.int64)
    index_frames(frames, firsts, earliest)
    room = np.empty(14), np.empty(10)
    for i in range(9):
        states[first_row, i] = start[i]
    now = first_row
    for k in range(first_row, rows):
        now = _carry(states, now, max(k - 1, first_row), k, steps)
        row, frame = k, earliest[k]
        if frame < count:
            row = frames.row[frame]
            now = _state_before(frame, k, firsts, frames, rows)
        while frame < firsts[k + 1]:
            now = _carry(states, now, row, frames.row[frame], steps)
            row = frames.row[frame]
            if frames.arrival[frame] <= k:
                for i in range(9):
                    states[rows + frame, i] = states[now, i]
                now = rows + frame
                _move_sensor(measured, frames, frame, room[0])
                _fuse_frame(states, now, frame, frames, measured, gate, room, output)
            frame += 1
        now = _carry(states, now, row, k, steps)
        _write(states, now, output, k)
    for k in range(first_row):
        _write(states, first_row, output, k)


@kernel
def index_frames(frames, firsts, earliest):
    """Write where the frames of each row begin, and the first frame that arrives at each row.

    Where no frame begins or arrives, their count; earliest must hold it already.
    """
    frame = 0
    for row in range(len(firsts)):
        while frame < len(frames.row) and frames.row[frame] < row:
            frame += 1
        firsts[row] = frame
    for frame in range(len(frames.row) - 1, -1, -1):
        earliest[frames.arrival[frame]] = frame


@inlined_kernel
def _write(states, row, output, k):
    """Write a state as pose and full covariance ``k``."""
    poses, covs = output.poses, output.covs
    poses[k, 0], poses[k, 1], poses[k, 2] = states[row, 0], states[row, 1], wrapped(states[row, 2])
    covs[k, 0, 0], covs[k, 1, 1], covs[k, 2, 2] = states[row, 3], states[row, 6], states[row, 8]
    covs[k, 0, 1] = covs[k, 1, 0] = states[row, 4]
    covs[k, 0, 2] = covs[k, 2, 0] = states[row, 5]
    covs[k, 1, 2] = covs[k, 2, 1] = states[row, 7]
