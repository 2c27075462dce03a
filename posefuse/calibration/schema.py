"""Schema of board files."""

from typing import Annotated

from pydantic import Field

from posefuse.calibration.board import LEAST_SQUARES, MOST_SQUARES, Markers
from posefuse.errors import InputError
from posefuse.files.toml_file import FileModel
from posefuse.files.types import Name, Positive

__all__ = ["BoardFile"]

Squares = Annotated[int, Field(ge=LEAST_SQUARES, le=MOST_SQUARES)]


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
