"""Compiled least squares: a camera's pose from all corners of a frame, 16 frames side by side.

The pose is that of the world's axes in the camera, the middle of the frame's corners its origin: a
step (w, d) turns the corners about that middle by the rotation vector w and moves it by d, both in
camera axes. With r a corner less the middle, p = r + middle, x = px / pz, y = py / pz::

    dx = (-x ry wx + (rz + x rx) wy - ry wz + dx - x dz) / pz
    dy = (-(rz + y ry) wx + y rx wy + rx wz + dy - y dz) / pz

(F. Chaumette, S. Hutchinson, Visual servo control part I, IEEE Robotics and Automation Magazine
13(4), 2006, with the centre of rotation moved.) Residuals are turned into pixels by the lens' slope
at the corner. Rows and lanes as in ``solving.compiled.square``.
"""

import numpy as np

from posefuse.compiling import kernel
from posefuse.solving.compiled.square import LANES

__all__ = [
    "CORNER_ROWS",
    "FACTOR_ROWS",
    "NORMAL_ROWS",
    "error_lanes",
    "factor_lanes",
    "move_lanes",
    "normal_lanes",
    "refine_lanes",
    "step_lanes",
]

CORNER_ROWS = 9
NORMAL_ROWS = 29
FACTOR_ROWS = 28
FIRST_DAMPING = 1e-3
SETTLED_DROP_PX2 = 1e-8
"""Steps with a smaller expected drop are no longer taken; corners would move by about 1e-4 px."""


@kernel
def normal_lanes(view, corners, count, normal):
    """Write the normal equations of the reprojection error of ``count`` corners.

    Parameters
    ----------
    view : (VIEW_ROWS, LANES)
        As in ``pose_lanes``.
    corners : (corners, CORNER_ROWS, LANES)
        Of each corner: place in the world less the middle (3); where it was seen on the plane at
        depth 1 (2); px by x and y there: du/dx, du/dy, dv/dx, dv/dy (4).
    normal : (NORMAL_ROWS, LANES)
        Rows 0-20: lower triangle of J'J, row by row; 21-26: J'e; 27: e'e in px squared; 28: the
        least depth of a corner.
    """
    assert view.shape[1] == LANES
    assert corners.shape[2] == LANES
    assert normal.shape[1] == LANES
    assert corners.shape[1] == CORNER_ROWS
    for row in range(28):
        for lane in range(LANES):
            normal[row, lane] = 0.0
    for lane in range(LANES):
        normal[28, lane] = np.inf
    for corner in range(count):
        for lane in range(LANES):
            qx, qy = corners[corner, 0, lane], corners[corner, 1, lane]
            qz = corners[corner, 2, lane]
            rx = view[0, lane] * qx + view[1, lane] * qy + view[2, lane] * qz
            ry = view[3, lane] * qx + view[4, lane] * qy
            ry += view[5, lane] * qz
            rz = view[6, lane] * qx + view[7, lane] * qy
            rz += view[8, lane] * qz
            pz = rz + view[11, lane]
            near = 1.0 / pz
            x = (rx + view[9, lane]) * near
            y = (ry + view[10, lane]) * near
            ux, uy = corners[corner, 5, lane], corners[corner, 6, lane]
            vx, vy = corners[corner, 7, lane], corners[corner, 8, lane]
            off_x, off_y = corners[corner, 3, lane] - x, corners[corner, 4, lane] - y
            e, f = ux * off_x + uy * off_y, vx * off_x + vy * off_y
            ux, uy, vx, vy = ux * near, uy * near, vx * near, vy * near
            across, up, down = rz + x * rx, rz + y * ry, x * ry
            a0, b0 = -ux * down - uy * up, -vx * down - vy * up
            a1, b1 = ux * across + uy * (y * rx), vx * across + vy * (y * rx)
            a2, b2 = uy * rx - ux * ry, vy * rx - vx * ry
            a5, b5 = -ux * x - uy * y, -vx * x - vy * y
            normal[0, lane] += a0 * a0 + b0 * b0
            normal[1, lane] += a1 * a0 + b1 * b0
            normal[2, lane] += a1 * a1 + b1 * b1
            normal[3, lane] += a2 * a0 + b2 * b0
            normal[4, lane] += a2 * a1 + b2 * b1
            normal[5, lane] += a2 * a2 + b2 * b2
            normal[6, lane] += ux * a0 + vx * b0
            normal[7, lane] += ux * a1 + vx * b1
            normal[8, lane] += ux * a2 + vx * b2
            normal[9, lane] += ux * ux + vx * vx
            normal[10, lane] += uy * a0 + vy * b0
            normal[11, lane] += uy * a1 + vy * b1
            normal[12, lane] += uy * a2 + vy * b2
            normal[13, lane] += uy * ux + vy * vx
            normal[14, lane] += uy * uy + vy * vy
            normal[15, lane] += a5 * a0 + b5 * b0
            normal[16, lane] += a5 * a1 + b5 * b1
            normal[17, lane] += a5 * a2 + b5 * b2
            normal[18, lane] += a5 * ux + b5 * vx
            normal[19, lane] += a5 * uy + b5 * vy
            normal[20, lane] += a5 * a5 + b5 * b5
            normal[21, lane] += a0 * e + b0 * f
            normal[22, lane] += a1 * e + b1 * f
            normal[23, lane] += a2 * e + b2 * f
            normal[24, lane] += ux * e + vx * f
            normal[25, lane] += uy * e + vy * f
            normal[26, lane] += a5 * e + b5 * f
            normal[27, lane] += e * e + f * f
            normal[28, lane] = min(normal[28, lane], pz)


