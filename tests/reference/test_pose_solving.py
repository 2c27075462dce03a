"""Solved poses against OpenCV's solvers and GTSAM's marginals."""

import math

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from posefuse.arena.arena import Tag
from posefuse.geometry.space import BODY_FROM_OPTICAL, SpacePose
from posefuse.robot.camera import Camera, Detector, Lens, Sensor, Timing
from posefuse.robot.rig import Mount
from posefuse.sensing.projection import project
from posefuse.solving.fixes import PoseFixes, solve_frames
from posefuse.solving.single import fix_from_corners, fix_from_tags

BARREL = (-0.28, 0.08, 0.001, -0.0005, -0.01, 0.0, 0.0, 0.0)
WORLD_FROM_CAMERA = SpacePose.from_parts(BODY_FROM_OPTICAL, np.zeros(3))
FACING = np.diag([1.0, -1.0, -1.0])  # an upright tag straight ahead, in the camera


def camera(focal_px: float = 800.0, distortion: tuple[float, ...] = (0.0,) * 8) -> Camera:
    return Camera(
        name="bench",
        lens=Lens(
            focal_px=np.array([focal_px, 1.02 * focal_px if any(distortion) else focal_px]),
            centre_px=np.array([639.5, 399.5]),
            distortion=np.array(distortion),
        ),
        sensor=Sensor(width_px=1280, height_px=800),
        timing=Timing(frame_rate_hz=30, exposure_s=0.01, latency_s=0.04),
        detector=Detector(noise_px=0.5, shift_px=np.zeros(2)),
    )


def mount(**lens: object) -> Mount:
    """A camera in the robot's origin, looking forward: its pose is the robot's."""
    return Mount(
        name="eye",
        camera=camera(**lens),  # type: ignore[arg-type]
        position_in_robot_m=np.zeros(3),
        pan_rad=0.0,
        tilt_rad=0.0,
    )


def tag_seen_at(rotation, translation_m, edge_m=0.16, number=0) -> Tag:
    """A tag at a pose in the camera of a robot that stands in the world's origin."""
    pose = WORLD_FROM_CAMERA @ SpacePose.from_parts(rotation, translation_m)
    return Tag(id=number, family="36h11", edge_m=edge_m, world_from_tag=pose)


def corners_of(tags: list[Tag], lens: Lens) -> np.ndarray:
    world = np.array([tag.corners_in_world_m for tag in tags])
    return project(WORLD_FROM_CAMERA.inverse().transform(world), lens)


def solved(corners_px: np.ndarray, tags: list[Tag], eye: Mount) -> PoseFixes:
    """Frames (frames, tags, 4, 2) that each show all tags."""
    frames, count = corners_px.shape[:2]
    return solve_frames(
        sighting_frame=np.repeat(np.arange(frames), count),
        sighting_tag=np.tile(np.arange(count), frames),
        corners_px=corners_px.reshape(-1, 4, 2),
        camera_of_frame=np.zeros(frames, dtype=np.int64),
        mounts=[eye],
        tags=tags,
    )


def yawed(yaw_deg: float) -> np.ndarray:
    return Rotation.from_euler("y", yaw_deg, degrees=True).as_matrix() @ FACING


def random_tag(rng: np.random.Generator, number: int = 0) -> Tag:
    """Tilted by 20 to 60 degrees about an axis across the view, rolled at will, 1 to 4 m away."""
    away = rng.uniform(0.0, 2.0 * np.pi)
    tilt = rng.uniform(np.radians(20.0), np.radians(60.0))
    turn = Rotation.from_rotvec(tilt * np.array([np.cos(away), np.sin(away), 0.0]))
    roll = Rotation.from_euler("z", rng.uniform(-180.0, 180.0), degrees=True)
    z = rng.uniform(1.0, 4.0)
    place = [rng.uniform(-0.6, 0.6) * z, rng.uniform(-0.3, 0.3) * z, z]
    return tag_seen_at((turn * roll).as_matrix() @ FACING, place, number=number)


