"""Compiled poses of many frames at once: 16 side by side, those of equally many tags together.

One tag: both closed-form answers, each refined. Several tags: the better of the largest tag's two
answers, judged on all corners and refined on all; its mirror image too where that fits nearly as
well, as it may when the tags share a plane. A few steps settle nearly all; the others get more.

``sightings``, ``tags`` and ``cameras`` are the tuples of ``compiled_gather``. ``found`` is a tuple
of arrays by frame and answer: views (M, 2, 12), the pose of the world's axes in the camera told of
the middle of the frame's corners; poses (M, 2, 3); covs (M, 2, 3, 3); rms in px (M, 2); state
(M, 2), one of the numbers below.
"""

import numpy as np

from posefuse.compiling import kernel
from posefuse.solving.compiled.gather import MIDDLE_ROWS, frame_middle, gather_lanes
from posefuse.solving.compiled.plane import (
    PLANE_ROWS,
    plane_lanes,
    spread_lanes,
    whiten_lanes,
)
from posefuse.solving.compiled.refine import (
    CORNER_ROWS,
    FACTOR_ROWS,
    NORMAL_ROWS,
    miss_lanes,
    refine_lanes,
)
from posefuse.solving.compiled.square import (
    LANES,
    SLOPE_ROWS,
    SQUARE_ROWS,
    VIEW_ROWS,
    mirror_lanes,
    pose_lanes,
    slope_lanes,
)
from posefuse.solving.limits import SAME_TURN_RAD

__all__ = ["UNSETTLED", "rank_answers", "solve_bulk"]

NO_ANSWER, UNSETTLED, SETTLED = 0, 1, 2
STEPS_ONE_TAG = 3
STEPS_MORE_TAGS = 4
MOST_STEPS = 50

SETTLED_PX = 1e-3
"""Settled: the next step would move the corners by less, all in all."""

NEAR_RATIO, NEAR_PX = 4.0, 1.0
"""A mirror image is refined where its error is below NEAR_PX plus NEAR_RATIO times the other's."""


