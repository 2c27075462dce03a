"""Compiled: information about the robot's place and heading in the corners of one tag.

``pose`` is ``world_from_camera`` of one frame: a rotation (3, 3) and a place (3,).
"""

import numpy as np

from posefuse.compiling import kernel
from posefuse.sensing.compiled.projection import project_with_slopes
from posefuse.sensing.compiled.visibility import place_camera, turn_back

__all__ = ["write_information"]


@kernel
def _pose_slopes(corners, n, k, pose, translation, f, lens, slopes):
    """Write slopes (2, 3): derivatives of a corner's u and v by the robot's x, y and heading.

    Corner k of tag n, corners (N, 4, 3) in the world; translation (F, 3): the robot's origin. A
    turn of the robot by dh moves the corner, as the robot sees it, by -dh (z x (corner - origin));
    a step moves it by minus the step.
    """
    turn, place = pose
    wx, wy, wz = corners[n, k, 0], corners[n, k, 1], corners[n, k, 2]
    x, y, z = turn_back(wx - place[0], wy - place[1], wz - place[2], turn)
    _, _, ux, uy, uz, vx, vy, vz = project_with_slopes(x, y, z, lens)
    for j in range(3):
        dx, dy = wy - translation[f, 1], translation[f, 0] - wx
        if j < 2:
            dx, dy = float(j) - 1.0, -float(j)
        mx, my, mz = turn_back(dx, dy, 0.0, turn)
        slopes[0, j] = ux * mx + uy * my + uz * mz
        slopes[1, j] = vx * mx + vy * my + vz * mz


@kernel
def _add_square(slopes, weight, information, s):
    """Add weight J'J of slopes J (2, 3) to information[s] (3, 3)."""
    for axis in range(2):
        for i in range(3):
            for j in range(3):
                information[s, i, j] += weight * slopes[axis, i] * slopes[axis, j]


@kernel
def write_information(sightings, frames, cameras, corners, information):
    """Write information (S, 3, 3) = J' S^-1 J about (x, y, heading) of the sightings.

    The first three are named tuples of ``sensing.arrays``; corners (N, 4, 3) in the world.
    S = std^2 [(1 - r) I + r 11'] on each axis, so S^-1 = [I - r / (1 + 3 r) 11'] / (std^2 (1 - r))
    (Sherman and Morrison, Annals of Mathematical Statistics 21(1), 1950).
    """
    pose = (np.empty((3, 3)), np.empty(3))
    slopes, sums = np.empty((2, 3)), np.empty((2, 3))
    std, tag, translation = sightings.std_px, sightings.tag, frames.translation_m
    for s in range(tag.shape[0]):
        f, r = sightings.frame[s], sightings.shared_fraction[s]
        c = frames.camera[f]
        place_camera(frames, f, cameras, frames.state[f], pose)
        weight = 1.0 / (std[s] * std[s] * (1.0 - r))
        sums[:], information[s] = 0.0, 0.0
        lens = cameras.lens_rows[c]
        for k in range(4):
            _pose_slopes(corners, tag[s], k, pose, translation, f, lens, slopes)
            _add_square(slopes, weight, information, s)
            sums += slopes
        _add_square(sums, -weight * r / (1.0 + 3.0 * r), information, s)
