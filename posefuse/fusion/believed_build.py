"""One camera and one tag as a filter believes that they were built, for the reference filter."""

import numpy as np

from posefuse.build_errors.compose import (
    camera_on_chassis,
    lens_as_built,
    tag_corners_as_built,
    tag_rotation_as_built,
)
from posefuse.build_errors.constants import LEAN_COUNT, MOUNT_COUNT, TAG_COUNT
from posefuse.checks import FloatArray
from posefuse.fusion.build_model import BuildModel
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Lens
from posefuse.sensing.projection import lens_row
from posefuse.solving.linear import LinearCameras, LinearTags

__all__ = ["camera_as", "lens_as", "tag_as"]


def lens_as(build: BuildModel, eye: int, row: FloatArray) -> Lens:
    """The lens of a mount with constants, given as a full row."""
    own = row[eye * MOUNT_COUNT :][:MOUNT_COUNT]
    return lens_as_built(
        build.mounts[eye].camera.lens,
        focal_fraction=own[6],
        centre_px=own[7:9],
        distortion_k1=own[9],
    )


def camera_as(
    build: BuildModel, eye: int, row: FloatArray, *, lean_rad: FloatArray
) -> LinearCameras:
    """The camera of a mount, alone, with constants; the chassis leans as it accelerates, (2,)."""
    mount, own = build.mounts[eye], row[eye * MOUNT_COUNT :][:MOUNT_COUNT]
    angles = np.array([mount.pan_rad, mount.tilt_rad, mount.roll_rad]) + own[:3]
    first_lean, level = build.constants.first_lean, PlanePose.identity()
    as_it_stands = SpacePose.from_plane(level, lean_rad=row[first_lean : first_lean + LEAN_COUNT])
    level_from_chassis = SpacePose.from_plane(level, lean_rad=lean_rad) @ as_it_stands
    camera = level_from_chassis @ camera_on_chassis(angles, mount.position_in_robot_m + own[3:6])
    axes_on_chassis = np.array([[0.0, 0.0, 1.0], [np.sin(angles[0]), -np.cos(angles[0]), 0.0]])
    axes = [*(axes_on_chassis @ level_from_chassis.rotation.T), camera.rotation[:, 2]]
    return LinearCameras(
        rotation=np.array([camera.rotation]),
        translation_m=np.array([camera.translation_m]),
        angle_axes=np.array([axes]),
        lens_rows=np.array([lens_row(lens_as(build, eye, row))]),
    )


def tag_as(build: BuildModel, n: int, row: FloatArray) -> LinearTags:
    """A tag, alone, with constants."""
    tag = build.tags[n]
    own = row[build.constants.first_tag + n * TAG_COUNT :][:TAG_COUNT]
    rotation = tag_rotation_as_built(tag, heading_rad=own[3], lean_rad=own[4:6])
    corners = tag_corners_as_built(
        tag,
        position_m=own[:3],
        heading_rad=own[3],
        lean_rad=own[4:6],
        scale_fraction=own[6],
    )
    return LinearTags(
        corners_m=np.array([corners]),
        centres_m=np.array([tag.world_from_tag.translation_m + own[:3]]),
        lean_axes=np.array([[-rotation[:, 0], rotation[:, 2]]]),
    )
