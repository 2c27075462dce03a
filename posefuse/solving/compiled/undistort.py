"""Compiled removal of the lens' distortion from many corners, 16 side by side.

The same Newton's method as ``undistort_point``, which takes over wherever the common steps fail.
Rows and lanes as in ``solving.compiled.square``.
"""

import numpy as np

from posefuse.compiling import kernel
from posefuse.sensing.compiled.projection import distort_with_slopes, undistort_point
from posefuse.solving.compiled.square import LANES

__all__ = ["normalise_distorted", "normalise_straight"]

COMMON_STEPS = 10
SETTLED = 3e-8
"""Length of the last step; the one after it would be about its square, 1e-15."""
SIGHTINGS = LANES // 4


@kernel
def _undistort_lanes(pixels, lens, points, slopes):
    """Write the points (2, LANES) that the lens puts at ``pixels`` (2, LANES), and the slopes.

    Parameters
    ----------
    slopes : (4, LANES)
        Rows: slopes of the distortion there, xx, xy and yy; the length of the last step, nan where
        the way led over the lens' fold.
    """
    assert pixels.shape[1] == LANES
    assert points.shape[1] == LANES
    assert slopes.shape[1] == LANES
    for lane in range(LANES):
        points[0, lane] = (pixels[0, lane] - lens[2]) / lens[0]
        points[1, lane] = (pixels[1, lane] - lens[3]) / lens[1]
        slopes[3, lane] = 1.0
    for _ in range(COMMON_STEPS):
        for lane in range(LANES):
            x, y = points[0, lane], points[1, lane]
            xd, yd, xx, xy, yy = distort_with_slopes(x, y, lens)
            off_x = (pixels[0, lane] - lens[2]) / lens[0] - xd
            off_y = (pixels[1, lane] - lens[3]) / lens[1] - yd
            determinant = xx * yy - xy * xy
            step_x = (yy * off_x - xy * off_y) / determinant
            step_y = (xx * off_y - xy * off_x) / determinant
            is_before_fold = min(xx + yy, determinant) > 0.0
            length = (abs(step_x) + abs(step_y)) / (1.0 + abs(x) + abs(y))
            length = 0.0 * slopes[3, lane] + (length if is_before_fold else np.nan)
            # what has settled stays as it is: no lane depends on its neighbours
            is_settled = slopes[3, lane] < SETTLED
            points[0, lane] = x if is_settled else x + step_x
            points[1, lane] = y if is_settled else y + step_y
            slopes[0, lane] = slopes[0, lane] if is_settled else xx
            slopes[1, lane] = slopes[1, lane] if is_settled else xy
            slopes[2, lane] = slopes[2, lane] if is_settled else yy
            slopes[3, lane] = slopes[3, lane] if is_settled else length
        most = 0.0
        for lane in range(LANES):
            most = max(most, slopes[3, lane])
        if most < SETTLED:
            break
    for lane in range(LANES):
        if not slopes[3, lane] < SETTLED:
            x, y = undistort_point(pixels[0, lane], pixels[1, lane], lens)
            _, _, slopes[0, lane], slopes[1, lane], slopes[2, lane] = distort_with_slopes(
                x, y, lens
            )
            points[0, lane] = x
            points[1, lane] = y


@kernel
def normalise_distorted(corners_px, chosen, lens, corners, slopes):
    """Write the corners (S, 4, 2) on the plane at depth 1 of sightings seen by one lens.

    Parameters
    ----------
    corners_px : (S, 4, 2)
    chosen : ints
        The sightings.
    slopes : (S, 4, 3)
        Written: xx, xy and yy of ``distort_with_slopes`` at the corners.
    """
    pixels, points = np.empty((2, LANES)), np.empty((2, LANES))
    at_points = np.empty((4, LANES))
    for start in range(0, len(chosen), SIGHTINGS):
        for lane in range(LANES):
            s = chosen[min(start + lane // 4, len(chosen) - 1)]
            pixels[0, lane] = corners_px[s, lane % 4, 0]
            pixels[1, lane] = corners_px[s, lane % 4, 1]
        _undistort_lanes(pixels, lens, points, at_points)
        for lane in range(4 * min(SIGHTINGS, len(chosen) - start)):
            s, corner = chosen[start + lane // 4], lane % 4
            corners[s, corner, 0] = points[0, lane]
            corners[s, corner, 1] = points[1, lane]
            slopes[s, corner, 0] = at_points[0, lane]
            slopes[s, corner, 1] = at_points[1, lane]
            slopes[s, corner, 2] = at_points[2, lane]


@kernel
def normalise_straight(corners_px, camera, lenses, straight, corners):
    """Write the corners (S, 4, 2) of all sightings by lenses without distortion.

    Parameters
    ----------
    camera : (S,) ints
        Each sighting's.
    lenses, straight : (C, 12), (C,)
        Lens rows, and which have no distortion.
    """
    for s in range(len(camera)):
        eye = camera[s]
        if straight[eye]:
            fx, fy, cx, cy = lenses[eye, 0], lenses[eye, 1], lenses[eye, 2], lenses[eye, 3]
            for corner in range(4):
                corners[s, corner, 0] = (corners_px[s, corner, 0] - cx) / fx
                corners[s, corner, 1] = (corners_px[s, corner, 1] - cy) / fy
