"""The two poses of one square: OpenCV's figures for the second one, and how often it wins."""

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
from posefuse.solving.compiled.refine import CORNER_ROWS, error_lanes
from posefuse.solving.compiled.square import (
    LANES,
    SLOPE_ROWS,
    SQUARE_ROWS,
    VIEW_ROWS,
    mirror_lanes,
    pose_lanes,
    slope_lanes,
)
from posefuse.solving.fixes import solve_frames
from posefuse.solving.single import fix_from_corners

FOCAL_PX, EDGE_M = 800.0, 0.16
WORLD_FROM_CAMERA = SpacePose.from_parts(BODY_FROM_OPTICAL, np.zeros(3))
EYE = Mount(
    name="eye",
    camera=Camera(
        name="bench",
        lens=Lens(
            focal_px=np.array([FOCAL_PX, FOCAL_PX]),
            centre_px=np.array([639.5, 399.5]),
            distortion=np.zeros(8),
        ),
        sensor=Sensor(width_px=1280, height_px=800),
        timing=Timing(frame_rate_hz=30, exposure_s=0.01, latency_s=0.04),
        detector=Detector(noise_px=0.3, shift_px=np.zeros(2)),
    ),
    position_in_robot_m=np.zeros(3),
    pan_rad=0.0,
    tilt_rad=0.0,
)


def yawed(yaw_deg: float, z_m: float) -> SpacePose:
    """``camera_from_tag`` of an upright tag on the axis, turned about the vertical."""
    turn = Rotation.from_euler("y", yaw_deg, degrees=True).as_matrix()
    return SpacePose.from_parts(turn @ np.diag([1.0, -1.0, -1.0]), [0.0, 0.0, z_m])


def tag_at(camera_from_tag: SpacePose) -> Tag:
    world_from_tag = WORLD_FROM_CAMERA @ camera_from_tag
    return Tag(id=0, family="36h11", edge_m=EDGE_M, world_from_tag=world_from_tag)


def corners_of(camera_from_tag: SpacePose) -> np.ndarray:
    corners = tag_at(camera_from_tag).corners_in_tag_m
    return project(camera_from_tag.transform(corners), EYE.camera.lens)


def closed_form(corners_px: np.ndarray) -> tuple[list[SpacePose], list[float], list[np.ndarray]]:
    """Both first solutions for the tag itself, their errors, and the arrays behind them."""
    square, slope = np.zeros((SQUARE_ROWS, LANES)), np.empty((SLOPE_ROWS, LANES))
    at_depth_1 = (corners_px - EYE.camera.lens.centre_px) / FOCAL_PX
    square[:8] = at_depth_1.reshape(8, 1)
    square[8], square[9:18] = EDGE_M / 2.0, np.eye(3).reshape(9, 1)
    rows = np.zeros((4, CORNER_ROWS))
    rows[:, :3] = tag_at(SpacePose.identity()).corners_in_tag_m
    rows[:, 3:5] = at_depth_1
    rows[:, 5] = rows[:, 8] = FOCAL_PX
    corners = np.repeat(rows[:, :, None], LANES, axis=2)
    slope_lanes(square, slope)
    poses, errors, views = [], [], []
    for lean in (1.0, -1.0):
        view, error = np.empty((VIEW_ROWS, LANES)), np.empty(LANES)
        pose_lanes(square, slope, lean, view)
        error_lanes(view, corners, 4, error)
        assert (view == view[:, :1]).all()  # every lane works alike
        poses.append(SpacePose.from_parts(view[:9, 3].reshape(3, 3), view[9:, 3]))
        errors.append(math.sqrt(error[3] / 8.0))
        views.append(view)
    return poses, errors, [square, *views]


@pytest.mark.parametrize(
    ("z_m", "second_rms_px"),
    [(0.5, 15.0088), (1, 3.65251), (2, 0.90709), (4, 0.22640), (8, 0.05658), (16, 0.01414)],
)
def test_the_second_closed_form_is_the_exact_mirror(z_m, second_rms_px):
    # OpenCV 5.0 IPPE_SQUARE in numbers: tag yawed +30 on the axis, no noise; the second solution is
    # yawed -30.0000 at every distance and its error falls as 1 / z^2
    corners = corners_of(yawed(30.0, z_m))
    poses, errors, _ = closed_form(corners)
    first, second = np.argsort(errors)
    np.testing.assert_allclose(poses[first].matrix, yawed(30.0, z_m).matrix, atol=2e-7)
    np.testing.assert_allclose(poses[second].rotation, yawed(-30.0, z_m).rotation, atol=2e-7)
    np.testing.assert_allclose(poses[second].translation_m[:2], 0.0, atol=1e-9)
    # OpenCV then sets the place by linear least squares: x + tx = u (z + tz), likewise y
    turned = tag_at(SpacePose.identity()).corners_in_tag_m @ poses[second].rotation.T
    at_depth_1 = (corners - EYE.camera.lens.centre_px) / FOCAL_PX
    left = np.concatenate([np.tile(np.eye(2), (4, 1)), -at_depth_1.reshape(8, 1)], axis=1)
    right = (at_depth_1 * turned[:, 2:] - turned[:, :2]).ravel()
    placed = turned + np.linalg.lstsq(left, right, rcond=None)[0]
    rms_px = np.sqrt(np.mean((project(placed, EYE.camera.lens) - corners) ** 2))
    assert rms_px == pytest.approx(second_rms_px, abs=6e-6 if z_m > 1 else 6e-5)


