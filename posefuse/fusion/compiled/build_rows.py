"""Compiled: a measurement's innovation, and how it depends on the pose and on the build.

``room`` is a ``Room`` of ``fusion.build_arrays``: the Jacobian stands in its ``rows``, by the parts
of the state named in ``places``, pose first. All functions return how many parts these are.
"""

import math

from posefuse.compiling import inlined_kernel, kernel
from posefuse.fusion.compiled.as_built import build_camera, build_tag, value_of
from posefuse.fusion.compiled.state import wrapped
from posefuse.geometry.compiled.symmetric import inverse_of
from posefuse.solving.compiled.slopes import LEAN, OWN, TAG, corner_slopes

__all__ = ["corner_rows", "pose_rows"]

CLOCK = 10
"""Place of the clock offset among a mount's constants."""


@inlined_kernel
def _add_columns(room, at, source, first, places_of, size):
    """Add the columns of a source, from ``first`` on, whose constants are not known."""
    for j in range(len(places_of)):
        if places_of[j] >= 0:
            for q in range(size):
                room.rows[q, at] = source[q, first + j]
            room.places[at] = places_of[j]
            at += 1
    return at


@kernel
def pose_rows(mean, measured, build, which, room):
    """Write the innovation of a solved pose, H and R; which: measurement, solution, camera."""
    m, k, eye = which
    rows = room.rows
    for q in range(3):
        for j in range(3):
            rows[q, j] = 1.0 if q == j else 0.0
        room.places[q] = q
    at = _add_columns(room, 3, measured.own[m, k], 0, build.own_place[eye], 3)
    at = _add_columns(room, at, measured.own[m, k], LEAN - OWN, build.lean_place, 3)
    for s in range(measured.first[m], measured.first[m] + measured.tag_count[m]):
        places = build.tag_place[measured.target[s]]
        at = _add_columns(room, at, measured.of_tag[s, k], 0, places, 3)
    solution = measured.solutions[m, k]
    for q in range(3):
        off = solution[q] - mean[q]
        if q == 2:
            off = wrapped(off)
        for j in range(3, at):
            off -= rows[q, j] * mean[room.places[j]]
        room.off[q] = off
    xx, xy, xh, yy, yh, hh = inverse_of(
        solution[3], solution[4], solution[5], solution[6], solution[7], solution[8]
    )
    cov = room.cov
    cov[0, 0], cov[1, 0], cov[2, 0] = xx, xy, xh
    cov[1, 1], cov[2, 1], cov[2, 2] = yy, yh, hh
    return at


@kernel
def corner_rows(mean, measured, build, which, views, room):
    """Write the innovation of a tag's corners, H and R; 0 where they cannot be measured.

    Parameters
    ----------
    which : tuple of measurement, frame
    views : tuple of offsets (frames, 5), cameras, tags, slopes (8, COLUMNS), pixels (4, 2),
        pose (3,), velocity (3,)
        Motions from the rows to the captures; cameras and tags as believed; and room.
    """
    m, frame = which
    offsets, cameras, tags, slopes, pixels, pose, velocity = views
    eye, n = measured.eye[frame], measured.target[measured.first[m]]
    build_camera(build, eye, mean, measured.leans[frame], cameras)
    if build.is_estimated:
        build_tag(build, n, mean, tags)
    c, s = math.cos(mean[2]), math.sin(mean[2])
    east = c * offsets[frame, 0] - s * offsets[frame, 1]
    north = s * offsets[frame, 0] + c * offsets[frame, 1]
    heading = mean[2] + offsets[frame, 2]
    c, s = math.cos(heading), math.sin(heading)
    v = measured.velocities[frame]
    velocity[0], velocity[1], velocity[2] = c * v[0] - s * v[1], s * v[0] + c * v[1], v[2]
    late = value_of(mean, build.own_place[eye, CLOCK])
    pose[0] = mean[0] + east - late * velocity[0]
    pose[1] = mean[1] + north - late * velocity[1]
    pose[2] = heading - late * velocity[2]
    is_ahead = corner_slopes(cameras, eye, tags, n, pose, velocity, slopes, pixels)
    at, total = 0, 0.0
    if is_ahead:
        for q in range(8):
            room.off[q] = measured.corners_px[measured.first[m], q] - pixels[q >> 1, q & 1]
            total += room.off[q]
            room.rows[q, 0], room.rows[q, 1] = slopes[q, 0], slopes[q, 1]
            room.rows[q, 2] = slopes[q, 2] + east * slopes[q, 1] - north * slopes[q, 0]
            for r in range(q + 1):
                # the lean of the moment is not known exactly
                shared = slopes[q, LEAN] * slopes[r, LEAN]
                shared += slopes[q, LEAN + 1] * slopes[r, LEAN + 1]
                room.cov[q, r] = measured.lean_vars[frame] * shared
            room.cov[q, q] += measured.variances_px2[m]
        for j in range(3):
            room.places[j] = j
        at = _add_columns(room, 3, slopes, OWN, build.own_place[eye], 8)
        at = _add_columns(room, at, slopes, LEAN, build.lean_place, 8)
        at = _add_columns(room, at, slopes, TAG, build.tag_place[n], 8)
    return at if math.isfinite(total) else 0
