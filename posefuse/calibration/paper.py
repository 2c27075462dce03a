"""Where a board lies on a sheet of paper, at its true size."""

from collections.abc import Mapping
from dataclasses import dataclass

from posefuse.calibration.board import Board
from posefuse.errors import InputError
from posefuse.units import metres_to

__all__ = ["FOOT_MM", "PAPERS_MM", "BoardPage", "board_page"]

PAPERS_MM: Mapping[str, tuple[float, float]] = {
    "letter": (215.9, 279.4),
    "a4": (210.0, 297.0),
    "tabloid": (279.4, 431.8),
    "a3": (297.0, 420.0),
    "a2": (420.0, 594.0),
    "a1": (594.0, 841.0),
    "a0": (841.0, 1189.0),
}
"""Short and long side: ISO 216 and ANSI/ASME Y14.1."""

_MARGIN_MM = 8.0
"""Printers leave an edge white; and a board is found more surely with white around it."""

FOOT_MM = 26.0
"""Height of the strip below the board that holds the scale bar."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardPage:
    """A sheet, turned as the board wants it; all in mm from its top left corner."""

    paper: str
    width_mm: float
    height_mm: float
    board_left_mm: float
    board_top_mm: float


def board_page(board: Board, paper: str) -> BoardPage:
    """The board on a sheet: across where it fits so, else upright.

    Raises
    ------
    InputError
        It does not fit; the message names the smallest paper that would do.
    """
    page = _fitted(board, paper)
    if page is not None:
        return page
    larger = next((name for name in PAPERS_MM if _fitted(board, name)), None)
    width, height = (metres_to("mm", length) for length in board.size_m)
    advice = f"use {larger}" if larger else "no paper here is large enough"
    raise InputError(
        f"board {board.name!r}: its {width:g} x {height:g} mm do not fit on {paper} at true size, "
        f"with a margin and a scale bar: {advice}, or make the squares smaller"
    )


def _fitted(board: Board, paper: str) -> BoardPage | None:
    board_width, board_height = (metres_to("mm", length) for length in board.size_m)
    short, long = PAPERS_MM[paper]
    for width, height in ((long, short), (short, long)):
        spare_width = width - 2.0 * _MARGIN_MM - board_width
        spare_height = height - _MARGIN_MM - FOOT_MM - board_height
        if spare_width >= 0.0 and spare_height >= 0.0:
            return BoardPage(
                paper=paper,
                width_mm=width,
                height_mm=height,
                board_left_mm=_MARGIN_MM + spare_width / 2.0,
                board_top_mm=_MARGIN_MM + spare_height / 2.0,
            )
    return None