def test_closed_form_equals_opencvs_on_noisy_corners():
    rng = np.random.default_rng(5)
    turned = np.diag([1.0, -1.0, -1.0])
    points = (tag_at(SpacePose.identity()).corners_in_tag_m @ turned)[::-1].copy()
    for _ in range(50):
        pose = SpacePose.from_parts(
            Rotation.from_euler("xyz", rng.uniform(-50, 50, 3), degrees=True).as_matrix() @ turned,
            [*rng.uniform(-0.5, 0.5, 2), rng.uniform(0.8, 4.0)],
        )
        corners = corners_of(pose) + rng.normal(0.0, 0.3, (4, 2))
        _, rvecs, _, _ = cv2.solvePnPGeneric(
            points,
            corners[::-1].copy(),
            EYE.camera.lens.matrix,
            None,
            flags=cv2.SOLVEPNP_IPPE_SQUARE,
        )
        theirs = [cv2.Rodrigues(rvec)[0] @ turned for rvec in rvecs]
        for own in closed_form(corners)[0]:
            assert min(np.abs(own.rotation - other).max() for other in theirs) < 1e-6


def test_mirroring_turns_one_closed_form_into_the_other():
    corners = corners_of(yawed(25.0, 2.0)) + np.random.default_rng(6).normal(0.0, 0.3, (4, 2))
    _, _, (square, one, other) = closed_form(corners)
    mirrored = one.copy()
    mirror_lanes(square, mirrored)
    np.testing.assert_allclose(mirrored, other, atol=1e-9)


def test_refined_second_solution_is_near_the_mirror_and_fits_better():
    for z_m in (1.0, 2.0, 4.0, 8.0):
        corners = corners_of(yawed(30.0, z_m))
        fix = fix_from_corners(corners, tag=tag_at(yawed(30.0, z_m)), camera=EYE.camera)
        assert fix.rms_px[0] < 1e-6
        assert fix.rms_px[1] < closed_form(corners)[1][1] + closed_form(corners)[1][0]
        turn = fix.camera_from_tag.rotation[1] @ yawed(-30.0, z_m).rotation.T
        assert Rotation.from_matrix(turn).magnitude() < np.radians(4.0) / z_m


WRONG = {  # share of frames whose lower-error solution is the wrong one; OpenCV 5.0, 0.3 px
    5.0: (0.278, 0.441, 0.472),
    10.0: (0.079, 0.369, 0.446),
    20.0: (0.001, 0.225, 0.361),
    30.0: (0.000, 0.141, 0.310),
    45.0: (0.000, 0.066, 0.259),
}


def wrong_share(yaw_deg: float, z_m: float, draws: int) -> float:
    """Share of draws whose first solution leans to the other side of head-on than the tag does."""
    camera_from_tag = yawed(yaw_deg, z_m)
    rng = np.random.default_rng([int(yaw_deg), int(z_m)])
    corners = corners_of(camera_from_tag) + rng.normal(0.0, 0.3, (draws, 4, 2))
    frames = np.arange(draws)
    fixes = solve_frames(
        sighting_frame=frames,
        sighting_tag=np.zeros_like(frames),
        corners_px=corners,
        camera_of_frame=np.zeros_like(frames),
        mounts=[EYE],
        tags=[tag_at(camera_from_tag)],
    )
    assert (fixes.solution_count > 0).all()
    # the true heading is 0, the mirrored one about minus twice the yaw, head-on lies halfway
    return float((fixes.poses[:, 0, 2] < -np.radians(yaw_deg)).mean())


def assert_same_share(own: float, draws: int, stated: float) -> None:
    """Within 3 standard errors of a share stated from 4,000 draws (and rounded to 0.001)."""
    variance = max(stated * (1.0 - stated), 1.0 / 4000)
    error = math.sqrt(variance * (1.0 / 4000 + 1.0 / draws))
    assert abs(own - stated) < 3.0 * error + 0.0005


@pytest.mark.parametrize("yaw_deg", WRONG)
def test_how_often_the_wrong_solution_fits_better(yaw_deg):
    for z_m, stated in zip((2.0, 4.0, 6.0), WRONG[yaw_deg], strict=True):
        assert_same_share(wrong_share(yaw_deg, z_m, 3000), 3000, stated)


@pytest.mark.slow
@pytest.mark.parametrize("yaw_deg", WRONG)
def test_how_often_the_wrong_solution_fits_better_in_many_draws(yaw_deg):
    for z_m, stated in zip((2.0, 4.0, 6.0), WRONG[yaw_deg], strict=True):
        assert_same_share(wrong_share(yaw_deg, z_m, 200_000), 200_000, stated)
