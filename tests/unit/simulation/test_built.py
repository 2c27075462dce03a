"""A trial's scene as built: where its cameras truly are, against rotations by scipy."""

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from posefuse.arena.load import load_arena
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.geometry.space import SpacePose
from posefuse.motion.course import Course, Knock
from posefuse.motion.path import TruePath
from posefuse.robot.load import load_rig
from posefuse.simulation.built import BuiltScene, build
from posefuse.simulation.scene import prepare_scene

ROOT = Path(__file__).parents[3]
ARENA = load_arena(ROOT / "fieldlayouts" / "orchard_court.toml")
RIG = load_rig(ROOT / "datasets" / "orchard" / "rigs" / "two_cameras.toml")
SPREADS = BuildSpreads.of(
    mount_angle_rad=0.05,
    mount_position_m=0.02,
    lean_rad=0.06,
    focal_fraction=0.02,
    centre_px=3.0,
    distortion_k1=0.01,
)
KNOCKS = (
    Knock(mount=RIG.mounts[0].name, at_s=1.0, pan_rad=0.11, tilt_rad=-0.07, roll_rad=0.19),
    Knock(mount=RIG.mounts[0].name, at_s=2.0, pan_rad=-0.05, tilt_rad=0.13, roll_rad=0.03),
)


@pytest.fixture(scope="module")
def built() -> BuiltScene:
    t = np.linspace(0.0, 3.0, 31)
    poses = np.stack([5.0 + 0.5 * t, 2.0 + 0.1 * t, 0.4 * t], axis=-1)
    course = Course(name="knocked", path=TruePath.through(t, poses), knocks=KNOCKS)
    scene = prepare_scene(arena=ARENA, rig=RIG, course=course, spreads=SPREADS)
    return build(scene, seed=3, trial=1)


def by_scipy(built: BuiltScene, frame: int, world_from_level: np.ndarray) -> np.ndarray:
    """``world_from_camera`` (4, 4): mount and knock angles added, then z, -y, x turns chained."""
    index = int(built.scene.views.camera[frame])
    mount, at_s = RIG.mounts[index], built.scene.views.captured_at_s[frame]
    angles = np.array([mount.pan_rad, mount.tilt_rad, mount.roll_rad])
    angles += built.errors["mount_angle_rad"][index]
    for knock in KNOCKS:
        if knock.mount == mount.name and at_s >= knock.at_s:
            angles += [knock.pan_rad, knock.tilt_rad, knock.roll_rad]
    pan, tilt, roll = angles
    body = Rotation.from_euler("ZYX", [pan, -tilt, roll])
    optical = Rotation.from_matrix([[0.0, 0.0, 1.0], [-1.0, 0.0, 0.0], [0.0, -1.0, 0.0]])
    roll, pitch = built.errors["lean_rad"][0]
    chassis = Rotation.from_euler("YX", [pitch, roll])
    pose = np.eye(4)
    pose[:3, :3] = (chassis * body * optical).as_matrix()
    pose[:3, 3] = chassis.apply(mount.position_in_robot_m + built.errors["mount_position_m"][index])
    return world_from_level @ pose


@pytest.mark.parametrize("at_s", [0.5, 1.5, 2.5])
@pytest.mark.parametrize("camera", [0, 1])
def test_the_camera_is_where_build_and_knocks_put_it(built, camera: int, at_s: float) -> None:
    """Each knock turns its mount in all three angles, on top of the knock before."""
    views = built.scene.views
    mine = built.scene.frames_of_mount[camera]
    frame = int(mine[np.argmin(np.abs(views.captured_at_s[mine] - at_s))])
    world_from_level = SpacePose.from_parts(views.rotation[frame], views.translation_m[frame])
    expected = by_scipy(built, frame, world_from_level.matrix)
    found = built.world_from_camera(frame, world_from_level)
    np.testing.assert_allclose(found.matrix, expected, atol=1e-12)
    state = built.scene.views.mount_state[frame]
    in_kernel = world_from_level.matrix @ built.level_from_camera.matrix[state]
    np.testing.assert_allclose(in_kernel, expected, atol=1e-12)
    level_from_camera = built.level_from_chassis @ built.camera_on_chassis(frame)
    np.testing.assert_array_equal(level_from_camera.matrix, built.level_from_camera.matrix[state])


def test_many_poses_at_once(built) -> None:
    """A moving camera: one pose for each instant of the robot."""
    views = built.scene.views
    places = SpacePose.from_parts(views.rotation[:4], views.translation_m[:4])
    together = built.world_from_camera(0, places).matrix
    for place, one in zip(places.matrix, together, strict=True):
        alone = built.world_from_camera(0, SpacePose(place))
        np.testing.assert_allclose(one, alone.matrix, atol=1e-15)


def test_lenses_have_the_errors_of_their_mount(built) -> None:
    for place, (mount, lens, row) in enumerate(
        zip(RIG.mounts, built.lenses, built.lens_rows, strict=True)
    ):
        nominal, errors = mount.camera.lens, built.errors
        focal, centre, k1 = (
            errors[name][place] for name in ("focal_fraction", "centre_px", "distortion_k1")
        )
        assert focal[0] * centre.prod() * k1[0] != 0.0
        np.testing.assert_allclose(lens.focal_px, nominal.focal_px * (1.0 + focal), rtol=1e-15)
        np.testing.assert_allclose(lens.centre_px, nominal.centre_px + centre, rtol=1e-15)
        np.testing.assert_allclose(lens.distortion[0], nominal.distortion[0] + k1[0], atol=1e-15)
        np.testing.assert_array_equal(lens.distortion[1:], nominal.distortion[1:])
        expected = [*lens.focal_px, *lens.centre_px, *lens.distortion]
        np.testing.assert_array_equal(row, expected)
