"""A lens and the board's poses that minimise the corners' reprojection errors.

Z. Zhang, "A flexible new technique for camera calibration", IEEE Transactions on Pattern Analysis
and Machine Intelligence 22(11), 2000, as OpenCV has it; standard deviations from the Jacobian at
the minimum and the errors that remain there.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from posefuse.calibration.board import Board
from posefuse.calibration.views import BoardView
from posefuse.checks import FloatArray
from posefuse.errors import DegenerateView
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Lens

__all__ = ["Fit", "fit_lens", "rough_fit"]

_STEPS, _LEAST_CHANGE = 300, 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """The best lens, its residuals and its standard deviations.

    Parameters
    ----------
    deviations : (12,) array
        One standard deviation of fx, fy, cx, cy and of the lens' eight distortion terms, each in
        the unit of its own; 0 for what was kept fixed.
    camera_from_board
        One pose for each view.
    residuals_px
        For each view (n, 2): found minus projected.
    """

    lens: Lens
    deviations: FloatArray
    camera_from_board: SpacePose
    residuals_px: tuple[FloatArray, ...]

    @property
    def rms_px(self) -> float:
        """Root of the mean squared distance between a corner found and its projection."""
        squares = np.concatenate([(part**2).sum(axis=1) for part in self.residuals_px])
        return float(np.sqrt(squares.mean()))


def fit_lens(
    views: Sequence[BoardView], board: Board, *, size_px: tuple[int, int], terms: int
) -> Fit:
    """The lens with the first ``terms`` (4, 5 or 8) of its distortion free.

    Raises
    ------
    DegenerateView
        The equations have no solution.
    """
    import cv2

    flags = {4: cv2.CALIB_FIX_K3, 5: 0, 8: cv2.CALIB_RATIONAL_MODEL}[terms]
    return _fit(views, board, size_px=size_px, flags=flags)


def rough_fit(views: Sequence[BoardView], board: Board, *, size_px: tuple[int, int]) -> Fit:
    """One focal length and one distortion term: few enough to be found from a few views.

    Raises
    ------
    DegenerateView
        The equations have no solution.
    """
    import cv2

    flags = (
        cv2.CALIB_FIX_ASPECT_RATIO
        | cv2.CALIB_FIX_PRINCIPAL_POINT
        | cv2.CALIB_ZERO_TANGENT_DIST
        | cv2.CALIB_FIX_K2
        | cv2.CALIB_FIX_K3
    )
    return _fit(views, board, size_px=size_px, flags=flags)


def _fit(views: Sequence[BoardView], board: Board, *, size_px: tuple[int, int], flags: int) -> Fit:
    import cv2

    corners = board.corners_in_board_m
    points = [corners[view.corner_ids].astype(np.float32) for view in views]
    pixels = [view.corners_px.astype(np.float32) for view in views]
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, _STEPS, _LEAST_CHANGE)
    try:
        found = cv2.calibrateCameraExtended(
            points, pixels, size_px, np.eye(3), np.zeros(5), flags=flags, criteria=stop
        )
    except cv2.error as error:
        raise DegenerateView(f"no lens fits the corners: {error.err}") from None
    _, matrix, terms, turns, shifts, deviations = (_as_floats(part) for part in found[:6])
    distortion = np.zeros(8)
    distortion[: min(terms.size, 8)] = terms.ravel()[:8]
    lens = Lens(
        focal_px=np.array([matrix[0, 0], matrix[1, 1]]),
        centre_px=matrix[:2, 2],
        distortion=distortion,
    )
    residuals = tuple(
        view.corners_px - _projected(corners[view.corner_ids], turn, shift, lens)
        for view, turn, shift in zip(views, turns, shifts, strict=True)
    )
    return Fit(
        lens=lens,
        deviations=deviations.ravel()[:12],
        camera_from_board=_poses(turns, shifts),
        residuals_px=residuals,
    )


def _as_floats(part: object) -> FloatArray:
    return np.asarray(part, dtype=np.float64)


def _poses(turns: FloatArray, shifts: FloatArray) -> SpacePose:
    import cv2

    rotations = np.array([cv2.Rodrigues(turn)[0] for turn in turns])
    return SpacePose.from_parts(rotations, shifts.reshape(-1, 3))


def _projected(
    points_in_board_m: FloatArray, turn: FloatArray, shift: FloatArray, lens: Lens
) -> FloatArray:
    import cv2

    pixels, _ = cv2.projectPoints(points_in_board_m, turn, shift, lens.matrix, lens.distortion)
    return np.asarray(pixels, dtype=np.float64).reshape(-1, 2)
