"""A board for lens calibration as a page to print, in millimetres."""

import io

import numpy as np
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from posefuse.calibration.board import Board
from posefuse.calibration.paper import FOOT_M, BoardPage
from posefuse.calibration.pattern import black_boxes_m
from posefuse.checks import FloatArray
from posefuse.plots.style import drawing
from posefuse.units import metres_to

__all__ = ["BAR_MM", "board_pdf_bytes", "draw_board_page"]

BAR_MM = 100.0
_TICK_MM = 10.0
_BLACK = "#000000"
_BAR_BELOW_FOOT_MM = 9.0
_NAME_LETTERS = 48
_ADVICE = (
    f"Print at 100 % (actual size) and mount it flat. The bar must measure {BAR_MM:g} mm:\n"
    "if it does not, measure a square and write what you find into the board file."
)


def board_pdf_bytes(board: Board, page: BoardPage) -> bytes:
    """The page as a PDF file at true size, in lines and areas; the same board, the same bytes."""
    buffer = io.BytesIO()
    with drawing():
        rcParams["pdf.fonttype"] = 42
        figure = Figure(figsize=(metres_to("in", page.width_m), metres_to("in", page.height_m)))
        draw_board_page(figure.add_axes((0.0, 0.0, 1.0, 1.0)), board, page)
        nameless = {"CreationDate": None, "Creator": None, "Producer": None}
        figure.savefig(buffer, format="pdf", metadata={"Title": board.name, **nameless})
    return buffer.getvalue()


def draw_board_page(ax: Axes, board: Board, page: BoardPage) -> Axes:
    """The board, what it is, and a bar to check the print's scale with, on axes in mm."""
    width, height, left, top = (
        metres_to("mm", length)
        for length in (page.width_m, page.height_m, page.board_left_m, page.board_top_m)
    )
    ax.set_xlim(0.0, width)
    ax.set_ylim(height, 0.0)
    ax.set_axis_off()
    boxes = metres_to("mm", 1.0) * black_boxes_m(board)
    boxes[:, :2] += [left, top]
    _draw_black(ax, boxes)
    bar_top = height - metres_to("mm", FOOT_M) + _BAR_BELOW_FOOT_MM
    _draw_bar(ax, left, bar_top)
    ax.text(
        left,
        bar_top + 4.0,
        f"{_described(board)}\n{_ADVICE}",
        fontsize=7.0,
        va="top",
        color=_BLACK,
    )
    return ax


def _draw_black(ax: Axes, boxes_mm: FloatArray) -> None:
    """One area for all boxes, so that no white hair shows where two of them meet."""
    left, top, width, height = boxes_mm.T
    right, bottom = left + width, top + height
    x = np.stack([left, right, right, left, left], axis=-1)
    y = np.stack([top, top, bottom, bottom, top], axis=-1)
    codes = [Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY]
    outline = Path(np.stack([x.ravel(), y.ravel()], axis=-1), codes * len(boxes_mm))
    ax.add_patch(PathPatch(outline, facecolor=_BLACK, edgecolor="none", linewidth=0.0))


def _draw_bar(ax: Axes, left_mm: float, top_mm: float) -> None:
    """From the outer edge of the first tick to that of the last it is exactly ``BAR_MM``."""
    line = 0.3
    ticks = np.arange(0.0, BAR_MM + 0.5 * _TICK_MM, _TICK_MM)
    lengths = np.where(ticks % (BAR_MM / 2.0) == 0.0, 5.0, 3.0)
    places = left_mm + ticks - line * ticks / BAR_MM
    uprights = np.stack([places, top_mm - lengths, np.full(ticks.size, line), lengths], axis=-1)
    _draw_black(ax, np.vstack([uprights, [left_mm, top_mm, BAR_MM, line]]))
    ax.text(left_mm + BAR_MM + 2.0, top_mm, f"{BAR_MM:g} mm", fontsize=8.0, va="bottom")


def _described(board: Board) -> str:
    name = board.name if len(board.name) <= _NAME_LETTERS else f"{board.name[:_NAME_LETTERS]}..."
    square = metres_to("mm", board.square_m)
    label = f"{name}: {board.squares_across} x {board.squares_down} squares of {square:g} mm"
    if board.markers is None:
        return label
    edge = metres_to("mm", board.markers.edge_m)
    return f"{label}, markers of {edge:g} mm, family {board.markers.family}"
