"""What the detectors report in one trial: as-built errors, noise, bias and misses added."""

import numpy as np
from numpy.typing import NDArray

from posefuse.checks import (
    BoolArray,
    FloatArray,
    IntArray,
    frozen_array,
    frozen_ints,
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
    mount_state_of_frame: IntArray,
    lens_rows: FloatArray,
    keys: NDArray[np.uint64],
    noise_scale: float = 1.0,
) -> tuple[FloatArray, BoolArray]:
    """Corners (S, 4, 2) in px that the detectors report, and which sightings are found (S,).

    Corners are nan where nothing is found: because the detector misses the tag, or because a corner
    with all its errors lies outside the image. A corner is the projection of the as-built tag by
    the as-built camera, displaced by how far the image moves until its row is read, moved toward
    the tag's middle, narrowed and shifted (bias), then spread. The noise of a sighting hangs on its
    camera's key, the tag's id and the corner alone, and on its frame's number or, for the share
    that persists at rest, on the pixel that the corner lies on.

    Parameters
    ----------
    corners_in_world_m : (N, 4, 3) array
        As built.
    robot_from_camera
        As built, K poses: one for each state a mount can be in.
    mount_state_of_frame : (F,) ints
        Which of the K states each frame's mount is in: a knock switches it midway.
    lens_rows : (C, 12) array
        As built, see ``lens_row``.
    keys : (C,) uint64
        One for each camera, from ``randomness.stream_key``.
    noise_scale
        Factor on the detector's spread and bias; 0 gives the exact projections.
    """
    frame_count, camera_count = views.frame_count, len(views.cameras.lens_rows)
    if robot_from_camera.matrix.ndim != 3:
        shape = robot_from_camera.matrix.shape
        raise InputError(f"robot_from_camera: shape {shape} given, ('any', 4, 4) wanted")
    state_count = len(robot_from_camera.matrix)
    state = frozen_ints("mount_state_of_frame", mount_state_of_frame, (frame_count,))
    if frame_count and not (state.min() >= 0 and state.max() < state_count):
        raise InputError(
            f"mount_state_of_frame: must be between 0 and {state_count - 1}"
            f" (got {state.min()} to {state.max()})"
        )
    key_row = np.array(keys, dtype=np.uint64)
    if key_row.shape != (camera_count,):
        raise InputError(f"keys: shape {key_row.shape} given, ({camera_count},) wanted")
    pixels = np.empty((views.sighting_count, 4, 2))
    is_found = np.empty(views.sighting_count, dtype=np.bool_)
    built = BuiltArrays(
        corners_m=frozen_array("tag corners", corners_in_world_m, views.tags.corners_m.shape),
        rotation=locked(robot_from_camera.rotation.copy()),
        translation_m=locked(robot_from_camera.translation_m.copy()),
        state_of_frame=state,
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
