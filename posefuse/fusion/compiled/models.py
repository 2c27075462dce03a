"""Compiled pieces of the filter: the step, the correction, and what each sighting tells.

States stand as rows of one table, ``(x, y, heading, Pxx, Pxy, Pxh, Pyy, Pyh, Phh)``. What a
measurement tells about a state stands as ``(Axx, Axy, Axh, Ayy, Ayh, Ahh, bx, by, bh, c)`` with
``A = H'R^-1 H``, ``b = H'R^-1 v``, ``c = v'R^-1 v`` for the innovation ``v``: three by three
however many numbers were measured.
"""

import math

import numpy as np

from posefuse.compiling import inlined_kernel

__all__ = [
    "NEAREST_DEPTH_M",
    "add_row",
    "correct",
    "misfit",
    "move_camera",
    "move_sensor",
    "predict",
    "tell_beacon",
    "tell_corners",
    "tell_pose",
    "transport",
    "wrapped",
]

NEAREST_DEPTH_M = 0.01
"""A corner expected nearer to the camera's plane than this, or behind it, has no answer."""


@inlined_kernel
def wrapped(angle):
    """The angle in [-pi, pi)."""
    turned = angle - 2.0 * np.pi * math.floor((angle + np.pi) / (2.0 * np.pi))
    return turned if -np.pi <= turned < np.pi else -np.pi


@inlined_kernel
def transport(states, row, a, b):
    """Turn P into F P F' with F = [[1, 0, a], [0, 1, b], [0, 0, 1]]."""
    pxh, pyh, phh = states[row, 5], states[row, 7], states[row, 8]
    states[row, 3] += a * (2.0 * pxh + a * phh)
    states[row, 4] += a * pyh + b * pxh + a * b * phh
    states[row, 6] += b * (2.0 * pyh + b * phh)
    states[row, 5] = pxh + a * phh
    states[row, 7] = pyh + b * phh


@inlined_kernel
def predict(states, row, to, motions, step_vars, step):
    """Write state ``row`` carried on by a motion (dx, dy, turn) in its own frame, as row ``to``."""
    c, s = math.cos(states[row, 2]), math.sin(states[row, 2])
    dx, dy, turn = motions[step, 0], motions[step, 1], motions[step, 2]
    east, north = c * dx - s * dy, s * dx + c * dy
    for k in range(9):
        states[to, k] = states[row, k]
    states[to, 0] += east
    states[to, 1] += north
    states[to, 2] += turn
    transport(states, to, -north, east)
    states[to, 3] += step_vars[step, 0]
    states[to, 6] += step_vars[step, 0]
    states[to, 8] += step_vars[step, 1]


