"""Rotations and frames against SciPy's Rotation and the REP-103 axes."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from posefuse.arena.arena import tag_pose
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose, pan_tilt_roll
from posefuse.robot.rig import mount_pose


def test_pan_tilt_roll_is_a_z_y_x_turn_with_tilt_up_negative() -> None:
    rng = np.random.default_rng(3)
    angles = rng.uniform(-3.0, 3.0, (200, 3))
    wanted = Rotation.from_euler("ZYX", angles * [1.0, -1.0, 1.0]).as_matrix()
    np.testing.assert_allclose(pan_tilt_roll(*angles.T), wanted, atol=1e-12)


def test_lean_is_a_z_y_x_turn() -> None:
    pose = SpacePose.from_plane(PlanePose([1.0, 2.0, 0.7]), lean_rad=[0.1, -0.2])
    wanted = Rotation.from_euler("ZYX", [0.7, -0.2, 0.1]).as_matrix()
    np.testing.assert_allclose(pose.rotation, wanted, atol=1e-12)


def test_camera_panned_left_and_tilted_up() -> None:
    """Worked frame case: camera at (0.2, 0.1, 0.5), pan 90, tilt 20 up; computed independently
    with pytransform3d 3.17: axis (0, 0.939693, 0.342020), 3 m out at (0.2, 2.919078, 1.526060),
    quaternion (w, x, y, z) 0.819152 -0.573576 0 0."""
    robot_from_camera = mount_pose(
        np.array([0.2, 0.1, 0.5]), pan_rad=np.pi / 2, tilt_rad=np.radians(20), roll_rad=0.0
    )
    axis = robot_from_camera.rotation[:, 2]
    np.testing.assert_allclose(axis, [0.0, 0.939693, 0.342020], atol=1e-6)
    np.testing.assert_allclose(
        robot_from_camera.transform([0.0, 0.0, 3.0]), [0.2, 2.919078, 1.526060], atol=1e-6
    )
    x, y, z, w = Rotation.from_matrix(robot_from_camera.rotation).as_quat(canonical=True)
    np.testing.assert_allclose([w, x, y, z], [0.819152, -0.573576, 0.0, 0.0], atol=1e-6)


def test_level_forward_camera_is_the_optical_frame_of_rep_103() -> None:
    """REP-103: body to optical rotation is the quaternion (x, y, z, w) -0.5 0.5 -0.5 0.5."""
    rotation = mount_pose(np.zeros(3), pan_rad=0.0, tilt_rad=0.0, roll_rad=0.0).rotation
    wanted = Rotation.from_quat([-0.5, 0.5, -0.5, 0.5]).as_matrix()
    np.testing.assert_allclose(rotation, wanted, atol=1e-12)


@pytest.mark.parametrize("facing_deg", [0.0, 90.0, 180.0, -30.0])
def test_tag_axes_as_the_viewer_sees_them(facing_deg: float) -> None:
    """z looks where the tag faces, y is up, x is to the right of who looks at the face."""
    facing = np.radians(facing_deg)
    axes = tag_pose(np.zeros(3), facing_rad=facing).rotation
    face = np.array([np.cos(facing), np.sin(facing), 0.0])
    np.testing.assert_allclose(axes[:, 2], face, atol=1e-12)
    np.testing.assert_allclose(axes[:, 1], [0.0, 0.0, 1.0], atol=1e-12)
    viewer_looks = -face
    np.testing.assert_allclose(axes[:, 0], np.cross(viewer_looks, [0.0, 0.0, 1.0]), atol=1e-12)