@kernel
def error_lanes(view, corners, count, error):
    """Write only the reprojection error e'e (LANES,) in px squared of ``count`` corners.

    Infinite where a corner lies behind the camera; arguments as in ``normal_lanes``.
    """
    assert view.shape[1] == LANES
    assert corners.shape[2] == LANES
    assert corners.shape[1] == CORNER_ROWS
    for lane in range(LANES):
        error[lane] = 0.0
    for corner in range(count):
        for lane in range(LANES):
            qx, qy = corners[corner, 0, lane], corners[corner, 1, lane]
            qz = corners[corner, 2, lane]
            px = view[0, lane] * qx + view[1, lane] * qy + view[2, lane] * qz
            py = view[3, lane] * qx + view[4, lane] * qy
            py += view[5, lane] * qz
            pz = view[6, lane] * qx + view[7, lane] * qy
            pz += view[8, lane] * qz + view[11, lane]
            near = 1.0 / pz
            x = corners[corner, 3, lane] - (px + view[9, lane]) * near
            y = corners[corner, 4, lane] - (py + view[10, lane]) * near
            e = corners[corner, 5, lane] * x + corners[corner, 6, lane] * y
            f = corners[corner, 7, lane] * x + corners[corner, 8, lane] * y
            error[lane] += e * e + f * f if pz > 0.0 else np.inf


