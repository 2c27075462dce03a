"""Compiled gathering of frames into lanes.

Rows and lanes as in ``solving.compiled.square``; sightings, tags and cameras are named tuples of
``solving.arrays``.
"""

import numpy as np

from posefuse.compiling import kernel
from posefuse.solving.compiled.square import LANES
from posefuse.solving.limits import LEAST_AREA_PX2

__all__ = ["MIDDLE_ROWS", "TAG_COLUMNS", "frame_middle", "gather_lanes"]

TAG_COLUMNS = 13
MIDDLE_ROWS = 9


@kernel
def _largest(corners_px, first, count):
    """(sighting, area in px squared) of the frame's largest tag: half the diagonals' product."""
    best, most = first, -np.inf
    for s in range(first, first + count):
        area = 0.5 * (
            (corners_px[s, 2, 0] - corners_px[s, 0, 0])
            * (corners_px[s, 3, 1] - corners_px[s, 1, 1])
            - (corners_px[s, 3, 0] - corners_px[s, 1, 0])
            * (corners_px[s, 2, 1] - corners_px[s, 0, 1])
        )
        if area > most:
            best, most = s, area
    return best, most


@kernel
def frame_middle(first, count, sighting_tag, tag_rows):
    """(x, y, z): the middle of a frame's corners in the world."""
    x, y, z = 0.0, 0.0, 0.0
    for s in range(first, first + count):
        tag = sighting_tag[s]
        x, y, z = x + tag_rows[tag, 10], y + tag_rows[tag, 11], z + tag_rows[tag, 12]
    return x / count, y / count, z / count


@kernel
def gather_lanes(jobs, sightings, tags, cameras, square, corners, middle):
    """Write a frame into each lane of ``square``, ``corners`` and ``middle``.

    The square is that of the largest tag; where it encloses too little, its corners become nan and
    so does every pose solved from it. ``middle`` (MIDDLE_ROWS, LANES) holds the rows of ``mount``
    in ``plane_lanes`` and the z of the middle of the corners in the world.

    Parameters
    ----------
    jobs : ints
        Twice the frame plus the solution; at most LANES, the last one fills the lanes left over.
    """
    corners_px, seen, slopes, sighting_tag, first_of, count_of, camera_of = sightings
    tag_corners, tag_rows = tags
    lenses, straight, mounts = cameras
    for lane in range(LANES):
        frame = jobs[min(lane, len(jobs) - 1)] // 2
        first, count, eye = first_of[frame], count_of[frame], camera_of[frame]
        fx, fy = lenses[eye, 0], lenses[eye, 1]
        mx, my, mz = frame_middle(first, count, sighting_tag, tag_rows)
        largest, area = _largest(corners_px, first, count)
        for s in range(first, first + count):
            tag = sighting_tag[s]
            for corner in range(4):
                x, y = seen[s, corner, 0], seen[s, corner, 1]
                ux, uy, vx, vy = fx, 0.0, 0.0, fy
                if not straight[eye]:
                    xx, xy, yy = slopes[s, corner, 0], slopes[s, corner, 1], slopes[s, corner, 2]
                    ux, uy, vx, vy = fx * xx, fx * xy, fy * xy, fy * yy
                at = 4 * (s - first) + corner
                corners[at, 0, lane] = tag_corners[tag, corner, 0] - mx
                corners[at, 1, lane] = tag_corners[tag, corner, 1] - my
                corners[at, 2, lane] = tag_corners[tag, corner, 2] - mz
                corners[at, 3, lane] = x
                corners[at, 4, lane] = y
                corners[at, 5, lane] = ux
                corners[at, 6, lane] = uy
                corners[at, 7, lane] = vx
                corners[at, 8, lane] = vy
                if s == largest:
                    square[2 * corner, lane] = x if area >= LEAST_AREA_PX2 else np.nan
                    square[2 * corner + 1, lane] = y
        tag = sighting_tag[largest]
        for k in range(10):
            square[8 + k, lane] = tag_rows[tag, k]
        square[18, lane] = mx - tag_rows[tag, 10]
        square[19, lane] = my - tag_rows[tag, 11]
        square[20, lane] = mz - tag_rows[tag, 12]
        for k in range(6):
            middle[k, lane] = mounts[eye, k]
        middle[6, lane] = mx
        middle[7, lane] = my
        middle[8, lane] = mz