@pytest.mark.parametrize("distortion", [(0.0,) * 8, BARREL])
def test_one_tag_gives_both_solutions_of_opencv_refined(distortion):
    # cv2.solvePnPGeneric(IPPE_SQUARE), then cv2.solvePnPRefineLM, both in fix_from_corners
    rng = np.random.default_rng(3)
    eye = mount(distortion=distortion)
    for _ in range(40):
        tag = random_tag(rng)
        pixels = corners_of([tag], eye.camera.lens)[0] + rng.normal(0.0, 0.3, (4, 2))
        fix = fix_from_corners(pixels, tag=tag, camera=eye.camera)
        own = solved(pixels[None, None], [tag], eye)
        assert own.solution_count[0] == len(fix.rms_px) == 2
        poses = (tag.world_from_tag @ fix.camera_from_tag.inverse()).matrix
        robot = SpacePose(poses) @ eye.robot_from_camera.inverse()
        # with distortion the bulk solver takes the lens as straight over a residual's length
        np.testing.assert_allclose(own.poses[0], robot.to_plane().values, atol=3e-3)
        np.testing.assert_allclose(own.rms_px[0], fix.rms_px, rtol=1e-2, atol=1e-5)
        if not any(distortion):
            np.testing.assert_allclose(own.rms_px[0], fix.rms_px, rtol=1e-4)


@pytest.mark.parametrize("flag", [cv2.SOLVEPNP_SQPNP, cv2.SOLVEPNP_ITERATIVE])
def test_many_tags_agree_with_opencv(flag):
    rng = np.random.default_rng(4)
    eye = mount()
    for count in (2, 2, 3, 3, 4, 5, 7):
        tags = [random_tag(rng, number) for number in range(count)]
        pixels = corners_of(tags, eye.camera.lens) + rng.normal(0.0, 0.3, (count, 4, 2))
        own = solved(pixels[None], tags, eye)
        world = np.concatenate([tag.corners_in_world_m for tag in tags])
        _, rvec, tvec = cv2.solvePnP(
            world, pixels.reshape(-1, 2), eye.camera.lens.matrix, np.zeros(8), flags=flag
        )
        stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 100, 1e-12)
        rvec, tvec = cv2.solvePnPRefineLM(
            world, pixels.reshape(-1, 2), eye.camera.lens.matrix, np.zeros(8), rvec, tvec, stop
        )
        camera_from_world = SpacePose.from_parts(cv2.Rodrigues(rvec)[0], tvec.ravel())
        robot = camera_from_world.inverse() @ eye.robot_from_camera.inverse()
        off = own.poses[0, 0] - robot.to_plane().values
        assert (np.abs(off) < 2e-3 * np.sqrt(np.diag(own.unit_covs[0, 0]))).all()
        fix = fix_from_tags(pixels, tags=tags, camera=eye.camera)
        np.testing.assert_allclose(
            fix.world_from_camera.matrix, camera_from_world.inverse().matrix, atol=5e-5
        )
        np.testing.assert_allclose(own.rms_px[0, 0], fix.rms_px, rtol=1e-6)


@pytest.mark.parametrize("yaw_deg", [-50.0, 0.0, 1e-4, 30.0, 60.0])
def test_a_level_upright_tag_without_noise_is_exact(yaw_deg):
    # an upright tag and a level camera are exactly half a turn apart, where OpenCV's closed form,
    # used in the tag's own frame, is off by 37.6 degrees (4.12 and 5.0 alike)
    eye = mount()
    tag = tag_seen_at(yawed(yaw_deg), [0.3, -0.1, 2.0])
    pixels = corners_of([tag], eye.camera.lens)
    own = solved(pixels[None], [tag], eye)
    np.testing.assert_allclose(own.poses[0, 0], 0.0, atol=1e-8)
    assert own.rms_px[0, 0] < 1e-9
    fix = fix_from_corners(pixels[0], tag=tag, camera=eye.camera)
    expected = WORLD_FROM_CAMERA.inverse() @ tag.world_from_tag
    np.testing.assert_allclose(fix.best.matrix, expected.matrix, atol=1e-6)


