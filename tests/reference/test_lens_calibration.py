"""Lens calibration against known lenses, and against an independent least-squares solver.

The distortion model written out here is the one in OpenCV's documentation of camera calibration,
after D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering 37(8), 1971.
"""

from collections.abc import Callable
from contextlib import suppress

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from posefuse.calibration.board import Board
from posefuse.calibration.lens import LensCalibration, calibrate_lens
from posefuse.calibration.views import find_board
from posefuse.checks import FloatArray
from posefuse.errors import DegenerateView
from posefuse.robot.camera import Lens
from rendered_board import (
    CHARUCO,
    CHESSBOARD,
    known_camera,
    noisy_view,
    random_lens,
    render,
    survey_of,
    varied_poses,
)

WITHIN = 3.0
"""Standard deviations."""

DRAWS = 40
SHARE = 0.95
VIEWS = 18


def _numbers(lens: Lens) -> FloatArray:
    return np.concatenate([lens.focal_px, lens.centre_px, lens.distortion[:5]])


def _deviations(found: LensCalibration) -> FloatArray:
    return np.concatenate([found.focal_std_px, found.centre_std_px, found.distortion_std[:5]])


def _from_corners(seed: int, board: Board, *, count: int = VIEWS) -> tuple[LensCalibration, Lens]:
    """Corners with white noise of 0.1 px."""
    rng = np.random.default_rng(seed)
    camera = known_camera(random_lens(rng), samples=1)
    poses = varied_poses(camera, board, count=count, rng=rng)
    views = (
        noisy_view(camera, board, pose, name=str(index), std_px=0.1, rng=rng)
        for index, pose in enumerate(poses)
    )
    return calibrate_lens(survey_of(camera, views), board), camera.lens


def _from_pictures(seed: int, board: Board) -> tuple[LensCalibration, Lens]:
    """Pictures with a blur of 0.7 px and noise of 2 grey levels, and the corners found in them."""
    rng = np.random.default_rng(seed)
    camera = known_camera(random_lens(rng))
    reach = 0.75 if board.markers else 1.1  # a chessboard must stay in the image
    poses = varied_poses(camera, board, count=VIEWS, rng=rng, reach=reach)
    views = []
    for index, pose in enumerate(poses):
        with suppress(DegenerateView):  # a chessboard of which a corner left the image
            picture = render(camera, board, pose, rng=rng)
            views.append(find_board(picture, board, name=str(index)))
    return calibrate_lens(survey_of(camera, views), board), camera.lens


def _misses(
    draw: Callable[[int, Board], tuple[LensCalibration, Lens]], board: Board, draws: int
) -> FloatArray:
    """How far off each number is, in its own standard deviations, (draws, 9)."""
    misses = []
    for seed in range(draws):
        found, lens = draw(seed, board)
        misses.append((_numbers(found.lens) - _numbers(lens)) / _deviations(found))
    return np.array(misses)


def _assert_honest(misses: FloatArray) -> None:
    is_within = (np.abs(misses) < WITHIN).all(axis=1)
    assert is_within.mean() >= SHARE, misses.round(1)
    # neither overconfident nor underconfident: the rms over n draws spreads by 1 / sqrt(2 n)
    spread = 3.0 / np.sqrt(2.0 * len(misses))
    rms = np.sqrt((misses**2).mean(axis=0))
    assert (np.abs(rms - 1.0) < spread + 0.05).all(), rms.round(2)


def test_known_lenses_from_noisy_corners() -> None:
    _assert_honest(_misses(_from_corners, CHARUCO, DRAWS))


@pytest.mark.parametrize("board", [CHARUCO, CHESSBOARD], ids=lambda board: board.name)
def test_a_known_lens_from_pictures(board: Board) -> None:
    found, lens = _from_pictures(100, board)
    off = np.abs(_numbers(found.lens) - _numbers(lens))
    assert (off < WITHIN * _deviations(found)).all()
    assert found.rms_px < 0.05
    assert (found.focal_std_px < 0.0006 * found.lens.focal_px).all()


@pytest.mark.slow
@pytest.mark.parametrize("board", [CHARUCO, CHESSBOARD], ids=lambda board: board.name)
def test_known_lenses_from_pictures(board: Board) -> None:
    _assert_honest(_misses(_from_pictures, board, DRAWS))


def _projected(parameters: FloatArray, found: LensCalibration) -> FloatArray:
    """The pixels of every corner of every view, for 9 numbers of the lens and 6 of each pose."""
    fx, fy, cx, cy, k1, k2, p1, p2, k3 = parameters[:9]
    pixels = []
    for view, pose in zip(found.views, parameters[9:].reshape(-1, 6), strict=True):
        points = found.board.corners_in_board_m[view.view.corner_ids]
        x, y, z = (Rotation.from_rotvec(pose[:3]).apply(points) + pose[3:]).T
        x, y = x / z, y / z
        r2 = x * x + y * y
        radial = 1.0 + k1 * r2 + k2 * r2**2 + k3 * r2**3
        u = x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x)
        v = y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y
        pixels.append(np.stack([fx * u + cx, fy * v + cy], axis=-1))
    return np.concatenate(pixels)


def test_the_minimum_and_the_deviations_are_those_of_another_solver() -> None:
    """SciPy's trust-region solver on the same corners; covariance s^2 (J'J)^-1 at its minimum."""
    found, lens = _from_corners(7, CHARUCO, count=12)
    corners = np.concatenate([view.view.corners_px for view in found.views])
    start = [_numbers(lens)]
    for view in found.views:
        turn = Rotation.from_matrix(view.camera_from_board.rotation).as_rotvec()
        start.append(np.concatenate([turn, view.camera_from_board.translation_m]))
    best = least_squares(
        lambda parameters: (_projected(parameters, found) - corners).ravel(),
        np.concatenate(start),
        x_scale="jac",
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
    )
    freedom = corners.size - len(best.x)
    covariance = 2.0 * best.cost / freedom * np.linalg.inv(best.jac.T @ best.jac)
    deviations = np.sqrt(np.diag(covariance))[:9]
    np.testing.assert_allclose(_deviations(found), deviations, rtol=0.01)
    assert (np.abs(_numbers(found.lens) - best.x[:9]) < 0.01 * deviations).all()
    assert found.rms_px == pytest.approx(np.sqrt(2.0 * best.cost / len(corners)), rel=1e-6)
