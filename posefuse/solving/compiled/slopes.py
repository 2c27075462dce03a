"""Compiled: how a tag's corners in the image move with the robot's pose and with build errors.

A sighting's slopes are a table (8, COLUMNS): u and v of corner 0, then of corner 1 and so on, in px
by one unit of each column. The columns::

    0-2    robot: x, y (m, world), heading (rad)
    3-13   mount: pan, tilt, roll (rad), forward, left, up (m), focal fraction, principal point
           right and down (px), first radial term of the distortion, clock offset (s)
    14-15  chassis: roll, pitch (rad), about the robot's origin on the floor
    16-22  tag: x, y, z (m, world), heading (rad), lean back and sideways (rad), scale fraction
    23     robot: height (m)

All at the nominal build: a level chassis, mounts, lenses and tags as stated. Rigid motions of a
point: R. Hartley, A. Zisserman, Multiple View Geometry, 2nd ed. 2004, appendix 4 (from memory).
"""

import math

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.sensing.compiled.projection import distort_with_slopes

__all__ = ["COLUMNS", "HEIGHT", "LEAN", "OWN", "TAG", "corner_slopes", "write_slopes"]

COLUMNS = 24
OWN, LEAN, TAG, HEIGHT = 3, 14, 16, 23
NEAREST_M = 0.01


@inlined_kernel
def _image(slopes, row, column, by_point, x, y, z):
    """Write both rows of a column: the image slopes (6,) times a motion of the point in camera."""
    slopes[row, column] = by_point[0] * x + by_point[1] * y + by_point[2] * z
    slopes[row + 1, column] = by_point[3] * x + by_point[4] * y + by_point[5] * z


@inlined_kernel
def _turned_back(rotation, eye, x, y, z):
    """A vector of the robot's axes along the camera's; rotation (C, 3, 3): robot_from_camera."""
    return (
        rotation[eye, 0, 0] * x + rotation[eye, 1, 0] * y + rotation[eye, 2, 0] * z,
        rotation[eye, 0, 1] * x + rotation[eye, 1, 1] * y + rotation[eye, 2, 1] * z,
        rotation[eye, 0, 2] * x + rotation[eye, 1, 2] * y + rotation[eye, 2, 2] * z,
    )


@inlined_kernel
def _lens_slopes(lenses, eye, x, y, z, by_point, slopes, row):
    """(u, v); writes the image slopes by the point in the camera (6,) and the lens' columns."""
    lens = lenses[eye]
    inverse = 1.0 / z
    xn, yn = x * inverse, y * inverse
    xd, yd, xx, xy, yy = distort_with_slopes(xn, yn, lens)
    fx, fy = lens[0], lens[1]
    by_point[0], by_point[1] = fx * xx * inverse, fx * xy * inverse
    by_point[3], by_point[4] = fy * xy * inverse, fy * yy * inverse
    by_point[2] = -(by_point[0] * xn + by_point[1] * yn)
    by_point[5] = -(by_point[3] * xn + by_point[4] * yn)
    r2 = xn * xn + yn * yn
    radial = r2 / (1.0 + r2 * (lens[9] + r2 * (lens[10] + r2 * lens[11])))
    focal = OWN + 6
    slopes[row, focal], slopes[row + 1, focal] = fx * xd, fy * yd
    slopes[row, focal + 1], slopes[row + 1, focal + 1] = 1.0, 0.0
    slopes[row, focal + 2], slopes[row + 1, focal + 2] = 0.0, 1.0
    slopes[row, focal + 3], slopes[row + 1, focal + 3] = fx * xn * radial, fy * yn * radial
    return fx * xd + lens[2], fy * yd + lens[3]


