"""Where a board lies on paper, and the page itself as PDF, read back number by number."""

import re
import zlib
from dataclasses import replace

import numpy as np
import pytest

from posefuse.calibration.board import Board, Markers
from posefuse.calibration.paper import FOOT_M, PAPERS_M, board_page
from posefuse.calibration.pattern import black_boxes_m
from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.plots.board import BAR_MM, board_pdf_bytes
from rendered_board import CHESSBOARD

BOARD = Board(
    name="a $board$ (ä)",
    squares_across=8,
    squares_down=5,
    square_m=0.032,
    markers=Markers(edge_m=0.023, family="4x4_50"),
)
POINTS_PER_MM = 72.0 / 25.4
"""ISO 32000-1, 8.3.2.3: a default user space unit is 1/72 inch."""


def _page_mm(pdf: bytes) -> tuple[float, float]:
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    assert box is not None
    return float(box[1]) / POINTS_PER_MM, float(box[2]) / POINTS_PER_MM


def _boxes_mm(pdf: bytes, height_mm: float) -> FloatArray:
    """Every filled outline of four corners in the page: left, top, width, height."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL)
    page = next(
        text for text in map(_inflated, streams) if b" l\n" in text and b" m\n" in text
    ).decode("latin-1")
    boxes = []
    for outline in re.findall(r"([-\d.]+ [-\d.]+ m(?:\n[-\d.]+ [-\d.]+ l){3,4})\n", page):
        points = np.array(re.findall(r"([-\d.]+) ([-\d.]+) [ml]", outline), dtype=float)
        low, high = points.min(axis=0) / POINTS_PER_MM, points.max(axis=0) / POINTS_PER_MM
        boxes.append([low[0], height_mm - high[1], *(high - low)])
    return np.array(boxes)


def _inflated(stream: bytes) -> bytes:
    try:
        return zlib.decompress(stream)
    except zlib.error:
        return b""


@pytest.mark.parametrize("paper", ["a4", "letter", "a3"])
def test_the_page_is_true_to_size(paper: str) -> None:
    page = board_page(BOARD, paper)
    pdf = board_pdf_bytes(BOARD, page)
    assert _page_mm(pdf) == pytest.approx(
        (1000.0 * page.width_m, 1000.0 * page.height_m), abs=0.001
    )
    found = _boxes_mm(pdf, 1000.0 * page.height_m)[1:]  # the first is the white sheet
    wanted = 1000.0 * black_boxes_m(BOARD)
    wanted[:, :2] += [1000.0 * page.board_left_m, 1000.0 * page.board_top_m]
    on_board = found[: len(wanted)]
    np.testing.assert_allclose(on_board, wanted, atol=0.002)
    bar = found[len(wanted) :]
    assert (bar[:, 0] + bar[:, 2]).max() - bar[:, 0].min() == pytest.approx(BAR_MM, abs=0.002)
    assert bar[:, 1].min() > 1000.0 * page.board_top_m + 160.0 + 2.0
    assert (bar[:, 1] + bar[:, 3]).max() < 1000.0 * page.height_m - 8.0


@pytest.mark.parametrize("paper", ["a4", "a3"])
def test_the_board_is_in_the_middle_of_what_margin_and_foot_leave(paper: str) -> None:
    page, (width_m, height_m) = board_page(BOARD, paper), BOARD.size_m
    right_m = page.width_m - page.board_left_m - width_m
    below_m = page.height_m - page.board_top_m - height_m
    assert page.board_left_m == pytest.approx(right_m)
    assert page.board_top_m - 0.008 == pytest.approx(below_m - FOOT_M)  # 8 mm stay white


def test_the_same_board_gives_the_same_bytes() -> None:
    page = board_page(BOARD, "a4")
    pdf = board_pdf_bytes(BOARD, page)
    assert pdf == board_pdf_bytes(BOARD, page)
    assert b"CreationDate" not in pdf
    assert b"/Subtype /Image" not in pdf


def test_upright_or_across_as_the_board_wants_it() -> None:
    across, upright = (
        board_page(replace(CHESSBOARD, squares_across=a, squares_down=b, square_m=0.03), "a4")
        for a, b in ((8, 5), (5, 8))
    )
    assert (across.width_m, across.height_m) == (0.297, 0.210)
    assert (upright.width_m, upright.height_m) == (0.210, 0.297)
    assert upright.board_left_m == pytest.approx((0.210 - 0.150) / 2.0)


def test_what_does_not_fit_names_the_paper_that_would_do() -> None:
    large = replace(CHESSBOARD, name="large", square_m=0.045)
    with pytest.raises(InputError) as caught:
        board_page(large, "a4")
    assert str(caught.value) == (
        "board 'large': its 360 x 225 mm do not fit on a4 at true size, with a margin and a scale "
        "bar: use tabloid, or make the squares smaller"
    )
    with pytest.raises(InputError, match="no paper here is large enough"):
        board_page(replace(CHESSBOARD, square_m=0.2), "a0")


def test_a_board_that_just_fits() -> None:
    short, long = PAPERS_M["a4"]
    square_m = (short - 0.008 - FOOT_M) / 5.0
    assert 7 * square_m < long - 0.016
    just = replace(CHESSBOARD, squares_across=7, square_m=square_m)
    assert board_page(just, "a4").board_top_m == pytest.approx(0.008)
    with pytest.raises(InputError, match="do not fit"):
        board_page(replace(just, square_m=square_m + 1e-6), "a4")
