"""Boards: OpenCV's own idea of them, and the files that describe them."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from posefuse.calibration.board import Board, Markers
from posefuse.calibration.load import load_board
from posefuse.calibration.pattern import black_boxes_m, charuco_board
from posefuse.checks import FloatArray
from posefuse.errors import FileError, InputError
from rendered_board import CHARUCO, CHESSBOARD

ROOT = Path(__file__).parents[3]
BOARDS = sorted((ROOT / "datasets" / "boards").glob("*.toml"))

GOOD = """name = "a"
squares_across = 8
squares_down = 5
square_mm = 32
marker_mm = 23
family = "4x4_50"
"""


def test_corners_lie_where_opencv_has_them() -> None:
    assert CHARUCO.markers is not None
    theirs = charuco_board(CHARUCO, CHARUCO.markers).getChessboardCorners()
    np.testing.assert_allclose(CHARUCO.corners_in_board_m, theirs, atol=1e-8)


def _painted(boxes_m: FloatArray, board: Board, texels_per_m: float) -> np.ndarray:
    width, height = (round(length * texels_per_m) for length in board.size_m)
    picture = np.full((height, width), 255, dtype=np.uint8)
    for left, top, across, down in np.rint(boxes_m * texels_per_m).astype(int):
        assert (picture[top : top + down, left : left + across] == 255).all(), "boxes overlap"
        picture[top : top + down, left : left + across] = 0
    return picture


@pytest.mark.parametrize("rows", [5, 6])
@pytest.mark.parametrize("family", ["4x4_50", "36h11", "original"])
def test_what_is_black_is_what_opencv_draws(family: str, rows: int) -> None:
    cells = {"4x4_50": 6, "36h11": 8, "original": 7}[family]
    board = Board(
        name="a",
        squares_across=7,
        squares_down=rows,
        square_m=(cells + 2) / 100.0,
        markers=Markers(edge_m=cells / 100.0, family=family),
    )
    assert board.markers is not None
    ours = _painted(black_boxes_m(board), board, 1000.0)
    theirs = charuco_board(board, board.markers).generateImage(ours.shape[::-1], marginSize=0)
    assert (ours == theirs).all()


def test_a_chessboard_starts_black() -> None:
    boxes = black_boxes_m(CHESSBOARD)
    assert len(boxes) == 20
    np.testing.assert_allclose(boxes[:2], [[0, 0, 0.034, 0.034], [0.068, 0, 0.034, 0.034]])


@pytest.mark.parametrize("path", BOARDS, ids=lambda path: path.name)
def test_shipped_boards(path: Path) -> None:
    assert load_board(path).squares_across > 7


def test_a_board_file(tmp_path: Path) -> None:
    path = tmp_path / "board.toml"
    path.write_text(GOOD, encoding="utf-8")
    board = load_board(path)
    assert board == Board(
        name="a",
        squares_across=8,
        squares_down=5,
        square_m=0.032,
        markers=Markers(edge_m=0.023, family="4x4_50"),
    )
    assert board.size_m == pytest.approx((0.256, 0.160))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("square_mm = 32", "square_mm = 0", ":4: square_mm: must be greater than 0 m (got 0)"),
        (
            "square_mm = 32",
            "square_mm = 0.032",
            ":4: square_mm: squares must be 0.5 mm or more, to be printed (got 0.032 mm)",
        ),
        (
            "marker_mm = 23",
            "marker_mm = 32",
            ":5: marker_mm: must be 25.9 mm or less in squares of 32 mm, else the white around a "
            "marker is too narrow for it to be found (got 32 mm)",
        ),
        (
            "marker_mm = 23",
            "marker_mm = 2.3",
            ":5: marker_mm: must be 3 mm or more, else the 6 x 6 cells of a 4x4_50 marker are too "
            "small to be printed (got 2.3 mm)",
        ),
        (
            '"4x4_50"',
            '"4x4_5"',
            ":6: family: OpenCV carries no tag family '4x4_5'; did you mean '4x4_50'?",
        ),
        (
            'family = "4x4_50"\n',
            "",
            ": family: a board with markers needs both marker_m and family",
        ),
        (
            "marker_mm = 23\n",
            "",
            ":5: family: a board with markers needs both marker_m and family",
        ),
        (
            "squares_across = 8",
            "squares_across = 80",
            ":5: marker_mm: the board needs 200 markers, 4x4_50 has 50",
        ),
        (
            "squares_down = 5",
            "squares_down = 3",
            ":3: squares_down: must be greater than or equal ",
        ),
        (
            "squares_down",
            "squares_dwn",
            ":3: squares_dwn: unknown key; did you mean 'squares_down'",
        ),
    ],
)
def test_faults_in_a_board_file(tmp_path: Path, old: str, new: str, message: str) -> None:
    path = tmp_path / "board.toml"
    path.write_text(GOOD.replace(old, new), encoding="utf-8")
    with pytest.raises(FileError) as caught:
        load_board(path)
    assert str(caught.value).startswith(f"{path}{message}")
    assert "\n" not in str(caught.value)


def test_boards_made_by_hand_are_held_to_the_same_rules() -> None:
    with pytest.raises(InputError, match=r"squares_down: must be 4 to 100 \(got 3\)"):
        Board(name="a", squares_across=8, squares_down=3, square_m=0.03)
    with pytest.raises(InputError, match="OpenCV carries no"):
        Markers(edge_m=0.02, family="zzz")


def test_a_family_is_drawn_as_opencv_draws_it() -> None:
    codes = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    boxes = black_boxes_m(CHARUCO)
    first = boxes[(boxes[:, 0] > 0.034) & (boxes[:, 0] < 0.068) & (boxes[:, 1] < 0.034)]
    black = (first[:, 2] * first[:, 3]).sum() / (0.024 / 6) ** 2
    assert black == pytest.approx((codes.generateImageMarker(0, 6) == 0).sum())