@kernel
def factor_lanes(normal, damping, factor):
    """Write the Cholesky factor of J'J, its diagonal stretched by ``1 + damping``.

    Parameters
    ----------
    normal : (NORMAL_ROWS, LANES)
        As in ``normal_lanes``.
    damping : (2, LANES)
        Row 0: Levenberg and Marquardt's; 0 for a plain Gauss-Newton step. Row 1: see ``_judge``.
    factor : (FACTOR_ROWS, LANES)
        Rows 0-20: the lower triangle L, row by row, the diagonal inverted; 21-26: L^-1 J'e; 27: its
        length squared, the drop of e'e expected from the step.
    """
    assert normal.shape[1] == LANES
    assert damping.shape[1] == LANES
    assert factor.shape[1] == LANES
    for lane in range(LANES):
        more = 1.0 + damping[0, lane]
        d0 = 1.0 / np.sqrt(normal[0, lane] * more)
        l10 = normal[1, lane] * d0
        l20 = normal[3, lane] * d0
        l30 = normal[6, lane] * d0
        l40 = normal[10, lane] * d0
        l50 = normal[15, lane] * d0
        d1 = 1.0 / np.sqrt(normal[2, lane] * more - l10 * l10)
        l21 = (normal[4, lane] - l20 * l10) * d1
        l31 = (normal[7, lane] - l30 * l10) * d1
        l41 = (normal[11, lane] - l40 * l10) * d1
        l51 = (normal[16, lane] - l50 * l10) * d1
        d2 = 1.0 / np.sqrt(normal[5, lane] * more - l20 * l20 - l21 * l21)
        l32 = (normal[8, lane] - l30 * l20 - l31 * l21) * d2
        l42 = (normal[12, lane] - l40 * l20 - l41 * l21) * d2
        l52 = (normal[17, lane] - l50 * l20 - l51 * l21) * d2
        d3 = 1.0 / np.sqrt(normal[9, lane] * more - l30 * l30 - l31 * l31 - l32 * l32)
        l43 = (normal[13, lane] - l40 * l30 - l41 * l31 - l42 * l32) * d3
        l53 = (normal[18, lane] - l50 * l30 - l51 * l31 - l52 * l32) * d3
        rest = normal[14, lane] * more - l40 * l40 - l41 * l41 - l42 * l42 - l43 * l43
        d4 = 1.0 / np.sqrt(rest)
        l54 = (normal[19, lane] - l50 * l40 - l51 * l41 - l52 * l42 - l53 * l43) * d4
        rest = normal[20, lane] * more - l50 * l50 - l51 * l51 - l52 * l52
        d5 = 1.0 / np.sqrt(rest - l53 * l53 - l54 * l54)
        z0 = normal[21, lane] * d0
        z1 = (normal[22, lane] - l10 * z0) * d1
        z2 = (normal[23, lane] - l20 * z0 - l21 * z1) * d2
        z3 = (normal[24, lane] - l30 * z0 - l31 * z1 - l32 * z2) * d3
        z4 = (normal[25, lane] - l40 * z0 - l41 * z1 - l42 * z2 - l43 * z3) * d4
        rest = normal[26, lane] - l50 * z0 - l51 * z1 - l52 * z2
        z5 = (rest - l53 * z3 - l54 * z4) * d5
        factor[0, lane] = d0
        factor[1, lane] = l10
        factor[2, lane] = d1
        factor[3, lane] = l20
        factor[4, lane] = l21
        factor[5, lane] = d2
        factor[6, lane] = l30
        factor[7, lane] = l31
        factor[8, lane] = l32
        factor[9, lane] = d3
        factor[10, lane] = l40
        factor[11, lane] = l41
        factor[12, lane] = l42
        factor[13, lane] = l43
        factor[14, lane] = d4
        factor[15, lane] = l50
        factor[16, lane] = l51
        factor[17, lane] = l52
        factor[18, lane] = l53
        factor[19, lane] = l54
        factor[20, lane] = d5
        factor[21, lane] = z0
        factor[22, lane] = z1
        factor[23, lane] = z2
        factor[24, lane] = z3
        factor[25, lane] = z4
        factor[26, lane] = z5
        factor[27, lane] = z0 * z0 + z1 * z1 + z2 * z2 + z3 * z3 + z4 * z4 + z5 * z5


@kernel
def step_lanes(factor, step):
    """Write the step (6, LANES) (w, d) that a factor leads to: L' step = L^-1 J'e."""
    assert factor.shape[1] == LANES
    assert step.shape[1] == LANES
    for lane in range(LANES):
        s5 = factor[26, lane] * factor[20, lane]
        s4 = factor[25, lane] - factor[19, lane] * s5
        s4 *= factor[14, lane]
        s3 = factor[24, lane] - factor[13, lane] * s4
        s3 = (s3 - factor[18, lane] * s5) * factor[9, lane]
        s2 = factor[23, lane] - factor[8, lane] * s3
        s2 = s2 - factor[12, lane] * s4 - factor[17, lane] * s5
        s2 *= factor[5, lane]
        s1 = factor[22, lane] - factor[4, lane] * s2
        s1 = s1 - factor[7, lane] * s3 - factor[11, lane] * s4
        s1 = (s1 - factor[16, lane] * s5) * factor[2, lane]
        s0 = factor[21, lane] - factor[1, lane] * s1
        s0 = s0 - factor[3, lane] * s2 - factor[6, lane] * s3
        s0 = s0 - factor[10, lane] * s4 - factor[15, lane] * s5
        step[0, lane] = s0 * factor[0, lane]
        step[1, lane] = s1
        step[2, lane] = s2
        step[3, lane] = s3
        step[4, lane] = s4
        step[5, lane] = s5


