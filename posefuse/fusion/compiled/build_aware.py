"""The compiled filter that knows of build errors: one run, late frames put back."""

import math

import numpy as np

from posefuse.compiling import kernel
from posefuse.fusion.build_arrays import Room
from posefuse.fusion.compiled.build_rows import corner_rows, pose_rows
from posefuse.fusion.compiled.build_state import copy_state, correct_build, innovate, step_build
from posefuse.fusion.compiled.filter import FUSED, GATED, NO_SOLUTION
from posefuse.fusion.compiled.state import wrapped
from posefuse.solving.compiled.frame_sums import OWN_COLUMNS, TAG_COLUMNS
from posefuse.solving.compiled.slopes import COLUMNS

__all__ = ["run_build_aware"]


@kernel
def _pose_fit(mean, table, measured, build, which, room):
    """(nis, parts): a solved pose, of two solutions the one that fits state and corners better."""
    m, eye = which
    parts = pose_rows(mean, measured, build, (m, 0, eye), room)
    nis = innovate(table, build, (3, parts), room)
    if measured.solutions[m, 1, 3] > 0.0:
        first = nis + measured.solutions[m, 0, 9]
        parts = pose_rows(mean, measured, build, (m, 1, eye), room)
        nis = innovate(table, build, (3, parts), room)
        if not nis + measured.solutions[m, 1, 9] < first:
            parts = pose_rows(mean, measured, build, (m, 0, eye), room)
            nis = innovate(table, build, (3, parts), room)
    return nis, parts


@kernel
def _fuse_frame(mean, table, frame, run, views, room, output):
    """Correct a state by a frame's measurements, one after another.

    run: tuple of frames, measured, build, gate; views: see ``corner_rows``.
    """
    frames, measured, build, gate = run
    size = 3 if measured.is_solved else 8
    for m in range(frames.begin[frame], frames.end[frame]):
        if measured.is_solved:
            which = (m, measured.eye[frame])
            nis, parts = _pose_fit(mean, table, measured, build, which, room)
        else:
            parts = corner_rows(mean, measured, build, (m, frame), views, room)
            nis = innovate(table, build, (size, parts), room) if parts > 0 else math.nan
        output.nis[m], output.outcome[m] = nis, NO_SOLUTION
        if parts > 0:
            output.outcome[m] = FUSED if nis <= gate else GATED
            if nis <= gate:
                correct_build(mean, table, build, (size, parts), room)


@kernel
def _most_parts(measured):
    """The most parts of a state that one measurement can depend on."""
    most = 1
    for m in range(len(measured.tag_count)):
        most = max(most, measured.tag_count[m])
    return 3 + OWN_COLUMNS + most * TAG_COLUMNS


@kernel
def _write(mean, table, output, k):
    """Write pose and covariance of row k."""
    output.poses[k, 0], output.poses[k, 1], output.poses[k, 2] = mean[0], mean[1], wrapped(mean[2])
    for i in range(3):
        for j in range(3):
            output.covs[k, i, j] = table[i, j]


@kernel
def _write_build(mean, table, build, output, k):
    """Write the constants, and their covariance with the pose of row k where it is wanted."""
    kept = table.shape[0]
    for j in range(len(mean)):
        output.values[j] = mean[j]
        output.variances[j] = table[j, j] if j < kept else build.variances[j]
    if k < len(output.cross):
        for i in range(3):
            for j in range(len(mean)):
                output.cross[k, i, j] = table[i, j]


@kernel
def _span(frames):
    """The most rows that lie between a frame's row and the row at which it is known, and one."""
    most = 0
    for f in range(len(frames.row)):
        most = max(most, frames.arrival[f] - frames.row[f])
    return most + 1


@kernel
def run_build_aware(start, steps, run, first_frames, cameras, tags, output):
    """Filter one run: writes poses and covariances of every row as they stood at it.

    The states before their frames of the last rows are kept in a ring; where frames arrive, the run
    is taken up at the earliest row that they belong to.

    Parameters
    ----------
    start : tuple of row, pose (3,), cov (3, 3)
    steps : (rows, 2) array
        What each step adds to the variances of x and y, and of the heading.
    run : tuple of ``FrameArrays``, ``BuildMeasured``, ``BuildArrays``, gate
    first_frames : tuple of first (rows + 1,), earliest (rows,) ints
        Where each row's frames begin; the first frame that arrives at each row.
    cameras, tags
        ``LinearCameras`` and ``LinearTags`` as stated; what is believed of them is written there.
    output : tuple of ``FilterOutput``, ``BuildOutput``
    """
    frames, measured, build, _ = run
    firsts, earliest = first_frames
    first_row, pose, cov = start
    poses_out, build_out = output
    n = len(build.variances)
    kept = n if build.is_estimated else 3
    room = Room(
        np.empty((8, _most_parts(measured))),
        np.empty(_most_parts(measured), np.int64),
        np.empty(8),
        np.empty((n, 8)),
        np.empty((8, 8)),
        np.empty((3, 3)),
    )
    views = (
        frames.offsets,
        cameras,
        tags,
        np.empty((8, COLUMNS)),
        np.empty((4, 2)),
        np.empty(3),
        np.empty(3),
    )
    mean, table = np.zeros(n), np.zeros((kept, n))
    for i in range(kept):
        table[i, i] = build.variances[i]
    for i in range(3):
        mean[i] = pose[i]
        for j in range(3):
            table[i, j] = cov[i, j]
    ring = _span(frames)
    means, tables = np.empty((ring, n)), np.empty((ring, kept, n))
    count = len(frames.row)
    for k in range(first_row, len(steps)):
        if k > first_row:
            step_build(mean, table, k, steps, build)
        copy_state(mean, table, means[k % ring], tables[k % ring])
        if earliest[k] < count:
            back = frames.row[earliest[k]]
            copy_state(means[back % ring], tables[back % ring], mean, table)
            for row in range(back, k + 1):
                if row > back:
                    step_build(mean, table, row, steps, build)
                    copy_state(mean, table, means[row % ring], tables[row % ring])
                for f in range(firsts[row], firsts[row + 1]):
                    if frames.arrival[f] <= k:
                        _fuse_frame(mean, table, f, run, views, room, poses_out)
        _write(mean, table, poses_out, k)
        _write_build(mean, table, build, build_out, k)
    for k in range(first_row):
        for i in range(3):
            poses_out.poses[k, i] = poses_out.poses[first_row, i]
            for j in range(3):
                poses_out.covs[k, i, j] = poses_out.covs[first_row, i, j]