@inlined_kernel
def _robot_columns(slopes, row, by_point, cameras, eye, c, s, u, v, w):
    """Write the columns of pose, mount and chassis for a point (u, v, w) of the robot's axes."""
    rotation, place, axes = cameras.rotation, cameras.translation_m, cameras.angle_axes
    x, y, z = _turned_back(rotation, eye, -c, s, 0.0)
    _image(slopes, row, 0, by_point, x, y, z)
    x, y, z = _turned_back(rotation, eye, -s, -c, 0.0)
    _image(slopes, row, 1, by_point, x, y, z)
    x, y, z = _turned_back(rotation, eye, v, -u, 0.0)
    _image(slopes, row, 2, by_point, x, y, z)
    x, y, z = _turned_back(rotation, eye, 0.0, 0.0, -1.0)
    _image(slopes, row, HEIGHT, by_point, x, y, z)
    _image(slopes, row, OWN + 5, by_point, x, y, z)
    # roll about x and pitch about y of the chassis turn the point back
    x, y, z = _turned_back(rotation, eye, 0.0, w, -v)
    _image(slopes, row, LEAN, by_point, x, y, z)
    x, y, z = _turned_back(rotation, eye, -w, 0.0, u)
    _image(slopes, row, LEAN + 1, by_point, x, y, z)
    du, dv, dw = u - place[eye, 0], v - place[eye, 1], w - place[eye, 2]
    for k in range(3):
        ax, ay, az = axes[eye, k, 0], axes[eye, k, 1], axes[eye, k, 2]
        x, y, z = _turned_back(
            rotation, eye, dv * az - dw * ay, dw * ax - du * az, du * ay - dv * ax
        )
        _image(slopes, row, OWN + k, by_point, x, y, z)
    x, y, z = _turned_back(rotation, eye, -1.0, 0.0, 0.0)
    _image(slopes, row, OWN + 3, by_point, x, y, z)
    x, y, z = _turned_back(rotation, eye, 0.0, -1.0, 0.0)
    _image(slopes, row, OWN + 4, by_point, x, y, z)


@inlined_kernel
def _tag_columns(slopes, row, tags, n, k):
    """Write a tag's columns from those of the robot's place: a point that moves, not the robot."""
    ex = tags.corners_m[n, k, 0] - tags.centres_m[n, 0]
    ey = tags.corners_m[n, k, 1] - tags.centres_m[n, 1]
    ez = tags.corners_m[n, k, 2] - tags.centres_m[n, 2]
    for j in range(2):
        for i in (row, row + 1):
            slopes[i, TAG + j] = -slopes[i, j]
    for i in (row, row + 1):
        px, py, pz = -slopes[i, 0], -slopes[i, 1], -slopes[i, HEIGHT]
        slopes[i, TAG + 2] = pz
        slopes[i, TAG + 3] = py * ex - px * ey
        for j in range(2):
            ax, ay, az = tags.lean_axes[n, j, 0], tags.lean_axes[n, j, 1], tags.lean_axes[n, j, 2]
            slopes[i, TAG + 4 + j] = (
                px * (ay * ez - az * ey) + py * (az * ex - ax * ez) + pz * (ax * ey - ay * ex)
            )
        slopes[i, TAG + 6] = px * ex + py * ey + pz * ez


@kernel
def corner_slopes(cameras, eye, tags, n, pose, velocity, slopes, pixels):
    """Write slopes (8, COLUMNS) and pixels (4, 2) of tag n in camera eye; False if it is behind.

    cameras, tags: ``LinearCameras`` and ``LinearTags`` of ``solving.linear``; pose, velocity (3,):
    of the robot at the capture, x, y, heading and their rates in the world.
    """
    by_point = np.empty(6)
    c, s = math.cos(pose[2]), math.sin(pose[2])
    place, rotation = cameras.translation_m, cameras.rotation
    for k in range(4):
        dx, dy = tags.corners_m[n, k, 0] - pose[0], tags.corners_m[n, k, 1] - pose[1]
        u, v, w = c * dx + s * dy, c * dy - s * dx, tags.corners_m[n, k, 2]
        x, y, z = _turned_back(
            rotation, eye, u - place[eye, 0], v - place[eye, 1], w - place[eye, 2]
        )
        if not z > NEAREST_M:
            return False
        row = 2 * k
        pixels[k, 0], pixels[k, 1] = _lens_slopes(
            cameras.lens_rows, eye, x, y, z, by_point, slopes, row
        )
        _robot_columns(slopes, row, by_point, cameras, eye, c, s, u, v, w)
        _tag_columns(slopes, row, tags, n, k)
        for i in (row, row + 1):
            # a frame stamped late shows the pose of an instant before its stamp
            slopes[i, OWN + 10] = -(
                slopes[i, 0] * velocity[0] + slopes[i, 1] * velocity[1] + slopes[i, 2] * velocity[2]
            )
    return True


@kernel
def write_slopes(cameras, eyes, tags, shown, poses, velocities, slopes, is_ahead):
    """Write slopes (n, 8, COLUMNS) and is_ahead (n,) of sightings: camera, tag, pose of each."""
    pixels = np.empty((4, 2))
    for i in range(len(eyes)):
        is_ahead[i] = corner_slopes(
            cameras, eyes[i], tags, shown[i], poses[i], velocities[i], slopes[i], pixels
        )