@inlined_kernel
def correct(states, row, told, gate):
    """The normalised innovation squared; state ``row`` is corrected unless that exceeds ``gate``.

    With M the covariance after: ``M = (I + P A)^-1 P``, gain times innovation ``M b``, normalised
    innovation squared ``c - b'M b``, and Joseph's form ``(I - M A) P (I - M A)' + M A M'``:
    Bar-Shalom, Li, Kirubarajan 2001, sec. 5.2 and 7.2 (from memory).
    """
    p00, p01, p02 = states[row, 3], states[row, 4], states[row, 5]
    p11, p12, p22 = states[row, 6], states[row, 7], states[row, 8]
    a00, a01, a02, a11, a12, a22 = told[0], told[1], told[2], told[3], told[4], told[5]
    b0, b1, b2 = told[6], told[7], told[8]
    # T = I + P A, and its inverse W by the adjugate
    t00 = 1.0 + p00 * a00 + p01 * a01 + p02 * a02
    t01 = p00 * a01 + p01 * a11 + p02 * a12
    t02 = p00 * a02 + p01 * a12 + p02 * a22
    t10 = p01 * a00 + p11 * a01 + p12 * a02
    t11 = 1.0 + p01 * a01 + p11 * a11 + p12 * a12
    t12 = p01 * a02 + p11 * a12 + p12 * a22
    t20 = p02 * a00 + p12 * a01 + p22 * a02
    t21 = p02 * a01 + p12 * a11 + p22 * a12
    t22 = 1.0 + p02 * a02 + p12 * a12 + p22 * a22
    w00, w10, w20 = t11 * t22 - t12 * t21, t12 * t20 - t10 * t22, t10 * t21 - t11 * t20
    w01, w11, w21 = t02 * t21 - t01 * t22, t00 * t22 - t02 * t20, t01 * t20 - t00 * t21
    w02, w12, w22 = t01 * t12 - t02 * t11, t02 * t10 - t00 * t12, t00 * t11 - t01 * t10
    scale = 1.0 / (t00 * w00 + t01 * w10 + t02 * w20)
    m00 = scale * (w00 * p00 + w01 * p01 + w02 * p02)
    m01 = scale * (w00 * p01 + w01 * p11 + w02 * p12)
    m02 = scale * (w00 * p02 + w01 * p12 + w02 * p22)
    m11 = scale * (w10 * p01 + w11 * p11 + w12 * p12)
    m12 = scale * (w10 * p02 + w11 * p12 + w12 * p22)
    m22 = scale * (w20 * p02 + w21 * p12 + w22 * p22)
    e0 = m00 * b0 + m01 * b1 + m02 * b2
    e1 = m01 * b0 + m11 * b1 + m12 * b2
    e2 = m02 * b0 + m12 * b1 + m22 * b2
    nis = max(told[9] - b0 * e0 - b1 * e1 - b2 * e2, 0.0)
    if not nis <= gate:
        return nis
    g00, g01 = m00 * a00 + m01 * a01 + m02 * a02, m00 * a01 + m01 * a11 + m02 * a12
    g02 = m00 * a02 + m01 * a12 + m02 * a22
    g10, g11 = m01 * a00 + m11 * a01 + m12 * a02, m01 * a01 + m11 * a11 + m12 * a12
    g12 = m01 * a02 + m11 * a12 + m12 * a22
    g20, g21 = m02 * a00 + m12 * a01 + m22 * a02, m02 * a01 + m12 * a11 + m22 * a12
    g22 = m02 * a02 + m12 * a12 + m22 * a22
    # J = I - M A, and L = J P
    j00, j11, j22 = 1.0 - g00, 1.0 - g11, 1.0 - g22
    l00, l01 = j00 * p00 - g01 * p01 - g02 * p02, j00 * p01 - g01 * p11 - g02 * p12
    l02 = j00 * p02 - g01 * p12 - g02 * p22
    l10, l11 = j11 * p01 - g10 * p00 - g12 * p02, j11 * p11 - g10 * p01 - g12 * p12
    l12 = j11 * p12 - g10 * p02 - g12 * p22
    l20, l21 = j22 * p02 - g20 * p00 - g21 * p01, j22 * p12 - g20 * p01 - g21 * p11
    l22 = j22 * p22 - g20 * p02 - g21 * p12
    states[row, 0] += e0
    states[row, 1] += e1
    states[row, 2] += e2
    states[row, 3] = l00 * j00 - l01 * g01 - l02 * g02 + g00 * m00 + g01 * m01 + g02 * m02
    states[row, 4] = l01 * j11 - l00 * g10 - l02 * g12 + g00 * m01 + g01 * m11 + g02 * m12
    states[row, 5] = l02 * j22 - l00 * g20 - l01 * g21 + g00 * m02 + g01 * m12 + g02 * m22
    states[row, 6] = l11 * j11 - l10 * g10 - l12 * g12 + g10 * m01 + g11 * m11 + g12 * m12
    states[row, 7] = l12 * j22 - l10 * g20 - l11 * g21 + g10 * m02 + g11 * m12 + g12 * m22
    states[row, 8] = l22 * j22 - l20 * g20 - l21 * g21 + g20 * m02 + g21 * m12 + g22 * m22
    return nis


@inlined_kernel
def misfit(states, row, told):
    """The normalised innovation squared that ``correct`` would find."""
    p00, p01, p02 = states[row, 3], states[row, 4], states[row, 5]
    p11, p12, p22 = states[row, 6], states[row, 7], states[row, 8]
    a00, a01, a02, a11, a12, a22 = told[0], told[1], told[2], told[3], told[4], told[5]
    b0, b1, b2 = told[6], told[7], told[8]
    t00 = 1.0 + p00 * a00 + p01 * a01 + p02 * a02
    t01 = p00 * a01 + p01 * a11 + p02 * a12
    t02 = p00 * a02 + p01 * a12 + p02 * a22
    t10 = p01 * a00 + p11 * a01 + p12 * a02
    t11 = 1.0 + p01 * a01 + p11 * a11 + p12 * a12
    t12 = p01 * a02 + p11 * a12 + p12 * a22
    t20 = p02 * a00 + p12 * a01 + p22 * a02
    t21 = p02 * a01 + p12 * a11 + p22 * a12
    t22 = 1.0 + p02 * a02 + p12 * a12 + p22 * a22
    q0 = p00 * b0 + p01 * b1 + p02 * b2
    q1 = p01 * b0 + p11 * b1 + p12 * b2
    q2 = p02 * b0 + p12 * b1 + p22 * b2
    # solve (I + P A) e = P b by the adjugate
    w00, w10, w20 = t11 * t22 - t12 * t21, t12 * t20 - t10 * t22, t10 * t21 - t11 * t20
    w01, w11, w21 = t02 * t21 - t01 * t22, t00 * t22 - t02 * t20, t01 * t20 - t00 * t21
    w02, w12, w22 = t01 * t12 - t02 * t11, t02 * t10 - t00 * t12, t00 * t11 - t01 * t10
    scale = 1.0 / (t00 * w00 + t01 * w10 + t02 * w20)
    e0 = w00 * q0 + w01 * q1 + w02 * q2
    e1 = w10 * q0 + w11 * q1 + w12 * q2
    e2 = w20 * q0 + w21 * q1 + w22 * q2
    return max(told[9] - scale * (b0 * e0 + b1 * e1 + b2 * e2), 0.0)


