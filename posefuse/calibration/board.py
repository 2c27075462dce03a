"""Flat boards of black and white squares that a lens is measured with, and the files for them."""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np
from pydantic import Field

from posefuse.arena.placement import LEAST_CELL_M, cells_across
from posefuse.checks import FloatArray, positive
from posefuse.errors import InputError
from posefuse.files.toml_file import FileModel, in_file, load_toml
from posefuse.files.types import Name, Positive
from posefuse.rendering.tag_pictures import opencv_dictionary
from posefuse.units import metres_to

__all__ = ["Board", "Markers", "load_board"]

_LEAST_SQUARES, _MOST_SQUARES = 4, 100
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
            if not _LEAST_SQUARES <= count <= _MOST_SQUARES:
                allowed = f"must be {_LEAST_SQUARES} to {_MOST_SQUARES}"
                raise InputError(f"{key}: {allowed} (got {count})")
        square_m = _printable_square_m(self.square_m)
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


def _printable_square_m(square_m: float) -> float:
    if positive("square_m", square_m) < LEAST_CELL_M:
        least, got = (metres_to("mm", length) for length in (LEAST_CELL_M, square_m))
        raise InputError(f"squares must be {least:g} mm or more, to be printed (got {got:g} mm)")
    return square_m


Squares = Annotated[int, Field(ge=_LEAST_SQUARES, le=_MOST_SQUARES)]


class BoardFile(FileModel):
    """A board file; with ``marker_m`` and ``family`` it is a ChArUco board."""

    name: Name
    squares_across: Squares
    squares_down: Squares
    square_m: Positive
    marker_m: Positive | None = None
    family: Name | None = None

    def markers(self) -> Markers | None:
        """The markers of a ChArUco board."""
        if self.marker_m is None and self.family is None:
            return None
        if self.marker_m is None or self.family is None:
            raise InputError("a board with markers needs both marker_m and family")
        return Markers(edge_m=self.marker_m, family=self.family)


def load_board(path: Path | str) -> Board:
    """The board a file describes.

    Raises
    ------
    FileError
        With one line for each fault.
    """
    path = Path(path)
    file = load_toml(path, BoardFile)
    with in_file(path, key=("square_m",)):
        _printable_square_m(file.square_m)
    with in_file(path, key=("family",)):
        markers = file.markers()
    with in_file(path, key=("marker_m",)):
        return Board(
            name=file.name,
            squares_across=file.squares_across,
            squares_down=file.squares_down,
            square_m=file.square_m,
            markers=markers,
        )
