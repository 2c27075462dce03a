"""Compiled pinhole projection with OpenCV's rational distortion, both ways, and its derivatives.

With ``r2 = x^2 + y^2`` on the plane at depth 1 and
``g = (1 + k1 r2 + k2 r2^2 + k3 r2^3) / (1 + k4 r2 + k5 r2^2 + k6 r2^3)``::

    xd = x g + 2 p1 x y + p2 (r2 + 2 x^2)        u = fx xd + cx
    yd = y g + p1 (r2 + 2 y^2) + 2 p2 x y        v = fy yd + cy

(OpenCV documentation, camera calibration and 3D reconstruction; after D. C. Brown, Close-range
camera calibration, Photogrammetric Engineering 37(8), 1971.) A lens is a row of 12 numbers:
fx, fy, cx, cy, k1, k2, p1, p2, k3, k4, k5, k6.
"""

import numpy as np

from posefuse.compiling import inlined_kernel, kernel

__all__ = [
    "distort",
    "distort_with_slopes",
    "project_point",
    "project_points",
    "project_with_slopes",
    "undistort_point",
    "undistort_points",
]

MOST_STEPS = 50


@inlined_kernel
def distort(x, y, lens):
    """(xd, yd): where the lens puts the point (x, y) of the plane at depth 1; lens (12,)."""
    p1, p2 = lens[6], lens[7]
    r2 = x * x + y * y
    top = 1.0 + r2 * (lens[4] + r2 * (lens[5] + r2 * lens[8]))
    low = r2 * (lens[9] + r2 * (lens[10] + r2 * lens[11]))
    gain = top if low == 0.0 else top / (1.0 + low)  # most lenses need no division
    xd = x * gain + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x)
    yd = y * gain + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y
    return xd, yd


@kernel
def distort_with_slopes(x, y, lens):
    """(xd, yd, dxd/dx, dxd/dy, dyd/dy) of ``distort``; dyd/dx equals dxd/dy."""
    p1, p2 = lens[6], lens[7]
    r2 = x * x + y * y
    top = 1.0 + r2 * (lens[4] + r2 * (lens[5] + r2 * lens[8]))
    low = 1.0 + r2 * (lens[9] + r2 * (lens[10] + r2 * lens[11]))
    top_slope = lens[4] + r2 * (2.0 * lens[5] + 3.0 * r2 * lens[8])
    low_slope = lens[9] + r2 * (2.0 * lens[10] + 3.0 * r2 * lens[11])
    gain = top / low
    gain_slope = 2.0 * (top_slope - gain * low_slope) / low  # dg/dr2, times the 2 of dr2 = 2 x dx
    xd = x * gain + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x)
    yd = y * gain + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y
    by_xx = gain + x * x * gain_slope + 2.0 * p1 * y + 6.0 * p2 * x
    by_xy = x * y * gain_slope + 2.0 * p1 * x + 2.0 * p2 * y
    by_yy = gain + y * y * gain_slope + 6.0 * p1 * y + 2.0 * p2 * x
    return xd, yd, by_xx, by_xy, by_yy


@inlined_kernel
def project_point(x, y, z, lens):
    """(u, v) in px of a point in the camera frame; the caller sees to it that z > 0."""
    inverse = 1.0 / z
    xd, yd = distort(x * inverse, y * inverse, lens)
    return lens[0] * xd + lens[2], lens[1] * yd + lens[3]


@kernel
def project_with_slopes(x, y, z, lens):
    """(u, v, du/dx, du/dy, du/dz, dv/dx, dv/dy, dv/dz) of a point in the camera frame."""
    inverse = 1.0 / z
    xn, yn = x * inverse, y * inverse
    xd, yd, xx, xy, yy = distort_with_slopes(xn, yn, lens)
    ux, uy = lens[0] * xx * inverse, lens[0] * xy * inverse
    vx, vy = lens[1] * xy * inverse, lens[1] * yy * inverse
    uz, vz = -(ux * xn + uy * yn), -(vx * xn + vy * yn)
    return lens[0] * xd + lens[2], lens[1] * yd + lens[3], ux, uy, uz, vx, vy, vz


@kernel
def undistort_point(u, v, lens):
    """(x, y) on the plane at depth 1 of a pixel, by Newton's method to about 1e-15.

    (nan, nan) where no point of the lens' one-to-one region leads to the pixel.
    """
    goal_x, goal_y = (u - lens[2]) / lens[0], (v - lens[3]) / lens[1]
    x, y = goal_x, goal_y
    for _ in range(MOST_STEPS):
        xd, yd, xx, xy, yy = distort_with_slopes(x, y, lens)
        determinant = xx * yy - xy * xy
        if not (xx + yy > 0.0 and determinant > 0.0):  # over the fold
            break
        off_x, off_y = goal_x - xd, goal_y - yd
        step_x = (yy * off_x - xy * off_y) / determinant
        step_y = (xx * off_y - xy * off_x) / determinant
        x += step_x
        y += step_y
        if abs(step_x) + abs(step_y) < 1e-12 * (1.0 + abs(x) + abs(y)):
            return x, y
    return np.nan, np.nan


@kernel
def project_points(points, lens, radius_limit, pixels):
    """Write pixels (n, 2) of camera-frame points (n, 3); nan behind the camera or past the fold."""
    for i in range(points.shape[0]):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        if z > 0.0 and x * x + y * y <= (radius_limit * z) ** 2:
            pixels[i, 0], pixels[i, 1] = project_point(x, y, z, lens)
        else:
            pixels[i, 0] = np.nan
            pixels[i, 1] = np.nan


@kernel
def undistort_points(pixels, lens, points):
    """Write the points (n, 2) of the plane at depth 1 that lead to pixels (n, 2)."""
    for i in range(pixels.shape[0]):
        points[i, 0], points[i, 1] = undistort_point(pixels[i, 0], pixels[i, 1], lens)