@inlined_kernel
def tell_pose(states, row, answers, k, which, told):
    """Write what a solved pose tells: ``answer`` holds the pose and its information (upper half).

    The innovation's heading is wrapped; H is the identity.
    """
    vx, vy = answers[k, which, 0] - states[row, 0], answers[k, which, 1] - states[row, 1]
    vh = wrapped(answers[k, which, 2] - states[row, 2])
    for i in range(6):
        told[i] = answers[k, which, 3 + i]
    told[6] = answers[k, which, 3] * vx + answers[k, which, 4] * vy + answers[k, which, 5] * vh
    told[7] = answers[k, which, 4] * vx + answers[k, which, 6] * vy + answers[k, which, 7] * vh
    told[8] = answers[k, which, 5] * vx + answers[k, which, 7] * vy + answers[k, which, 8] * vh
    told[9] = vx * told[6] + vy * told[7] + vh * told[8]


@inlined_kernel
def move_camera(cameras, which, offsets, frame, moved):
    """Write a camera's numbers as seen from the robot before an offset motion.

    Parameters
    ----------
    camera, moved : (14,)
        camera_from_robot rotation by rows, its first row times the focal length in x and its second
        times that in y; the camera's place in the robot turned by the same; both focal lengths.
    offset : (5,)
        dx, dy, turn, cos(turn), sin(turn): motion from the odometry row to the capture.
    """
    dx, dy, c, s = offsets[frame, 0], offsets[frame, 1], offsets[frame, 3], offsets[frame, 4]
    for k in range(3):
        r0, r1 = cameras[which, 3 * k], cameras[which, 3 * k + 1]
        moved[3 * k] = c * r0 - s * r1
        moved[3 * k + 1] = s * r0 + c * r1
        moved[3 * k + 2] = cameras[which, 3 * k + 2]
        moved[9 + k] = cameras[which, 9 + k] + moved[3 * k] * dx + moved[3 * k + 1] * dy
    moved[12] = cameras[which, 12]
    moved[13] = cameras[which, 13]


@inlined_kernel
def tell_corners(states, row, camera, tags, tag, values, informations, sighting, told):
    """Write what a tag's four corners tell.

    False where a corner is expected behind the camera, or is no number.

    Parameters
    ----------
    camera : (14,)
        See ``move_camera``.
    tag : (9,)
        Its middle in the world, and the half edges to the viewer's right and up.
    values, informations : (n, 8), (n, 2)
        x and y of the corners on the plane at depth 1, top left, then clockwise; 1 over their
        variance in px^2.
    """
    c, s = math.cos(states[row, 2]), math.sin(states[row, 2])
    r00, r01, r02 = camera[0], camera[1], camera[2]
    r10, r11, r12 = camera[3], camera[4], camera[5]
    r20, r21, r22 = camera[6], camera[7], camera[8]
    fx, fy = camera[12], camera[13]
    # middle and half edges in the robot's frame, then through the camera
    dx, dy = tags[tag, 0] - states[row, 0], tags[tag, 1] - states[row, 1]
    mu, mv = c * dx + s * dy, c * dy - s * dx
    au, av = c * tags[tag, 3] + s * tags[tag, 4], c * tags[tag, 4] - s * tags[tag, 3]
    bu, bv = c * tags[tag, 6] + s * tags[tag, 7], c * tags[tag, 7] - s * tags[tag, 6]
    mx = r00 * mu + r01 * mv + r02 * tags[tag, 2] - camera[9]
    my = r10 * mu + r11 * mv + r12 * tags[tag, 2] - camera[10]
    mz = r20 * mu + r21 * mv + r22 * tags[tag, 2] - camera[11]
    ax = r00 * au + r01 * av + r02 * tags[tag, 5]
    ay = r10 * au + r11 * av + r12 * tags[tag, 5]
    az = r20 * au + r21 * av + r22 * tags[tag, 5]
    bx = r00 * bu + r01 * bv + r02 * tags[tag, 8]
    by = r10 * bu + r11 * bv + r12 * tags[tag, 8]
    bz = r20 * bu + r21 * bv + r22 * tags[tag, 8]
    if not mz - abs(az) - abs(bz) > NEAREST_DEPTH_M:
        return False
    i00, i01, i02, i11, i12, i22 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    g0, g1, g2, total = 0.0, 0.0, 0.0, 0.0
    for k in range(4):
        right = 1.0 if k == 1 or k == 2 else -1.0
        up = 1.0 if k < 2 else -1.0
        depth = 1.0 / (mz + right * az + up * bz)
        px, py = (mx + right * ax + up * bx) * depth, (my + right * ay + up * by) * depth
        u, v = mu + right * au + up * bu, mv + right * av + up * bv
        # derivatives by the robot's place along its own axes (p, q) and by its heading (t)
        p, q = (px * r20 - r00) * depth, (px * r21 - r01) * depth
        t, e = u * q - v * p, fx * values[sighting, 2 * k] - px
        i00, i01, i02 = i00 + p * p, i01 + p * q, i02 + p * t
        i11, i12, i22 = i11 + q * q, i12 + q * t, i22 + t * t
        g0, g1, g2, total = g0 + p * e, g1 + q * e, g2 + t * e, total + e * e
        p, q = (py * r20 - r10) * depth, (py * r21 - r11) * depth
        t, e = u * q - v * p, fy * values[sighting, 2 * k + 1] - py
        i00, i01, i02 = i00 + p * p, i01 + p * q, i02 + p * t
        i11, i12, i22 = i11 + q * q, i12 + q * t, i22 + t * t
        g0, g1, g2, total = g0 + p * e, g1 + q * e, g2 + t * e, total + e * e
    if not total < np.inf:
        return False
    w = informations[sighting, 0]
    # from the robot's axes to the world's
    cc, cs, ss = c * c, c * s, s * s
    told[0] = w * (cc * i00 - 2.0 * cs * i01 + ss * i11)
    told[1] = w * (cs * (i00 - i11) + (cc - ss) * i01)
    told[2] = w * (c * i02 - s * i12)
    told[3] = w * (ss * i00 + 2.0 * cs * i01 + cc * i11)
    told[4] = w * (s * i02 + c * i12)
    told[5] = w * i22
    told[6] = w * (c * g0 - s * g1)
    told[7] = w * (s * g0 + c * g1)
    told[8] = w * g2
    told[9] = w * total
    return True


