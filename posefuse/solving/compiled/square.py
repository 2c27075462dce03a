"""Compiled first solutions: both poses of one square tag from its four corners, in closed form.

Kernels with "lanes" in their name work on 16 frames side by side, so that the compiler can use the
processor's wide registers: arrays are (rows, LANES), one frame a column. The assertions state how
wide the arrays are; without them the compiler takes the frames one by one.

Method: T. Collins, A. Bartoli, Infinitesimal Plane-Based Pose Estimation, IJCV 109(3), 252-286,
2014. The slope of the homography at the middle of the square fixes the tag's axes up to a mirroring
about the line of sight: what an axis lacks of its full length lies along that line, toward the
camera or away from it.
"""

import numpy as np

from posefuse.compiling import kernel

__all__ = [
    "LANES",
    "SLOPE_ROWS",
    "SQUARE_ROWS",
    "VIEW_ROWS",
    "mirror_lanes",
    "pose_lanes",
    "slope_lanes",
]

LANES = 16
SQUARE_ROWS = 21
SLOPE_ROWS = 8
VIEW_ROWS = 12


@kernel
def slope_lanes(square, slope):
    """Write how each square's image changes at its middle, seen across the line of sight.

    nan where the corners are not a convex square seen from its face.

    Parameters
    ----------
    square : (SQUARE_ROWS, LANES)
        Rows 0-7: x and y of the corners on the plane at depth 1, top left first, then clockwise;
        8: half the edge; 9-17: rotation from tag to world axes; 18-20: the origin of
        the poses, less the tag's middle, in world axes.
    slope : (SLOPE_ROWS, LANES)
        Rows 0-1: image of the middle; 2-5: x and y across the line of sight of the tag's x axis,
        then of its y axis, of unit length; 6: depth of the middle; 7: -1 where the axes lean to
        opposite sides of the plane across the line of sight, else 1.
    """
    assert square.shape[1] == LANES
    assert slope.shape[1] == LANES
    for lane in range(LANES):
        x0, y0 = square[0, lane], square[1, lane]
        x1, y1 = square[2, lane], square[3, lane]
        x2, y2 = square[4, lane], square[5, lane]
        x3, y3 = square[6, lane], square[7, lane]
        # the homography's denominator at a corner goes as the triangle of the three others
        w0 = (x2 - x1) * (y3 - y1) - (x3 - x1) * (y2 - y1)
        w1 = (x2 - x0) * (y3 - y0) - (x3 - x0) * (y2 - y0)
        w2 = (x1 - x0) * (y3 - y0) - (x3 - x0) * (y1 - y0)
        w3 = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        scale = (1.0 if min(w0, w1, w2, w3) > 0.0 else np.nan) / (w0 + w1 + w2 + w3)
        w0, w1, w2, w3 = w0 * scale, w1 * scale, w2 * scale, w3 * scale
        p = w0 * x0 + w1 * x1 + w2 * x2 + w3 * x3
        q = w0 * y0 + w1 * y1 + w2 * y2 + w3 * y3
        by_x, by_y = w1 + w2 - w0 - w3, w0 + w1 - w2 - w3
        # slope of the image at the middle, by half edges along the tag's x and y
        px = w1 * x1 + w2 * x2 - w0 * x0 - w3 * x3 - by_x * p
        py = w0 * x0 + w1 * x1 - w2 * x2 - w3 * x3 - by_y * p
        qx = w1 * y1 + w2 * y2 - w0 * y0 - w3 * y3 - by_x * q
        qy = w0 * y0 + w1 * y1 - w2 * y2 - w3 * y3 - by_y * q
        # the same in two axes across the line of sight s
        sz = 1.0 / np.sqrt(1.0 + p * p + q * q)
        sx, sy = p * sz, q * sz
        tip = 1.0 / (1.0 + sz)
        b00, b01 = 1.0 - sx * sx * tip + p * sx, p * sy - sx * sy * tip
        b10, b11 = q * sx - sx * sy * tip, 1.0 - sy * sy * tip + q * sy
        turn = 1.0 / (b00 * b11 - b01 * b10)
        ax, ay = (b11 * px - b01 * qx) * turn, (b00 * qx - b10 * px) * turn
        bx, by = (b11 * py - b01 * qy) * turn, (b00 * qy - b10 * py) * turn
        # the larger singular value is half an edge over the depth
        power, area = 0.5 * (ax * ax + ay * ay + bx * bx + by * by), ax * by - ay * bx
        unit = 1.0 / np.sqrt(power + np.sqrt(max(power * power - area * area, 0.0)))
        slope[0, lane] = p
        slope[1, lane] = q
        slope[2, lane] = ax * unit
        slope[3, lane] = ay * unit
        slope[4, lane] = bx * unit
        slope[5, lane] = by * unit
        slope[6, lane] = square[8, lane] * unit
        slope[7, lane] = -1.0 if ax * bx + ay * by > 0.0 else 1.0