def test_covariance_equals_gtsams_figures():
    # marginal of GTSAM 4.3's projection factors, equal to OpenCV's slopes to 2e-8: f 800 px, edge
    # 0.16 m, 0.3 px, tag yawed by 30 degrees at (0.2, 0.1, 2); camera's own axes
    turn_sd_deg = [0.852783, 0.864917, 0.330779]
    place_sd_m = [0.030884, 0.030694, 0.007880]
    eye = mount()
    tag = tag_seen_at(yawed(30.0), [0.2, 0.1, 2.0])
    pixels = corners_of([tag], eye.camera.lens)
    sds = np.sqrt(np.diag(fix_from_tags(pixels, tags=[tag], camera=eye.camera).cov(0.3)))
    np.testing.assert_allclose(np.degrees(sds[:3]), turn_sd_deg, atol=6e-7)
    np.testing.assert_allclose(sds[3:], place_sd_m, atol=6e-7)
    # the same from the tag's pose: the camera's place in the tag is -R' t
    fix = fix_from_corners(pixels[0], tag=tag, camera=eye.camera)
    x, y, z = fix.best.translation_m
    by_step = -np.hstack([[[0, -z, y], [z, 0, -x], [-y, x, 0]], np.eye(3)])
    place_cov = by_step @ fix.covs(0.3)[0] @ by_step.T
    np.testing.assert_allclose(np.sqrt(np.diag(place_cov)), place_sd_m, atol=6e-7)
    # on the floor x is the camera's z, y its -x, and the heading turns about its -y
    floor = np.sqrt(np.diag(solved(pixels[None], [tag], eye).unit_covs[0, 0])) * 0.3
    np.testing.assert_allclose(floor[:2], [place_sd_m[2], place_sd_m[0]], atol=6e-7)
    assert math.degrees(floor[2]) == pytest.approx(turn_sd_deg[1], abs=6e-7)


def test_covariance_equals_gtsams_marginal_on_a_tilted_mount():
    gtsam = pytest.importorskip("gtsam")
    rng = np.random.default_rng(8)
    eye = Mount(
        name="eye",
        camera=camera(),
        position_in_robot_m=np.array([0.3, -0.2, 0.5]),
        pan_rad=0.5,
        tilt_rad=0.3,
        roll_rad=0.1,
    )
    world_from_camera = eye.robot_from_camera
    tags = []
    for number in range(2):
        seen = WORLD_FROM_CAMERA.inverse() @ random_tag(rng).world_from_tag
        tags.append(
            Tag(id=number, family="36h11", edge_m=0.16, world_from_tag=world_from_camera @ seen)
        )
    world = np.concatenate([tag.corners_in_world_m for tag in tags])
    pixels = project(world_from_camera.inverse().transform(world), eye.camera.lens)
    graph, values = gtsam.NonlinearFactorGraph(), gtsam.Values()
    lens = gtsam.Cal3_S2(800.0, 800.0, 0.0, 639.5, 399.5)
    tight = gtsam.noiseModel.Isotropic.Sigma(3, 1e-9)
    for k, (place, pixel) in enumerate(zip(world, pixels, strict=True)):
        unit = gtsam.noiseModel.Isotropic.Sigma(2, 1.0)
        graph.add(gtsam.GenericProjectionFactorCal3_S2(pixel, unit, 0, k + 1, lens))
        graph.add(gtsam.PriorFactorPoint3(k + 1, place, tight))
        values.insert(k + 1, place)
    values.insert(0, gtsam.Pose3(world_from_camera.matrix))
    cov = gtsam.Marginals(graph, values).marginalCovariance(0)
    fix = fix_from_tags(pixels.reshape(2, 4, 2), tags=tags, camera=eye.camera)
    np.testing.assert_allclose(fix.unit_cov, cov, rtol=1e-4, atol=1e-9)
    # the robot stands in the origin: a step of the camera in its own axes, expressed on the floor
    own = solved(pixels.reshape(1, 2, 4, 2), tags, eye)
    rotation, place = world_from_camera.rotation, world_from_camera.translation_m
    shift = np.cross(np.eye(3), place) @ rotation  # of the robot's origin, when the camera turns
    floor = np.vstack(
        [
            np.hstack([shift[:2], rotation[:2]]),
            np.hstack([rotation[2:], np.zeros((1, 3))]),
        ]
    )
    np.testing.assert_allclose(own.unit_covs[0, 0], floor @ cov @ floor.T, rtol=1e-4, atol=1e-10)
    np.testing.assert_allclose(own.poses[0, 0], 0.0, atol=1e-8)