@inlined_kernel
def move_sensor(sensors, which, offsets, frame, moved):
    """Write a ranger's place and turn (x, y, z, turn) as seen from before an offset motion."""
    dx, dy, turn, c, s = (
        offsets[frame, 0],
        offsets[frame, 1],
        offsets[frame, 2],
        offsets[frame, 3],
        offsets[frame, 4],
    )
    moved[0] = dx + c * sensors[which, 0] - s * sensors[which, 1]
    moved[1] = dy + s * sensors[which, 0] + c * sensors[which, 1]
    moved[2] = sensors[which, 2]
    moved[3] = turn


@inlined_kernel
def add_row(told, hx, hy, hh, residual, information):
    """Add what one measured number tells, H = (hx, hy, hh)."""
    x, y, h = information * hx, information * hy, information * hh
    told[0] += x * hx
    told[1] += x * hy
    told[2] += x * hh
    told[3] += y * hy
    told[4] += y * hh
    told[5] += h * hh
    told[6] += x * residual
    told[7] += y * residual
    told[8] += h * residual
    told[9] += information * residual * residual


@inlined_kernel
def tell_beacon(states, row, sensor, beacons, beacon, values, informations, sighting, told):
    """Write what range and bearing to a beacon tell; False where it stands on the sensor.

    Parameters
    ----------
    sensor : (4,)
        See ``move_sensor``.
    beacon : (3,) or more
        Its place in the world.
    values, informations : (n, 2), (n, 2)
        Slant range and bearing; 1 over the variance of each, 0 for a bearing not measured.
    """
    c, s = math.cos(states[row, 2]), math.sin(states[row, 2])
    east, north = beacons[beacon, 0] - states[row, 0], beacons[beacon, 1] - states[row, 1]
    u, v = c * east + s * north, c * north - s * east
    du, dv, dz = u - sensor[0], v - sensor[1], beacons[beacon, 2] - sensor[2]
    across = du * du + dv * dv
    reach = math.sqrt(across + dz * dz)
    if not across > NEAREST_DEPTH_M * NEAREST_DEPTH_M:
        return False
    for k in range(10):
        told[k] = 0.0
    # by the robot's place along its own axes, then turned into the world's
    p, q, residual = -du / reach, -dv / reach, values[sighting, 0] - reach
    information = informations[sighting, 0]
    add_row(told, c * p - s * q, s * p + c * q, u * q - v * p, residual, information)
    information = informations[sighting, 1]
    if information > 0.0:
        p, q = dv / across, -du / across
        residual = wrapped(values[sighting, 1] - (math.atan2(dv, du) - sensor[3]))
        add_row(told, c * p - s * q, s * p + c * q, u * q - v * p, residual, information)
    return True
