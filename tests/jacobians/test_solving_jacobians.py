"""The solver's slopes and covariances against central differences."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from posefuse.arena.arena import Tag
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Camera, Detector, Lens, Sensor, Timing
from posefuse.robot.rig import Mount
from posefuse.sensing.projection import project
from posefuse.solving.compiled.plane import (
    MOUNT_ROWS,
    PLANE_ROWS,
    plane_lanes,
    spread_lanes,
    whiten_lanes,
)
from posefuse.solving.compiled.refine import (
    CORNER_ROWS,
    FACTOR_ROWS,
    NORMAL_ROWS,
    error_lanes,
    factor_lanes,
    move_lanes,
    normal_lanes,
    step_lanes,
)
from posefuse.solving.compiled.square import LANES, VIEW_ROWS
from posefuse.solving.fixes import solve_frames

SMALL = 1e-6
LOWER = np.tril_indices(6)


def random_problem(seed: int, count: int = 8) -> tuple[np.ndarray, np.ndarray]:
    """A view of 16 frames and their corners (count, CORNER_ROWS, LANES), all different."""
    rng = np.random.default_rng(seed)
    view = np.empty((VIEW_ROWS, LANES))
    view[:9] = Rotation.random(LANES, random_state=rng).as_matrix().reshape(LANES, 9).T
    view[9:] = rng.uniform([[-1], [-1], [3]], [[1], [1], [5]], (3, LANES))
    corners = rng.uniform(-1.0, 1.0, (count, CORNER_ROWS, LANES))
    corners[:, 5:] *= 800.0
    return view, corners


def residuals(view: np.ndarray, corners: np.ndarray, lane: int) -> np.ndarray:
    """What is seen less what is predicted, in px, in plain numpy."""
    place, seen, slopes = corners[:, :3, lane], corners[:, 3:5, lane], corners[:, 5:, lane]
    points = place @ view[:9, lane].reshape(3, 3).T + view[9:, lane]
    off = seen - points[:, :2] / points[:, 2:]
    return np.einsum("nij,nj->ni", slopes.reshape(-1, 2, 2), off).ravel()


def moved(view: np.ndarray, part: int, by: float) -> np.ndarray:
    step, after = np.zeros((6, LANES)), np.empty_like(view)
    step[part] = by
    move_lanes(view, step, after)
    return after


def slopes_of(function, view: np.ndarray) -> np.ndarray:
    """Central differences (rows, 6) of a function of the view by the parts of a step."""
    return np.stack(
        [
            (function(moved(view, part, SMALL)) - function(moved(view, part, -SMALL)))
            / (2.0 * SMALL)
            for part in range(6)
        ],
        axis=-1,
    )


def normal_of(view: np.ndarray, corners: np.ndarray) -> np.ndarray:
    normal = np.empty((NORMAL_ROWS, LANES))
    normal_lanes(view, corners, len(corners), normal)
    return normal


def test_a_step_turns_and_shifts_the_view():
    # scipy's rotation vector, from which Cayley's turn is off by the third power
    view, _ = random_problem(1)
    step = np.random.default_rng(2).uniform(-1e-3, 1e-3, (6, LANES))
    after = np.empty_like(view)
    move_lanes(view, step, after)
    turns = Rotation.from_rotvec(step[:3].T).as_matrix()
    expected = turns @ view[:9].T.reshape(LANES, 3, 3)
    np.testing.assert_allclose(after[:9].T.reshape(LANES, 3, 3), expected, atol=1e-9)
    np.testing.assert_allclose(after[9:], view[9:] + step[3:], atol=1e-15)
    big = np.full((6, LANES), 2.0)
    move_lanes(view, big, after)
    rotation = after[:9, 0].reshape(3, 3)
    np.testing.assert_allclose(rotation @ rotation.T, np.eye(3), atol=1e-14)


def test_normal_equations_of_the_reprojection_error():
    view, corners = random_problem(3)
    normal = normal_of(view, corners)
    errors = np.empty(LANES)
    error_lanes(view, corners, len(corners), errors)
    for lane in range(LANES):
        error = residuals(view, corners, lane)
        jacobian = -slopes_of(lambda v, at=lane: residuals(v, corners, at), view)
        gram = jacobian.T @ jacobian
        np.testing.assert_allclose(normal[:21, lane], gram[LOWER], atol=1e-6 * gram.max())
        np.testing.assert_allclose(
            normal[21:27, lane],
            jacobian.T @ error,
            atol=1e-6 * np.sqrt(gram.max() * (error @ error)),
        )
        assert normal[27, lane] == pytest.approx(error @ error, rel=1e-12)
        assert errors[lane] == pytest.approx(error @ error, rel=1e-12)
        points = corners[:, :3, lane] @ view[:9, lane].reshape(3, 3).T + view[9:, lane]
        assert normal[28, lane] == pytest.approx(points[:, 2].min(), rel=1e-12)


def test_a_corner_behind_the_camera_never_fits():
    view, corners = random_problem(3)
    view[11] = -5.0
    errors = np.empty(LANES)
    error_lanes(view, corners, len(corners), errors)
    assert np.isinf(errors).all()
    assert (normal_of(view, corners)[28] < 0.0).all()


@pytest.mark.parametrize("damping", [0.0, 0.5])
def test_factor_and_step_solve_the_normal_equations(damping):
    view, corners = random_problem(4)
    normal, factor = normal_of(view, corners), np.empty((FACTOR_ROWS, LANES))
    factor_lanes(normal, np.full((2, LANES), damping), factor)
    step = np.empty((6, LANES))
    step_lanes(factor, step)
    for lane in range(LANES):
        gram = np.zeros((6, 6))
        gram[LOWER] = normal[:21, lane]
        gram += np.tril(gram, -1).T
        gram += damping * np.diag(np.diag(gram))
        lower = np.linalg.cholesky(gram)
        own = np.zeros((6, 6))
        own[LOWER] = factor[:21, lane]
        own[np.diag_indices(6)] = 1.0 / own[np.diag_indices(6)]
        np.testing.assert_allclose(own, lower, rtol=1e-9, atol=1e-9 * lower.max())
        expected = np.linalg.solve(gram, normal[21:27, lane])
        np.testing.assert_allclose(step[:, lane], expected, rtol=1e-7, atol=1e-12)
        expected_drop = normal[21:27, lane] @ expected
        assert factor[27, lane] == pytest.approx(expected_drop, rel=1e-9)


def test_the_robots_pose_and_covariance_by_the_view():
    view, corners = random_problem(5)
    rng = np.random.default_rng(6)
    mount = rng.uniform(-1.0, 1.0, (MOUNT_ROWS, LANES))
    mount[3:6] = Rotation.random(LANES, random_state=rng).as_matrix()[:, 0].T
    factor = np.empty((FACTOR_ROWS, LANES))
    factor_lanes(normal_of(view, corners), np.zeros((2, LANES)), factor)

    def pose(view: np.ndarray) -> np.ndarray:
        plane, _ = floor(view)
        return np.stack([plane[0], plane[1], np.arctan2(plane[3], plane[2])])

    def floor(view: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        plane, spread = np.empty((PLANE_ROWS, LANES)), np.empty((3, 6, LANES))
        plane_lanes(view, mount, plane, spread)
        return plane, spread

    plane, spread = floor(view)
    numeric = slopes_of(pose, view)
    np.testing.assert_allclose(-spread, np.moveaxis(numeric, 1, 2), rtol=1e-6, atol=1e-7)
    whiten_lanes(factor, spread)
    spread_lanes(spread, plane)
    gram = np.zeros((6, 6))
    for lane in range(LANES):
        gram[LOWER] = normal_of(view, corners)[:21, lane]
        full = gram + np.tril(gram, -1).T
        cov = numeric[:, lane] @ np.linalg.inv(full) @ numeric[:, lane].T
        np.testing.assert_allclose(
            plane[[4, 5, 6, 7, 8, 9], lane],
            cov[[0, 0, 1, 0, 1, 2], [0, 1, 1, 2, 2, 2]],
            rtol=1e-4,
            atol=1e-6 * cov.max(),
        )


@pytest.mark.parametrize("count", [1, 3])
@pytest.mark.parametrize("distortion", [(0.0,) * 8, (-0.28, 0.08, 0.001, -0.0005, -0.01, 0, 0, 0)])
def test_covariance_is_that_of_small_errors_of_the_pixels(count, distortion):
    # the solved pose itself, differentiated by each pixel coordinate: cov = J J' for 1 px
    lens = Lens(
        focal_px=np.array([700.0, 720.0]),
        centre_px=np.array([640.0, 395.0]),
        distortion=np.array(distortion),
    )
    eye = Mount(
        name="eye",
        camera=Camera(
            name="bench",
            lens=lens,
            sensor=Sensor(width_px=1280, height_px=800),
            timing=Timing(frame_rate_hz=30, exposure_s=0.01, latency_s=0.04),
            detector=Detector(noise_px=0.5, shift_px=np.zeros(2)),
        ),
        position_in_robot_m=np.array([0.3, 0.2, 0.5]),
        pan_rad=0.6,
        tilt_rad=0.25,
        roll_rad=-0.1,
    )
    facing = Rotation.from_euler("x", 180, degrees=True)
    tags, pixels = [], []
    for number in range(count):
        turn = Rotation.from_euler("yx", [35.0 - 20.0 * number, 20.0], degrees=True) * facing
        seen = SpacePose.from_parts(turn.as_matrix(), [0.8 - 0.7 * number, 0.3, 2.0 + 0.3 * number])
        tags.append(
            Tag(id=number, family="36h11", edge_m=0.15, world_from_tag=eye.robot_from_camera @ seen)
        )
        pixels.append(project(seen.transform(tags[-1].corners_in_tag_m), lens))
    exact = np.array(pixels)
    by = 1e-3
    shifts = by * np.eye(exact.size).reshape(-1, *exact.shape)
    frames = np.concatenate([exact[None], exact + shifts, exact - shifts])
    fixes = solve_frames(
        sighting_frame=np.repeat(np.arange(len(frames)), count),
        sighting_tag=np.tile(np.arange(count), len(frames)),
        corners_px=frames.reshape(-1, 4, 2),
        camera_of_frame=np.zeros(len(frames), dtype=np.int64),
        mounts=[eye],
        tags=tags,
    )
    np.testing.assert_allclose(fixes.poses[0, 0], 0.0, atol=1e-8)
    first = fixes.poses[:, 0]
    jacobian = (first[1 : exact.size + 1] - first[exact.size + 1 :]).T / (2.0 * by)
    np.testing.assert_allclose(fixes.unit_covs[0, 0], jacobian @ jacobian.T, rtol=2e-3, atol=1e-9)
