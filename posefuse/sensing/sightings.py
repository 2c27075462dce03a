"""What the detectors report in one trial: as-built errors, noise, bias and misses added."""

import numpy as np
from numpy.typing import NDArray

from posefuse.checks import (
    BoolArray,
    FloatArray,
    frozen_array,
    locked,
    not_negative,
)
from posefuse.errors import InputError
from posefuse.geometry.space import SpacePose
from posefuse.sensing.arrays import BuiltArrays
from posefuse.sensing.compiled.sightings import sense_corners
from posefuse.sensing.views import TagViews

__all__ = ["sense"]


def sense(
    views: TagViews,
    *,
    corners_in_world_m: FloatArray,
    robot_from_camera: SpacePose,
    lens_rows: FloatArray,
    keys: NDArray[np.uint64],
    noise_scale: float = 1.0,
) -> tuple[FloatArray, BoolArray]:
    """Corners (S, 4, 2) in px that the detectors report, and which sightings are found (S,).

    Corners are nan where nothing is found: because the detector misses the tag, or because a corner
    with all its errors lies outside the image. A corner is the projection of the as-built tag by
    the as-built camera at the instant its row is read, moved toward the tag's middle, narrowed and
    shifted (bias), then spread. The noise of a sighting hangs on its
    camera's key, the tag's id and the corner alone, and on its frame's number or, for the share
    that persists at rest, on the pixel that the corner lies on.

    While the rows of a rolling shutter are read the robot goes on with the velocity and the
    acceleration of its capture: at 30 us a row, on the fast course of the demo, corners are within
    0.015 px of where the true path has them. How the lean changes meanwhile is left out: 0.2 px
    (RMS), 1.4 px at most, where a drive's acceleration switches.

    Parameters
    ----------
    corners_in_world_m : (N, 4, 3) array
        As built.
    robot_from_camera
        As built, K poses: one for each state a mount can be in, see ``CameraArrays``.
    lens_rows : (C, 12) array
        As built, see ``lens_row``.
    keys : (C,) uint64
        One for each camera, from ``randomness.stream_key``.
    noise_scale
        Factor on the detector's spread and bias; 0 gives the exact projections.
    """
    camera_count, state_count = len(views.cameras.lens_rows), len(views.cameras.rotation)
    shape = robot_from_camera.matrix.shape
    if shape != (state_count, 4, 4):
        raise InputError(f"robot_from_camera: shape {shape} given, ({state_count}, 4, 4) wanted")
    key_row = np.array(keys, dtype=np.uint64)
    if key_row.shape != (camera_count,):
        raise InputError(f"keys: shape {key_row.shape} given, ({camera_count},) wanted")
    pixels = np.empty((views.sighting_count, 4, 2))
    is_found = np.empty(views.sighting_count, dtype=np.bool_)
    built = BuiltArrays(
        corners_m=frozen_array("tag corners", corners_in_world_m, views.tags.corners_m.shape),
        rotation=locked(robot_from_camera.rotation.copy()),
        translation_m=locked(robot_from_camera.translation_m.copy()),
        lens_rows=frozen_array("lens_rows", lens_rows, (camera_count, 12)),
        keys=locked(key_row),
    )
    sense_corners(
        views.sighting_arrays,
        views.frame_arrays,
        views.cameras,
        views.tags.ids,
        built,
        not_negative("noise_scale", noise_scale),
        pixels,
        is_found,
    )
    return pixels, is_found
