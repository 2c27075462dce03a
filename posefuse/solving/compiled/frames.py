"""Compiled poses of many frames at once: 16 side by side, those of equally many tags together.

One tag: both closed-form solutions, each refined. Several tags: the better of the largest tag's two
solutions, judged and refined on all corners; its mirror image too where that fits nearly as well,
as it may when the tags share a plane. A few steps settle nearly all; the others get more.

``sightings``, ``tags``, ``cameras`` and ``found`` (``SolutionArrays``) are named tuples of
``solving.arrays``.
"""

import numpy as np

from posefuse.compiling import kernel
from posefuse.solving.arrays import RefineArrays
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
    error_lanes,
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

__all__ = ["UNSETTLED", "rank_solutions", "solve_bulk"]

NO_SOLUTION, UNSETTLED, SETTLED = 0, 1, 2
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
def _better_start(square, slope, corners, count, view, other, error):
    """Write the one of the square's two poses that fits all corners better."""
    other_error = np.empty(LANES)
    pose_lanes(square, slope, -1.0, other)
    error_lanes(other, corners, count, other_error)
    pose_lanes(square, slope, 1.0, view)
    error_lanes(view, corners, count, error)
    for lane in range(LANES):
        if other_error[lane] < error[lane]:
            for row in range(VIEW_ROWS):
                view[row, lane] = other[row, lane]


@kernel
def _keep(jobs, which, count, view, room, plane, found):
    """Write the solutions of a group into ``found``."""
    views, poses, covs, rms, state = found
    normal, factor = room.normal, room.factor
    for lane in range(len(jobs)):
        frame, place = jobs[lane] // 2, jobs[lane] % 2 + which
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
def _keep_mirrored(jobs, count, view, error, found):
    """Mark the mirror images of joint solutions for refining where they fit nearly as well."""
    views, _, _, rms, state = found
    for lane in range(len(jobs)):
        frame = jobs[lane] // 2
        near = NEAR_PX + NEAR_RATIO * rms[frame, 0]
        state[frame, 1] = UNSETTLED if error[lane] < 2 * count * near**2 else NO_SOLUTION
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
    """Write solutions into ``found``, in no order of merit.

    Parameters
    ----------
    all_jobs : ints
        Twice the frame plus the solution, in order of the frames' tag counts.
    is_first : bool
        True: the solutions are 0, both are started and given a few steps. False: the given
        solutions go on from their views until they settle.
    """
    count_of = sightings.tag_count
    square, slope = np.empty((SQUARE_ROWS, LANES)), np.empty((SLOPE_ROWS, LANES))
    corners = np.empty((4 * count_of[all_jobs[-1] // 2], CORNER_ROWS, LANES))
    middle, plane = np.empty((MIDDLE_ROWS, LANES)), np.empty((PLANE_ROWS, LANES))
    view, error, spread = np.empty((VIEW_ROWS, LANES)), np.empty(LANES), np.empty((3, 6, LANES))
    room = RefineArrays(
        normal=np.empty((NORMAL_ROWS, LANES)),
        factor=np.empty((FACTOR_ROWS, LANES)),
        damping=np.empty((2, LANES)),
        step=np.empty((6, LANES)),
        moved=np.empty((VIEW_ROWS, LANES)),
        tried=np.empty((NORMAL_ROWS, LANES)),
    )
    start = 0
    while start < len(all_jobs):
        end = _group_end(all_jobs, start, count_of)
        jobs = all_jobs[start:end]
        start = end
        count = 4 * count_of[jobs[0] // 2]
        is_one = is_first and count == 4
        gather_lanes(jobs, sightings, tags, cameras, square, corners, middle)
        slope_lanes(square, slope)
        for which in range(2 if is_one else 1):
            steps = MOST_STEPS
            if is_one:
                pose_lanes(square, slope, 1.0 - 2.0 * which, view)
                steps = STEPS_ONE_TAG
            elif is_first:
                _better_start(square, slope, corners, count, view, room.moved, error)
                steps = STEPS_MORE_TAGS
            else:
                _resume(jobs, found.views, view)
            refine_lanes(view, corners, count, steps, room)
            plane_lanes(view, middle, plane, spread)
            whiten_lanes(room.factor, spread)
            spread_lanes(spread, plane)
            _keep(jobs, which, count, view, room, plane, found)
        if is_first and not is_one:
            mirror_lanes(square, view)
            error_lanes(view, corners, count, error)
            _keep_mirrored(jobs, count, view, error, found)


@kernel
def _ranked(frame, found):
    """(count, best): how many settled solutions of a frame differ, and which one fits better."""
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
def _mean_distance(views, frame, which, sighting_tag, first, count, tag_rows):
    """Mean distance from the camera to the middles of a frame's tags."""
    mx, my, mz = frame_middle(first, count, sighting_tag, tag_rows)
    total = 0.0
    for s in range(first, first + count):
        tag = sighting_tag[s]
        x, y, z = tag_rows[tag, 10] - mx, tag_rows[tag, 11] - my, tag_rows[tag, 12] - mz
        square = 0.0
        for row in range(3):
            part = views[frame, which, 3 * row] * x + views[frame, which, 3 * row + 1] * y
            part += views[frame, which, 3 * row + 2] * z + views[frame, which, 9 + row]
            square += part * part
        total += np.sqrt(square)
    return total / count


@kernel
def _swap(frame, found):
    """Exchange the two solutions of a frame, but for their views."""
    _, poses, covs, rms, _ = found
    rms[frame, 0], rms[frame, 1] = rms[frame, 1], rms[frame, 0]
    for k in range(3):
        poses[frame, 0, k], poses[frame, 1, k] = poses[frame, 1, k], poses[frame, 0, k]
        for j in range(3):
            one, other = covs[frame, 0, k, j], covs[frame, 1, k, j]
            covs[frame, 0, k, j], covs[frame, 1, k, j] = other, one


@kernel
def rank_solutions(sightings, tags, found, solution_count, distance):
    """Put the settled solutions in order, the lower error first; nan where there is none.

    Parameters
    ----------
    solution_count, distance : (M,)
        Written: the solutions left; the mean distance from the camera to the middles of the tags by
        the first solution.
    """
    views, poses, covs, rms, _ = found
    for frame in range(len(solution_count)):
        solutions, best = _ranked(frame, found)
        solution_count[frame] = solutions
        first, count = sightings.first[frame], sightings.tag_count[frame]
        distance[frame] = np.nan
        if solutions > 0:
            distance[frame] = _mean_distance(
                views, frame, best, sightings.tag, first, count, tags.rows
            )
        if best == 1:
            _swap(frame, found)
        for which in range(solutions, 2):
            rms[frame, which] = np.nan
            for k in range(3):
                poses[frame, which, k] = np.nan
                for j in range(3):
                    covs[frame, which, k, j] = np.nan
