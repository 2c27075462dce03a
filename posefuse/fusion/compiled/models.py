"""Compiled information of measurements: a solved pose, a tag's corners, a beacon.

Each kernel writes ``(Axx, Axy, Axh, Ayy, Ayh, Ahh, bx, by, bh, c)`` of one measurement about one
state: see ``fusion.compiled.state``. ``measured`` are ``MeasurementArrays``.

All return at the end only, and write also where the measurement is impossible: an inlined kernel
with several ways out makes the compiler count the references to its arrays, which costs more than
the arithmetic.
"""

import math

import numpy as np

from posefuse.compiling import inlined_kernel
from posefuse.fusion.compiled.state import wrapped

__all__ = [
    "NEAREST_DEPTH_M",
    "beacon_information",
    "corner_information",
    "move_camera",
    "move_sensor",
    "pose_information",
]

NEAREST_DEPTH_M = 0.01
"""A corner expected nearer to the camera's plane than this, or behind it, cannot be measured."""


@inlined_kernel
def pose_information(states, row, solutions, k, which, information):
    """Write the information of one of the solutions of a pose; see ``place_solutions``.

    The innovation's heading is wrapped; H is the identity.
    """
    vx, vy = solutions[k, which, 0] - states[row, 0], solutions[k, which, 1] - states[row, 1]
    vh = wrapped(solutions[k, which, 2] - states[row, 2])
    axx, axy, axh = solutions[k, which, 3], solutions[k, which, 4], solutions[k, which, 5]
    ayy, ayh, ahh = solutions[k, which, 6], solutions[k, which, 7], solutions[k, which, 8]
    bx = axx * vx + axy * vy + axh * vh
    by = axy * vx + ayy * vy + ayh * vh
    bh = axh * vx + ayh * vy + ahh * vh
    information[0], information[1], information[2] = axx, axy, axh
    information[3], information[4], information[5] = ayy, ayh, ahh
    information[6], information[7], information[8] = bx, by, bh
    information[9] = vx * bx + vy * by + vh * bh