@kernel
def move_lanes(view, step, moved):
    """Write the view (VIEW_ROWS, LANES) after a step (6, LANES) (w, d).

    The turn is Cayley's: exactly a rotation, off the exponential by |w|^3 / 12.
    """
    assert view.shape[1] == LANES
    assert step.shape[1] == LANES
    assert moved.shape[1] == LANES
    for lane in range(LANES):
        wx, wy = 0.5 * step[0, lane], 0.5 * step[1, lane]
        wz = 0.5 * step[2, lane]
        gain = 2.0 / (1.0 + wx * wx + wy * wy + wz * wz)
        c00, c11 = 1.0 - gain * (wy * wy + wz * wz), 1.0 - gain * (wx * wx + wz * wz)
        c22 = 1.0 - gain * (wx * wx + wy * wy)
        c01, c10 = gain * (wx * wy - wz), gain * (wx * wy + wz)
        c02, c20 = gain * (wx * wz + wy), gain * (wx * wz - wy)
        c12, c21 = gain * (wy * wz - wx), gain * (wy * wz + wx)
        a0, a1, a2 = view[0, lane], view[3, lane], view[6, lane]
        b0, b1, b2 = view[1, lane], view[4, lane], view[7, lane]
        e0, e1, e2 = view[2, lane], view[5, lane], view[8, lane]
        moved[0, lane] = c00 * a0 + c01 * a1 + c02 * a2
        moved[1, lane] = c00 * b0 + c01 * b1 + c02 * b2
        moved[2, lane] = c00 * e0 + c01 * e1 + c02 * e2
        moved[3, lane] = c10 * a0 + c11 * a1 + c12 * a2
        moved[4, lane] = c10 * b0 + c11 * b1 + c12 * b2
        moved[5, lane] = c10 * e0 + c11 * e1 + c12 * e2
        moved[6, lane] = c20 * a0 + c21 * a1 + c22 * a2
        moved[7, lane] = c20 * b0 + c21 * b1 + c22 * b2
        moved[8, lane] = c20 * e0 + c21 * e1 + c22 * e2
        moved[9, lane] = view[9, lane] + step[3, lane]
        moved[10, lane] = view[10, lane] + step[4, lane]
        moved[11, lane] = view[11, lane] + step[5, lane]


@kernel
def _take(source, target, damping):
    """Copy the lanes that ``_judge`` has marked."""
    for lane in range(LANES):
        if damping[1, lane] > 0.0:
            for row in range(source.shape[0]):
                target[row, lane] = source[row, lane]


@kernel
def _judge(tried, normal, factor, damping):
    """Mark where a step lowered the error and left the corners in front; set the next damping.

    What has settled stays as it is, so that a frame's solution does not depend on its neighbours.
    """
    assert tried.shape[1] == LANES
    assert normal.shape[1] == LANES
    assert factor.shape[1] == LANES
    assert damping.shape[1] == LANES
    for lane in range(LANES):
        is_open = 1.0 if factor[27, lane] > SETTLED_DROP_PX2 else 0.0
        is_front = is_open if tried[28, lane] > 0.0 else 0.0
        is_better = is_front if tried[27, lane] <= normal[27, lane] else 0.0
        more = max(10.0 * damping[0, lane], FIRST_DAMPING)
        damping[0, lane] = 0.1 * damping[0, lane] if is_better > 0.0 else more
        damping[1, lane] = is_better


@kernel
def refine_lanes(view, corners, count, steps, room):
    """Move the view to where its reprojection error is least, in at most ``steps`` steps.

    Gauss-Newton; a step that raises the error is not taken and the next ones are damped (K.
    Levenberg, 1944; D. W. Marquardt, 1963). Leaves the normal equations of the end in
    ``room.normal`` and their undamped factor in ``room.factor``; ``room`` are ``RefineArrays``.
    Other arguments as in ``normal_lanes``.
    """
    normal, factor, damping, step, moved, tried = room
    damping[:] = 0.0
    normal_lanes(view, corners, count, normal)
    for _ in range(steps):
        factor_lanes(normal, damping, factor)
        most = 0.0
        for lane in range(LANES):
            most = max(most, factor[27, lane])
        if most <= SETTLED_DROP_PX2:
            break
        step_lanes(factor, step)
        move_lanes(view, step, moved)
        normal_lanes(moved, corners, count, tried)
        _judge(tried, normal, factor, damping)
        _take(moved, view, damping)
        _take(tried, normal, damping)
    damping[:] = 0.0
    factor_lanes(normal, damping, factor)
