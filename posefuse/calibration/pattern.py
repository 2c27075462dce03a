"""The black parts of a board, to print it, and OpenCV's object of it, to find it."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from posefuse.calibration.board import Board, Markers
from posefuse.checks import BoolArray, FloatArray
from posefuse.rendering.tag_pictures import MARGIN_CELLS, opencv_dictionary, tag_cells

if TYPE_CHECKING:
    import cv2

__all__ = ["black_boxes_m", "charuco_board"]

Box = tuple[float, float, float, float]


def black_boxes_m(board: Board) -> FloatArray:
    """Every black part as a box, (n, 4): left, top, width, height in the board's frame.

    The boxes never overlap, so that their areas add up to what is black.
    """
    boxes: list[Box] = []
    edge = board.square_m
    marker_id = 0
    for row in range(board.squares_down):
        for column in range(board.squares_across):
            if (row + column) % 2 == 0:
                boxes.append((column * edge, row * edge, edge, edge))
            elif board.markers is not None:
                middle = ((column + 0.5) * edge, (row + 0.5) * edge)
                boxes += _marker_boxes(board.markers, marker_id, middle_m=middle)
                marker_id += 1
    return np.array(boxes)


def charuco_board(board: Board, markers: Markers) -> "cv2.aruco.CharucoBoard":
    """OpenCV's object of a board with markers."""
    import cv2

    size = (board.squares_across, board.squares_down)
    codes = opencv_dictionary(markers.family)
    return cv2.aruco.CharucoBoard(size, board.square_m, markers.edge_m, codes)


def _marker_boxes(
    markers: Markers, marker_id: int, *, middle_m: tuple[float, float]
) -> Iterator[Box]:
    """The black runs of each row of a marker."""
    inside = slice(MARGIN_CELLS, -MARGIN_CELLS)
    is_black = ~tag_cells(markers.family, marker_id)[inside, inside]
    cell = markers.edge_m / len(is_black)
    left, top = (part - markers.edge_m / 2.0 for part in middle_m)
    for line, blacks in enumerate(is_black):
        for start, end in _runs(blacks):
            yield left + start * cell, top + line * cell, (end - start) * cell, cell


def _runs(blacks: BoolArray) -> list[tuple[int, int]]:
    """Where runs of ``True`` start and end.

    >>> _runs(np.array([True, True, False, True]))
    [(0, 2), (3, 4)]
    """
    steps = np.flatnonzero(np.diff(np.concatenate([[False], blacks, [False]]).astype(np.int64)))
    return [(int(start), int(end)) for start, end in steps.reshape(-1, 2)]
