"""Where a board lies on a sheet of paper, at its true size."""

from collections.abc import Mapping
from dataclasses import dataclass

from posefuse.calibration.board import Board
from posefuse.errors import InputError
from posefuse.units import metres_to

__all__ = ["FOOT_M", "PAPERS_M", "BoardPage", "board_page"]

PAPERS_M: Mapping[str, tuple[float, float]] = {
    "letter": (0.2159, 0.2794),
    "a4": (0.210, 0.297),
    "tabloid": (0.2794, 0.4318),
    "a3": (0.297, 0.420),
    "a2": (0.420, 0.594),
    "a1": (0.594, 0.841),
    "a0": (0.841, 1.189),
}
"""Short and long side: ISO 216 and ANSI/ASME Y14.1."""

_MARGIN_M = 0.008
"""Printers leave an edge white; and a board is found more surely with white around it."""

FOOT_M = 0.026
"""Height of the strip below the board that holds the scale bar."""

_ROUNDING_M = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardPage:
    """A sheet of paper, across or upright; lengths from its top left corner."""

    paper: str
    width_m: float
    height_m: float
    board_left_m: float
    board_top_m: float


def board_page(board: Board, paper: str) -> BoardPage:
    """The board on a sheet: across where it fits that way, else upright.

    Raises
    ------
    InputError
        It does not fit; the message names the smallest paper that would do.
    """
    page = _fitted(board, paper)
    if page is not None:
        return page
    larger = next((name for name in PAPERS_M if _fitted(board, name)), None)
    width, height = (metres_to("mm", length) for length in board.size_m)
    advice = f"use {larger}" if larger else "no paper here is large enough"
    raise InputError(
        f"board {board.name!r}: its {width:g} x {height:g} mm do not fit on {paper} at true size, "
        f"with a margin and a scale bar: {advice}, or make the squares smaller"
    )


def _fitted(board: Board, paper: str) -> BoardPage | None:
    board_width, board_height = board.size_m
    short, long = PAPERS_M[paper]
    for width, height in ((long, short), (short, long)):
        spare_width = width - 2.0 * _MARGIN_M - board_width
        spare_height = height - _MARGIN_M - FOOT_M - board_height
        if min(spare_width, spare_height) > -_ROUNDING_M:
            return BoardPage(
                paper=paper,
                width_m=width,
                height_m=height,
                board_left_m=_MARGIN_M + spare_width / 2.0,
                board_top_m=_MARGIN_M + spare_height / 2.0,
            )
    return None
