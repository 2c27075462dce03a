"""Flat boards of black and white squares that a lens is measured with."""

import math
from dataclasses import dataclass

import numpy as np

from posefuse.arena.placement import LEAST_CELL_M, cells_across
from posefuse.checks import FloatArray, positive
from posefuse.errors import InputError
from posefuse.rendering.tag_pictures import opencv_dictionary
from posefuse.units import metres_to

__all__ = ["LEAST_SQUARES", "MOST_SQUARES", "Board", "Markers", "printable_square_m"]

LEAST_SQUARES, MOST_SQUARES = 4, 100
_LEAST_MARGIN_CELLS = 0.7
"""White around a marker, in its cells: with less OpenCV calls the detection unstable."""

_ROUNDING_M = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Markers:
    """The markers in a board's white squares: the edge of their black square, and their family."""

    edge_m: float
    family: str

    def __post_init__(self) -> None:
        positive("edge_m", self.edge_m)
        opencv_dictionary(self.family)  # refuses those it lacks


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A chessboard, or a ChArUco board: a chessboard with a marker in each white square.

    The square at the top left is black. Markers are numbered from 0, row by row. The board's frame
    has its origin at the outer corner of that square, x right and y down for the viewer, z away
    from the viewer. S. Garrido-Jurado et al., "Automatic generation and detection of highly
    reliable fiducial markers under occlusion", Pattern Recognition 47(6), 2014, for the markers.

    Parameters
    ----------
    squares_across, squares_down
        Number of squares, black and white, in a row and in a column.
    markers
        ``None`` on a plain chessboard.
    """

    name: str
    squares_across: int
    squares_down: int
    square_m: float
    markers: Markers | None = None

    def __post_init__(self) -> None:
        for key in ("squares_across", "squares_down"):
            count = getattr(self, key)
            if not LEAST_SQUARES <= count <= MOST_SQUARES:
                allowed = f"must be {LEAST_SQUARES} to {MOST_SQUARES}"
                raise InputError(f"{key}: {allowed} (got {count})")
        square_m = printable_square_m(self.square_m)
        if self.markers is None:
            return
        self._refuse_markers_that_do_not_show(self.markers, square_m)
        size, wanted = len(opencv_dictionary(self.markers.family).bytesList), self.white_count
        if wanted > size:
            raise InputError(f"the board needs {wanted} markers, {self.markers.family} has {size}")

    @staticmethod
    def _refuse_markers_that_do_not_show(markers: Markers, square_m: float) -> None:
        """An edge too small for its cells, or too large for its square."""
        cells = cells_across(markers.family)
        least_m = cells * LEAST_CELL_M
        most_m = square_m / (1.0 + 2.0 * _LEAST_MARGIN_CELLS / cells)
        least, most, square, edge = (
            metres_to("mm", length) for length in (least_m, most_m, square_m, markers.edge_m)
        )
        if markers.edge_m < least_m - _ROUNDING_M:
            raise InputError(
                f"must be {least:g} mm or more, else the {cells} x {cells} cells of a "
                f"{markers.family} marker are too small to be printed (got {edge:g} mm)"
            )
        if markers.edge_m > most_m + _ROUNDING_M:
            raise InputError(
                f"must be {math.floor(10.0 * most) / 10.0:g} mm or less in squares of {square:g} "
                "mm, else the white around a marker is too narrow for it to be found "
                f"(got {edge:g} mm)"
            )

    @property
    def white_count(self) -> int:
        """Number of white squares."""
        return self.squares_across * self.squares_down // 2

    @property
    def size_m(self) -> tuple[float, float]:
        """Width and height over all squares."""
        return self.squares_across * self.square_m, self.squares_down * self.square_m

    @property
    def corners_in_board_m(self) -> FloatArray:
        """Where four squares meet, (n, 3), row by row from the top left; the index is the id."""
        down, across = np.mgrid[1 : self.squares_down, 1 : self.squares_across]
        flat = np.stack([across.ravel(), down.ravel(), np.zeros(across.size)], axis=-1)
        corners: FloatArray = flat * self.square_m
        return corners


def printable_square_m(square_m: float) -> float:
    """The edge of a square, checked."""
    if positive("square_m", square_m) < LEAST_CELL_M:
        least, got = (metres_to("mm", length) for length in (LEAST_CELL_M, square_m))
        raise InputError(f"squares must be {least:g} mm or more, to be printed (got {got:g} mm)")
    return square_m