@kernel
def pose_lanes(square, slope, lean, view):
    """Write one of the two poses that a slope allows.

    Parameters
    ----------
    square, slope
        As in ``slope_lanes``.
    lean : float
        1 or -1: the tag's x axis leads away from the camera, or toward it.
    view : (VIEW_ROWS, LANES)
        Rows 0-8: rotation from world to camera axes; 9-11: their origin in the camera.
    """
    assert square.shape[1] == LANES
    assert slope.shape[1] == LANES
    assert view.shape[1] == LANES
    for lane in range(LANES):
        p, q = slope[0, lane], slope[1, lane]
        ax, ay = slope[2, lane], slope[3, lane]
        bx, by = slope[4, lane], slope[5, lane]
        az = lean * np.sqrt(max(1.0 - ax * ax - ay * ay, 0.0))
        bz = lean * slope[7, lane] * np.sqrt(max(1.0 - bx * bx - by * by, 0.0))
        sz = 1.0 / np.sqrt(1.0 + p * p + q * q)
        sx, sy = p * sz, q * sz
        tip = 1.0 / (1.0 + sz)
        v00, v01, v11 = 1.0 - sx * sx * tip, -sx * sy * tip, 1.0 - sy * sy * tip
        # the tag's x and y axes in the camera, then squared against rounding, then z
        x0 = v00 * ax + v01 * ay + sx * az
        x1 = v01 * ax + v11 * ay + sy * az
        x2 = sz * az - sx * ax - sy * ay
        y0 = v00 * bx + v01 * by + sx * bz
        y1 = v01 * bx + v11 * by + sy * bz
        y2 = sz * bz - sx * bx - sy * by
        unit = 1.0 / np.sqrt(x0 * x0 + x1 * x1 + x2 * x2)
        x0, x1, x2 = x0 * unit, x1 * unit, x2 * unit
        skew = x0 * y0 + x1 * y1 + x2 * y2
        y0, y1, y2 = y0 - skew * x0, y1 - skew * x1, y2 - skew * x2
        unit = 1.0 / np.sqrt(y0 * y0 + y1 * y1 + y2 * y2)
        y0, y1, y2 = y0 * unit, y1 * unit, y2 * unit
        z0, z1, z2 = x1 * y2 - x2 * y1, x2 * y0 - x0 * y2, x0 * y1 - x1 * y0
        # on to the world's axes: times the rotation from world to tag axes
        dx, dy = square[18, lane], square[19, lane]
        dz, depth = square[20, lane], slope[6, lane]
        u0, u1, u2 = square[9, lane], square[10, lane], square[11, lane]
        r00, r10, r20 = (
            x0 * u0 + y0 * u1 + z0 * u2,
            x1 * u0 + y1 * u1 + z1 * u2,
            x2 * u0 + y2 * u1 + z2 * u2,
        )
        u0, u1, u2 = square[12, lane], square[13, lane], square[14, lane]
        r01, r11, r21 = (
            x0 * u0 + y0 * u1 + z0 * u2,
            x1 * u0 + y1 * u1 + z1 * u2,
            x2 * u0 + y2 * u1 + z2 * u2,
        )
        u0, u1, u2 = square[15, lane], square[16, lane], square[17, lane]
        r02, r12, r22 = (
            x0 * u0 + y0 * u1 + z0 * u2,
            x1 * u0 + y1 * u1 + z1 * u2,
            x2 * u0 + y2 * u1 + z2 * u2,
        )
        view[0, lane] = r00
        view[1, lane] = r01
        view[2, lane] = r02
        view[3, lane] = r10
        view[4, lane] = r11
        view[5, lane] = r12
        view[6, lane] = r20
        view[7, lane] = r21
        view[8, lane] = r22
        view[9, lane] = depth * p + r00 * dx + r01 * dy + r02 * dz
        view[10, lane] = depth * q + r10 * dx + r11 * dy + r12 * dz
        view[11, lane] = depth + r20 * dx + r21 * dy + r22 * dz


@kernel
def mirror_lanes(square, view):
    """Mirror the view's axes, in place, about the line of sight to their origin.

    What lies in the plane of the square is mirrored (M = I - 2 s s'), its normal n turns to -M n:
    the other pose of a flat scene seen from afar. D. Schweighofer, A. Pinz, Robust Pose Estimation
    from a Planar Target, TPAMI 28(12), 2006. Arguments as in ``slope_lanes`` and ``pose_lanes``.
    """
    assert square.shape[1] == LANES
    assert view.shape[1] == LANES
    for lane in range(LANES):
        sx, sy, sz = view[9, lane], view[10, lane], view[11, lane]
        unit = 1.0 / np.sqrt(sx * sx + sy * sy + sz * sz)
        sx, sy, sz = sx * unit, sy * unit, sz * unit
        a0, a1, a2 = view[0, lane], view[3, lane], view[6, lane]
        b0, b1, b2 = view[1, lane], view[4, lane], view[7, lane]
        c0, c1, c2 = view[2, lane], view[5, lane], view[8, lane]
        along = 2.0 * (sx * a0 + sy * a1 + sz * a2)
        a0, a1, a2 = a0 - along * sx, a1 - along * sy, a2 - along * sz
        along = 2.0 * (sx * b0 + sy * b1 + sz * b2)
        b0, b1, b2 = b0 - along * sx, b1 - along * sy, b2 - along * sz
        along = 2.0 * (sx * c0 + sy * c1 + sz * c2)
        c0, c1, c2 = c0 - along * sx, c1 - along * sy, c2 - along * sz
        nx, ny, nz = square[11, lane], square[14, lane], square[17, lane]
        m0 = 2.0 * (a0 * nx + b0 * ny + c0 * nz)
        m1 = 2.0 * (a1 * nx + b1 * ny + c1 * nz)
        m2 = 2.0 * (a2 * nx + b2 * ny + c2 * nz)
        view[0, lane] = a0 - m0 * nx
        view[1, lane] = b0 - m0 * ny
        view[2, lane] = c0 - m0 * nz
        view[3, lane] = a1 - m1 * nx
        view[4, lane] = b1 - m1 * ny
        view[5, lane] = c1 - m1 * nz
        view[6, lane] = a2 - m2 * nx
        view[7, lane] = b2 - m2 * ny
        view[8, lane] = c2 - m2 * nz