@inlined_kernel
def move_camera(cameras, which, offsets, frame, moved):
    """Write a camera's numbers as seen from the robot before an offset motion.

    Parameters
    ----------
    cameras, moved : (cameras, 14), (14,)
        camera_from_robot rotation by rows, its first row times the focal length in x and its second
        times that in y; the camera's place in the robot turned by the same; both focal lengths.
    offsets : (frames, 5)
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
def _tag_in_robot(states, row, tags, tag):
    """(x, y, z) in the robot's frame of a tag's middle, of its half edge right, of that up."""
    c, s = math.cos(states[row, 2]), math.sin(states[row, 2])
    dx, dy = tags[tag, 0] - states[row, 0], tags[tag, 1] - states[row, 1]
    middle = (c * dx + s * dy, c * dy - s * dx, tags[tag, 2])
    right = (
        c * tags[tag, 3] + s * tags[tag, 4],
        c * tags[tag, 4] - s * tags[tag, 3],
        tags[tag, 5],
    )
    up = (c * tags[tag, 6] + s * tags[tag, 7], c * tags[tag, 7] - s * tags[tag, 6], tags[tag, 8])
    return middle, right, up


@inlined_kernel
def _in_camera(camera, v):
    """A vector of the robot's frame in the camera's axes, the first two times the focal length."""
    return (
        camera[0] * v[0] + camera[1] * v[1] + camera[2] * v[2],
        camera[3] * v[0] + camera[4] * v[1] + camera[5] * v[2],
        camera[6] * v[0] + camera[7] * v[1] + camera[8] * v[2],
    )


@inlined_kernel
def _with_row(sums, p, q, t, e):
    """The sums over rows (p, q, t) of the Jacobian with residual e, with one more row."""
    i00, i01, i02, i11, i12, i22, g0, g1, g2, total = sums
    return (
        i00 + p * p,
        i01 + p * q,
        i02 + p * t,
        i11 + q * q,
        i12 + q * t,
        i22 + t * t,
        g0 + p * e,
        g1 + q * e,
        g2 + t * e,
        total + e * e,
    )


@inlined_kernel
def _write_in_world(sums, weight, heading, information):
    """Write sums about the robot's own axes as information in the world's, times a weight."""
    i00, i01, i02, i11, i12, i22, g0, g1, g2, total = sums
    c, s = math.cos(heading), math.sin(heading)
    cc, cs, ss = c * c, c * s, s * s
    information[0] = weight * (cc * i00 - 2.0 * cs * i01 + ss * i11)
    information[1] = weight * (cs * (i00 - i11) + (cc - ss) * i01)
    information[2] = weight * (c * i02 - s * i12)
    information[3] = weight * (ss * i00 + 2.0 * cs * i01 + cc * i11)
    information[4] = weight * (s * i02 + c * i12)
    information[5] = weight * i22
    information[6] = weight * (c * g0 - s * g1)
    information[7] = weight * (s * g0 + c * g1)
    information[8] = weight * g2
    information[9] = weight * total


@inlined_kernel
def corner_information(states, row, camera, measured, k, information):
    """Write the information of a tag's four corners.

    False where a corner is expected behind the camera, or is no number.

    Parameters
    ----------
    camera : (14,)
        See ``move_camera``.
    """
    middle, right, up = _tag_in_robot(states, row, measured.targets, measured.target[k])
    mx, my, mz = _in_camera(camera, middle)
    mx, my, mz = mx - camera[9], my - camera[10], mz - camera[11]
    ax, ay, az = _in_camera(camera, right)
    bx, by, bz = _in_camera(camera, up)
    (mu, mv, _), (au, av, _), (bu, bv, _) = middle, right, up
    r00, r01, r10, r11 = camera[0], camera[1], camera[3], camera[4]
    r20, r21, fx, fy = camera[6], camera[7], camera[12], camera[13]
    sums = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    for corner in range(4):
        along = 1.0 if corner == 1 or corner == 2 else -1.0
        above = 1.0 if corner < 2 else -1.0
        depth = 1.0 / (mz + along * az + above * bz)
        x, y = (mx + along * ax + above * bx) * depth, (my + along * ay + above * by) * depth
        u, v = mu + along * au + above * bu, mv + along * av + above * bv
        # derivatives by the robot's place along its own axes (p, q) and by its heading (t)
        p, q = (x * r20 - r00) * depth, (x * r21 - r01) * depth
        t, e = u * q - v * p, fx * measured.values[k, 2 * corner] - x
        sums = _with_row(sums, p, q, t, e)
        p, q = (y * r20 - r10) * depth, (y * r21 - r11) * depth
        t, e = u * q - v * p, fy * measured.values[k, 2 * corner + 1] - y
        sums = _with_row(sums, p, q, t, e)
    _write_in_world(sums, measured.weights[k, 0], states[row, 2], information)
    return (mz - abs(az) - abs(bz) > NEAREST_DEPTH_M) & (sums[9] < np.inf)


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
def _add_row(information, h, residual, weight):
    """Add the information of one measured number, H = (hx, hy, hh)."""
    hx, hy, hh = h
    x, y, turn = weight * hx, weight * hy, weight * hh
    information[0] += x * hx
    information[1] += x * hy
    information[2] += x * hh
    information[3] += y * hy
    information[4] += y * hh
    information[5] += turn * hh
    information[6] += x * residual
    information[7] += y * residual
    information[8] += turn * residual
    information[9] += weight * residual * residual


@inlined_kernel
def beacon_information(states, row, sensor, measured, k, information):
    """Write the information of range and bearing to a beacon; False where it stands on the sensor.

    Parameters
    ----------
    sensor : (4,)
        See ``move_sensor``.
    """
    beacons, beacon = measured.targets, measured.target[k]
    c, s = math.cos(states[row, 2]), math.sin(states[row, 2])
    east, north = beacons[beacon, 0] - states[row, 0], beacons[beacon, 1] - states[row, 1]
    u, v = c * east + s * north, c * north - s * east
    du, dv, dz = u - sensor[0], v - sensor[1], beacons[beacon, 2] - sensor[2]
    across = du * du + dv * dv
    reach = math.sqrt(across + dz * dz)
    for i in range(10):
        information[i] = 0.0
    # by the robot's place along its own axes, then turned into the world's
    p, q, residual = -du / reach, -dv / reach, measured.values[k, 0] - reach
    h = (c * p - s * q, s * p + c * q, u * q - v * p)
    _add_row(information, h, residual, measured.weights[k, 0])
    p, q = dv / across, -du / across
    residual = wrapped(measured.values[k, 1] - (math.atan2(dv, du) - sensor[3]))
    h = (c * p - s * q, s * p + c * q, u * q - v * p)
    _add_row(information, h, residual, measured.weights[k, 1])
    return across > NEAREST_DEPTH_M * NEAREST_DEPTH_M