@kernel
def _group_end(jobs, start, count_of):
    """The end of the run of at most LANES jobs from ``start`` on with equally many tags."""
    end = start + 1
    most = min(start + LANES, len(jobs))
    while end < most and count_of[jobs[end] // 2] == count_of[jobs[start] // 2]:
        end += 1
    return end


@kernel
def _better_start(square, slope, corners, count, view, other, miss):
    """Write the one of the square's two poses that fits all corners better."""
    other_miss = np.empty(LANES)
    pose_lanes(square, slope, -1.0, other)
    miss_lanes(other, corners, count, other_miss)
    pose_lanes(square, slope, 1.0, view)
    miss_lanes(view, corners, count, miss)
    for lane in range(LANES):
        if other_miss[lane] < miss[lane]:
            for row in range(VIEW_ROWS):
                view[row, lane] = other[row, lane]


@kernel
def _keep(jobs, answer, count, view, normal, factor, plane, found):
    """Write the answers of a group into ``found``."""
    views, poses, covs, rms, state = found
    for lane in range(len(jobs)):
        frame, place = jobs[lane] // 2, jobs[lane] % 2 + answer
        is_settled = factor[27, lane] <= SETTLED_PX**2 and normal[28, lane] > 0.0
        state[frame, place] = SETTLED if is_settled else UNSETTLED
        for row in range(VIEW_ROWS):
            views[frame, place, row] = view[row, lane]
        poses[frame, place, 0] = plane[0, lane]
        poses[frame, place, 1] = plane[1, lane]
        poses[frame, place, 2] = np.arctan2(plane[3, lane], plane[2, lane])
        entry = 4
        for column in range(3):
            for row in range(column + 1):
                covs[frame, place, row, column] = plane[entry, lane]
                covs[frame, place, column, row] = plane[entry, lane]
                entry += 1
        rms[frame, place] = np.sqrt(normal[27, lane] / (2 * count))


@kernel
def _keep_mirrored(jobs, count, view, miss, found):
    """Put the mirror images of joint answers down to be refined where they fit nearly as well."""
    views, _, _, rms, state = found
    for lane in range(len(jobs)):
        frame = jobs[lane] // 2
        near = NEAR_PX + NEAR_RATIO * rms[frame, 0]
        state[frame, 1] = UNSETTLED if miss[lane] < 2 * count * near**2 else NO_ANSWER
        for row in range(VIEW_ROWS):
            views[frame, 1, row] = view[row, lane]


@kernel
def _resume(jobs, views, view):
    """Write the views at which the jobs were left."""
    for lane in range(LANES):
        job = jobs[min(lane, len(jobs) - 1)]
        for row in range(VIEW_ROWS):
            view[row, lane] = views[job // 2, job % 2, row]


@kernel
def solve_bulk(all_jobs, is_first, sightings, tags, cameras, found):
    """Write answers into ``found``, in no order of merit.

    Parameters
    ----------
    all_jobs : ints
        Twice the frame plus the answer, in order of the frames' tag counts.
    is_first : bool
        True: the answers are 0, both are started and given a few steps. False: the given answers go
        on from their views until they settle.
    """
    count_of = sightings[5]
    square, slope = np.empty((SQUARE_ROWS, LANES)), np.empty((SLOPE_ROWS, LANES))
    corners = np.empty((4 * count_of[all_jobs[-1] // 2], CORNER_ROWS, LANES))
    middle, plane = np.empty((MIDDLE_ROWS, LANES)), np.empty((PLANE_ROWS, LANES))
    view, other = np.empty((VIEW_ROWS, LANES)), np.empty((VIEW_ROWS, LANES))
    normal, tried = np.empty((NORMAL_ROWS, LANES)), np.empty((NORMAL_ROWS, LANES))
    factor, step = np.empty((FACTOR_ROWS, LANES)), np.empty((6, LANES))
    damping, miss, spread = np.empty((2, LANES)), np.empty(LANES), np.empty((3, 6, LANES))
    start = 0
    while start < len(all_jobs):
        end = _group_end(all_jobs, start, count_of)
        jobs = all_jobs[start:end]
        start = end
        count = 4 * count_of[jobs[0] // 2]
        is_one = is_first and count == 4
        gather_lanes(jobs, sightings, tags, cameras, square, corners, middle)
        slope_lanes(square, slope)
        for answer in range(2 if is_one else 1):
            steps = MOST_STEPS
            if is_one:
                pose_lanes(square, slope, 1.0 - 2.0 * answer, view)
                steps = STEPS_ONE_TAG
            elif is_first:
                _better_start(square, slope, corners, count, view, other, miss)
                steps = STEPS_MORE_TAGS
            else:
                _resume(jobs, found[0], view)
            refine_lanes(view, corners, count, steps, normal, factor, damping, step, other, tried)
            plane_lanes(view, middle, plane, spread)
            whiten_lanes(factor, spread)
            spread_lanes(spread, plane)
            _keep(jobs, answer, count, view, normal, factor, plane, found)
        if is_first and not is_one:
            mirror_lanes(square, view)
            miss_lanes(view, corners, count, miss)
            _keep_mirrored(jobs, count, view, miss, found)


@kernel
def _ranked(frame, found):
    """(count, best): how many settled answers of a frame differ, and which has the lower error."""
    views, _, _, rms, state = found
    if state[frame, 0] == SETTLED and state[frame, 1] == SETTLED:
        best = 0 if rms[frame, 0] <= rms[frame, 1] else 1
        apart = 0.0  # of two rotations: twice the square of the angle between them
        for row in range(9):
            apart += (views[frame, 0, row] - views[frame, 1, row]) ** 2
        return (1 if apart < 2.0 * SAME_TURN_RAD**2 else 2), best
    best = 0 if state[frame, 0] == SETTLED else 1
    return (1 if state[frame, best] == SETTLED else 0), best


@kernel
def _mean_distance(views, frame, answer, sighting_tag, first, count, tag_rows):
    """Mean distance from the camera to the middles of a frame's tags."""
    mx, my, mz = frame_middle(first, count, sighting_tag, tag_rows)
    total = 0.0
    for s in range(first, first + count):
        tag = sighting_tag[s]
        x, y, z = tag_rows[tag, 10] - mx, tag_rows[tag, 11] - my, tag_rows[tag, 12] - mz
        square = 0.0
        for row in range(3):
            part = views[frame, answer, 3 * row] * x + views[frame, answer, 3 * row + 1] * y
            part += views[frame, answer, 3 * row + 2] * z + views[frame, answer, 9 + row]
            square += part * part
        total += np.sqrt(square)
    return total / count


@kernel
def _swap(frame, found):
    """Exchange the two answers of a frame, but for their views."""
    _, poses, covs, rms, _ = found
    rms[frame, 0], rms[frame, 1] = rms[frame, 1], rms[frame, 0]
    for k in range(3):
        poses[frame, 0, k], poses[frame, 1, k] = poses[frame, 1, k], poses[frame, 0, k]
        for j in range(3):
            one, other = covs[frame, 0, k, j], covs[frame, 1, k, j]
            covs[frame, 0, k, j], covs[frame, 1, k, j] = other, one


@kernel
def rank_answers(sightings, tags, found, answer_count, distance):
    """Put the settled answers in order, the lower error first; nan where there is none.

    Parameters
    ----------
    answer_count, distance : (M,)
        Written: the answers left; the mean distance from the camera to the middles of the tags by
        the first answer.
    """
    _, _, _, sighting_tag, first_of, count_of, _ = sightings
    views, poses, covs, rms, _ = found
    for frame in range(len(answer_count)):
        answers, best = _ranked(frame, found)
        answer_count[frame] = answers
        first, count = first_of[frame], count_of[frame]
        distance[frame] = np.nan
        if answers > 0:
            distance[frame] = _mean_distance(
                views, frame, best, sighting_tag, first, count, tags[1]
            )
        if best == 1:
            _swap(frame, found)
        for answer in range(answers, 2):
            rms[frame, answer] = np.nan
            for k in range(3):
                poses[frame, answer, k] = np.nan
                for j in range(3):
                    covs[frame, answer, k, j] = np.nan
