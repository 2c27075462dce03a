"""A camera, a lens and a tag as built: their nominal numbers with build errors put on."""

from dataclasses import replace

import numpy as np

from posefuse.arena.arena import Tag
from posefuse.checks import FloatArray
from posefuse.geometry.space import BODY_FROM_OPTICAL, SpacePose, pan_tilt_roll, turn_about
from posefuse.robot.camera import Lens

__all__ = ["camera_on_chassis", "lens_as_built", "tag_corners_as_built", "tag_rotation_as_built"]


def camera_on_chassis(angles_rad: FloatArray, position_m: FloatArray) -> SpacePose:
    """``chassis_from_camera`` of cameras with these angles and places.

    Parameters
    ----------
    angles_rad, position_m : (..., 3) arrays
        Pan, tilt and roll; forward, left and up on the chassis. The errors are in them.
    """
    turned = pan_tilt_roll(*np.moveaxis(angles_rad, -1, 0))
    return SpacePose.from_parts(turned @ BODY_FROM_OPTICAL, position_m)


def lens_as_built(
    lens: Lens, *, focal_fraction: float, centre_px: FloatArray, distortion_k1: float
) -> Lens:
    """The lens longer by a fraction, its axis moved by ``centre_px`` (2,), its k1 greater."""
    radial = np.zeros(8)
    radial[0] = distortion_k1
    return replace(
        lens,
        focal_px=lens.focal_px * (1.0 + focal_fraction),
        centre_px=lens.centre_px + centre_px,
        distortion=lens.distortion + radial,
    )


def tag_rotation_as_built(tag: Tag, *, heading_rad: float, lean_rad: FloatArray) -> FloatArray:
    """Rotation (3, 3) of ``world_from_tag``: hung askew, leaned back, turned about the vertical.

    Parameters
    ----------
    lean_rad : (2,) array
        Back from the viewer, and sideways in its plane.
    """
    back, sideways = lean_rad
    leaned = turn_about(0, -back) @ turn_about(2, sideways)
    rotation: FloatArray = turn_about(2, heading_rad) @ tag.world_from_tag.rotation @ leaned
    return rotation


def tag_corners_as_built(
    tag: Tag,
    *,
    position_m: FloatArray,
    heading_rad: float,
    lean_rad: FloatArray,
    scale_fraction: float,
) -> FloatArray:
    """Corners (4, 3) in the world of a tag larger by a fraction, leaned, turned and moved."""
    rotation = tag_rotation_as_built(tag, heading_rad=heading_rad, lean_rad=lean_rad)
    local = tag.corners_in_tag_m * (1.0 + scale_fraction)
    return np.asarray(local @ rotation.T + tag.world_from_tag.translation_m + position_m)
