"""Finding a board's corners in a picture, each to a few hundredths of a pixel."""

import numpy as np

from posefuse.calibration.board import Board, Markers
from posefuse.calibration.chessboard import find_chessboard
from posefuse.calibration.images import GreyImage
from posefuse.calibration.pattern import charuco_board
from posefuse.checks import FloatArray, IntArray
from posefuse.errors import DegenerateView

__all__ = ["LEAST_CORNERS", "find_corners"]

LEAST_CORNERS = 8
"""Corners a picture must show, so that its pose leaves equations over for the lens."""

_LEAST_WINDOW_PX, _MOST_WINDOW_PX = 2, 11
_BLUR_PX = 1.5
"""How far an edge beside the corner is smeared toward it, and the gradient's reach."""


def find_corners(image: GreyImage, board: Board) -> tuple[IntArray, FloatArray]:
    """Ids (n,) and pixels (n, 2) of the board's corners that a picture shows.

    Raises
    ------
    DegenerateView
        Too little of the board is seen; the message says what is.
    """
    if board.markers is None:
        ids, found = _chessboard_corners(image, board)
    else:
        ids, found = _charuco_corners(image, board, board.markers)
    _refuse_too_few(ids, board)
    windows = _windows_px(found, board.corners_in_board_m[ids], board)
    found = _refined(image, found, windows)
    height, width = image.shape
    room = np.minimum(found, np.array([width - 1, height - 1]) - found).min(axis=1)
    is_inside = room > windows  # a window that leaves the picture pulls its corner
    _refuse_too_few(ids[is_inside], board)
    return ids[is_inside], found[is_inside]


def _chessboard_corners(image: GreyImage, board: Board) -> tuple[IntArray, FloatArray]:
    """All corners at once, the whole board in view."""
    found = find_chessboard(image, across=board.squares_across - 1, down=board.squares_down - 1)
    if found is None:
        raise DegenerateView(f"no chessboard of {_size(board)} squares is seen whole")
    return np.arange(len(found)), found


def _charuco_corners(
    image: GreyImage, board: Board, markers: Markers
) -> tuple[IntArray, FloatArray]:
    import cv2

    detector = cv2.aruco.CharucoDetector(charuco_board(board, markers))
    corners, ids, _, marker_ids = detector.detectBoard(image)
    numbers = _flat_ids(ids)
    if not len(numbers):
        seen = len(_flat_ids(marker_ids))
        raise DegenerateView(
            f"markers of the family {markers.family} are seen, but not as they lie on a board of "
            f"{_size(board)} squares"
            if seen
            else f"no marker of the family {markers.family} is seen"
        )
    return numbers, np.asarray(corners, dtype=np.float64).reshape(-1, 2)


def _size(board: Board) -> str:
    return f"{board.squares_across} x {board.squares_down}"


def _flat_ids(ids: object) -> IntArray:
    """Ids as (n,), from any version of OpenCV, none included."""
    return np.zeros(0, dtype=np.int64) if ids is None else np.asarray(ids, dtype=np.int64).ravel()


def _refuse_too_few(corner_ids: IntArray, board: Board) -> None:
    if len(corner_ids) < LEAST_CORNERS:
        raise DegenerateView(f"fewer than {LEAST_CORNERS} corners of the board are seen")
    points = board.corners_in_board_m[corner_ids, :2]
    if np.linalg.matrix_rank(points - points.mean(axis=0), tol=board.square_m / 2.0) < 2:
        raise DegenerateView("the corners seen lie on one line")


def _windows_px(corners_px: FloatArray, corners_in_board_m: FloatArray, board: Board) -> IntArray:
    """Half the width of the square around each corner that holds nothing but the corner, (n,).

    A marker's edge in the window would pull the corner by up to half a pixel.
    """
    import cv2

    gap_m = (board.square_m - (board.markers.edge_m if board.markers else 0.0)) / 2.0
    flat = np.ascontiguousarray(corners_in_board_m[:, :2])
    image_from_board = np.asarray(cv2.findHomography(flat, corners_px)[0], dtype=np.float64)
    middles = _mapped(flat, image_from_board)
    reach = np.full(len(flat), np.inf)
    for toward in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
        beside = _mapped(flat + gap_m * np.array(toward), image_from_board)
        reach = np.minimum(reach, np.abs(beside - middles).max(axis=1))
    wanted = np.floor(reach - _BLUR_PX)
    return np.clip(wanted, _LEAST_WINDOW_PX, _MOST_WINDOW_PX).astype(np.int64)


def _mapped(points: FloatArray, homography: FloatArray) -> FloatArray:
    scaled = points @ homography[:, :2].T + homography[:, 2]
    return scaled[:, :2] / scaled[:, 2:]


def _refined(image: GreyImage, corners_px: FloatArray, windows_px: IntArray) -> FloatArray:
    """Each corner where the gradients around it say it lies.

    W. Förstner and E. Gülch, "A fast operator for detection and precise location of distinct
    points, corners and centres of circular features", ISPRS 1987, as OpenCV has it.
    """
    import cv2

    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 100, 1e-4)
    refined = corners_px.copy()
    for window in np.unique(windows_px):
        chosen = windows_px == window
        start = corners_px[chosen].astype(np.float32).reshape(-1, 1, 2)
        half = (int(window), int(window))
        refined[chosen] = cv2.cornerSubPix(image, start, half, (-1, -1), stop)[:, 0]
    return refined
