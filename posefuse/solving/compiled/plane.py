"""Compiled step from the camera's pose to the robot's pose on the floor, 16 frames side by side.

With o the robot's origin and f its forward axis in the camera, c_x and c_y the world's axes in the
camera, m the middle of the frame's corners: the robot stands at ``m + c . (o - middle)`` along each
axis and heads ``atan2(c_y . f, c_x . f)``. A step (w, d) of the view, as in
``solving.compiled.refine``, moves it by ``-w . ((o - middle) x c) - d . c`` and turns it by
``-w . (f x (ahead_x c_y - ahead_y c_x)) / |ahead|^2``. Rows and lanes as in
``solving.compiled.square``.
"""

from posefuse.compiling import kernel
from posefuse.solving.compiled.square import LANES

__all__ = ["MOUNT_ROWS", "PLANE_ROWS", "SPREAD_ROWS", "plane_lanes", "spread_lanes", "whiten_lanes"]

MOUNT_ROWS = 8
PLANE_ROWS = 10
SPREAD_ROWS = 18


@kernel
def plane_lanes(view, mount, plane, spread):
    """Write the robot's pose on the floor and, less its sign, how a step of the view moves it.

    Parameters
    ----------
    view : (VIEW_ROWS, LANES)
        As in ``pose_lanes``.
    mount : (MOUNT_ROWS, LANES)
        Rows: the robot's origin in the camera (3), its forward axis in the camera (3), x and y of
        the middle of the corners in the world.
    plane : (PLANE_ROWS, LANES)
        Rows 0-1: x_m and y_m; 2-3: x and y in the world of the forward axis.
    spread : (SPREAD_ROWS, LANES)
        Slopes by the six parts of a step: of x, of y, of the heading.
    """
    assert view.shape[1] == LANES
    assert mount.shape[1] == LANES
    assert plane.shape[1] == LANES
    assert spread.shape[2] == LANES
    assert spread.shape[1] == 6
    for lane in range(LANES):
        ox = mount[0, lane] - view[9, lane]
        oy = mount[1, lane] - view[10, lane]
        oz = mount[2, lane] - view[11, lane]
        fx, fy, fz = mount[3, lane], mount[4, lane], mount[5, lane]
        x0, x1, x2 = view[0, lane], view[3, lane], view[6, lane]
        y0, y1, y2 = view[1, lane], view[4, lane], view[7, lane]
        ahead_x, ahead_y = x0 * fx + x1 * fy + x2 * fz, y0 * fx + y1 * fy + y2 * fz
        turn = 1.0 / (ahead_x * ahead_x + ahead_y * ahead_y)
        across_x, across_y = ahead_y * turn, ahead_x * turn
        h0, h1 = across_y * y0 - across_x * x0, across_y * y1 - across_x * x1
        h2 = across_y * y2 - across_x * x2
        plane[0, lane] = mount[6, lane] + x0 * ox + x1 * oy + x2 * oz
        plane[1, lane] = mount[7, lane] + y0 * ox + y1 * oy + y2 * oz
        plane[2, lane] = ahead_x
        plane[3, lane] = ahead_y
        spread[0, 0, lane] = oy * x2 - oz * x1
        spread[0, 1, lane] = oz * x0 - ox * x2
        spread[0, 2, lane] = ox * x1 - oy * x0
        spread[0, 3, lane] = x0
        spread[0, 4, lane] = x1
        spread[0, 5, lane] = x2
        spread[1, 0, lane] = oy * y2 - oz * y1
        spread[1, 1, lane] = oz * y0 - ox * y2
        spread[1, 2, lane] = ox * y1 - oy * y0
        spread[1, 3, lane] = y0
        spread[1, 4, lane] = y1
        spread[1, 5, lane] = y2
        spread[2, 0, lane] = fy * h2 - fz * h1
        spread[2, 1, lane] = fz * h0 - fx * h2
        spread[2, 2, lane] = fx * h1 - fy * h0
        spread[2, 3, lane] = 0.0
        spread[2, 4, lane] = 0.0
        spread[2, 5, lane] = 0.0


@kernel
def whiten_lanes(factor, spread):
    """Turn each slope g into L^-1 g, so that products of two are entries of g (J'J)^-1 g'.

    Parameters
    ----------
    factor : (FACTOR_ROWS, LANES)
        As in ``factor_lanes``, undamped.
    spread : (SPREAD_ROWS, LANES)
        As in ``plane_lanes``; overwritten.
    """
    assert factor.shape[1] == LANES
    assert spread.shape[2] == LANES
    assert spread.shape[1] == 6
    for which in range(3):
        for lane in range(LANES):
            y0 = spread[which, 0, lane] * factor[0, lane]
            y1 = spread[which, 1, lane] - factor[1, lane] * y0
            y1 *= factor[2, lane]
            y2 = spread[which, 2, lane] - factor[3, lane] * y0
            y2 = (y2 - factor[4, lane] * y1) * factor[5, lane]
            y3 = spread[which, 3, lane] - factor[6, lane] * y0
            y3 = y3 - factor[7, lane] * y1 - factor[8, lane] * y2
            y3 *= factor[9, lane]
            y4 = spread[which, 4, lane] - factor[10, lane] * y0
            y4 = y4 - factor[11, lane] * y1 - factor[12, lane] * y2
            y4 = (y4 - factor[13, lane] * y3) * factor[14, lane]
            y5 = spread[which, 5, lane] - factor[15, lane] * y0
            y5 = y5 - factor[16, lane] * y1 - factor[17, lane] * y2
            y5 = y5 - factor[18, lane] * y3 - factor[19, lane] * y4
            spread[which, 0, lane] = y0
            spread[which, 1, lane] = y1
            spread[which, 2, lane] = y2
            spread[which, 3, lane] = y3
            spread[which, 4, lane] = y4
            spread[which, 5, lane] = y5 * factor[20, lane]


@kernel
def spread_lanes(spread, plane):
    """Write rows 4-9 of ``plane``: covariance xx, xy, yy, xh, yh, hh for a spread of 1 px."""
    assert spread.shape[2] == LANES
    assert plane.shape[1] == LANES
    assert spread.shape[1] == 6
    for lane in range(LANES):
        xx, xy, yy, xh, yh, hh = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        for part in range(6):
            x, y, h = spread[0, part, lane], spread[1, part, lane], spread[2, part, lane]
            xx, xy, yy = xx + x * x, xy + x * y, yy + y * y
            xh, yh, hh = xh + x * h, yh + y * h, hh + h * h
        plane[4, lane] = xx
        plane[5, lane] = xy
        plane[6, lane] = yy
        plane[7, lane] = xh
        plane[8, lane] = yh
        plane[9, lane] = hh
