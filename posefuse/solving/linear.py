"""How what cameras see changes with the robot's pose and with every build error, to first order."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from posefuse.arena.arena import Tag
from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.robot.rig import Mount
from posefuse.sensing.projection import lens_row
from posefuse.solving.compiled.slopes import COLUMNS, write_slopes

__all__ = ["LinearCameras", "LinearTags", "linear_cameras", "linear_tags", "sighting_slopes"]


class LinearCameras(NamedTuple):
    """Mounted cameras as stated, one row each.

    Parameters
    ----------
    rotation, translation_m : (C, 3, 3), (C, 3) arrays
        ``robot_from_camera``.
    angle_axes : (C, 3, 3) array
        Axes in the robot frame about which pan, tilt and roll turn the camera.
    lens_rows : (C, 12) array
        See ``sensing.projection.lens_row``.
    """

    rotation: FloatArray
    translation_m: FloatArray
    angle_axes: FloatArray
    lens_rows: FloatArray


class LinearTags(NamedTuple):
    """Tags as surveyed, one row each.

    Parameters
    ----------
    corners_m, centres_m : (T, 4, 3), (T, 3) arrays
        In the world.
    lean_axes : (T, 2, 3) array
        Axes about which a tag leans back from the viewer, and sideways in its plane
        (counter-clockwise as the viewer sees it).
    """

    corners_m: FloatArray
    centres_m: FloatArray
    lean_axes: FloatArray


def linear_cameras(mounts: Sequence[Mount]) -> LinearCameras:
    """The mounts' cameras, in their order."""
    poses = [mount.robot_from_camera for mount in mounts]
    return LinearCameras(
        rotation=_rows([pose.rotation for pose in poses], (3, 3)),
        translation_m=_rows([pose.translation_m for pose in poses], (3,)),
        angle_axes=_rows([_angle_axes(mount) for mount in mounts], (3, 3)),
        lens_rows=_rows([lens_row(mount.camera.lens) for mount in mounts], (12,)),
    )


def linear_tags(tags: Sequence[Tag]) -> LinearTags:
    """The tags, in their order."""
    axes = [(-tag.world_from_tag.rotation[:, 0], tag.world_from_tag.rotation[:, 2]) for tag in tags]
    return LinearTags(
        corners_m=_rows([tag.corners_in_world_m for tag in tags], (4, 3)),
        centres_m=_rows([tag.world_from_tag.translation_m for tag in tags], (3,)),
        lean_axes=_rows(axes, (2, 3)),
    )


def sighting_slopes(
    cameras: LinearCameras,
    tags: LinearTags,
    *,
    camera: IntArray,
    tag: IntArray,
    poses: FloatArray,
    velocities: FloatArray,
) -> tuple[FloatArray, BoolArray]:
    """Slopes (S, 8, COLUMNS) of sightings, and which of them lie ahead of their camera (S,).

    The columns are those of ``solving.compiled.slopes``; where a corner lies behind the camera the
    numbers mean nothing.

    Parameters
    ----------
    camera, tag : (S,) ints
        Rows of ``cameras`` and ``tags``.
    poses, velocities : (S, 3) arrays
        Of the robot at the capture: x_m, y_m, heading_rad and their rates in the world.
    """
    slopes = np.zeros((len(camera), 8, COLUMNS))
    is_ahead = np.zeros(len(camera), dtype=np.bool_)
    write_slopes(
        cameras,
        np.ascontiguousarray(camera),
        tags,
        np.ascontiguousarray(tag),
        np.ascontiguousarray(poses),
        np.ascontiguousarray(velocities),
        slopes,
        is_ahead,
    )
    return slopes, is_ahead


def _angle_axes(mount: Mount) -> FloatArray:
    """Pan turns about z; tilt about the panned left axis, downward; roll about the line of sight.

    The camera is panned, then tilted, then rolled: ``geometry.space.pan_tilt_roll``.
    """
    forward = mount.robot_from_camera.rotation[:, 2]
    c, s = np.cos(mount.pan_rad), np.sin(mount.pan_rad)
    return np.array([[0.0, 0.0, 1.0], [s, -c, 0.0], forward])


def _rows(values: Sequence[object], shape: tuple[int, ...]) -> FloatArray:
    return np.array(values, dtype=np.float64).reshape(len(values), *shape)
