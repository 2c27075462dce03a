"""Where a board's corners are in pictures of it."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from posefuse.calibration.board import Board
from posefuse.calibration.finding import find_corners
from posefuse.calibration.images import GreyImage, read_grey
from posefuse.checks import FloatArray, IntArray, frozen_array, frozen_ints
from posefuse.errors import DegenerateView, FileError

__all__ = ["BoardSurvey", "BoardView", "find_board", "survey_images"]

_MOST_LISTED = 12

Progress = Callable[[int, int], None]
"""Called with how many pictures are done, and of how many."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoardView:
    """The corners of a board found in one picture.

    Parameters
    ----------
    corner_ids : (n,) array
        Their indices in ``Board.corners_in_board_m``.
    corners_px : (n, 2) array
        Pixel centres at integers.
    """

    name: str
    corner_ids: IntArray
    corners_px: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "corner_ids", frozen_ints("corner_ids", self.corner_ids, (None,)))
        corners = frozen_array("corners_px", self.corners_px, (len(self.corner_ids), 2))
        object.__setattr__(self, "corners_px", corners)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardSurvey:
    """What pictures of one camera show of a board.

    Parameters
    ----------
    absent
        Pictures without the board, by name, and why it was not found there.
    """

    width_px: int
    height_px: int
    views: tuple[BoardView, ...]
    absent: tuple[tuple[str, str], ...]

    @property
    def reasons(self) -> list[str]:
        """One line for each reason why the board was not found, and the pictures it holds for."""
        names: dict[str, list[str]] = {}
        for name, reason in self.absent:
            names.setdefault(reason, []).append(name)
        return [f"{reason}: {_listed(pictures)}" for reason, pictures in names.items()]


def survey_images(
    paths: Sequence[Path], board: Board, *, on_progress: Progress | None = None
) -> BoardSurvey:
    """The board's corners in each picture.

    Raises
    ------
    FileError
        With one line for each picture that cannot be read or is not as large as the others.
    """
    sizes: dict[Path, tuple[int, int]] = {}
    views: list[BoardView] = []
    absent: list[tuple[str, str]] = []
    faults: list[FileError] = []
    for done, path in enumerate(paths, start=1):
        try:
            image = read_grey(path)
            sizes[path] = (image.shape[1], image.shape[0])
            if not faults:
                views.append(find_board(image, board, name=path.name))
        except FileError as fault:
            faults.append(fault)
        except DegenerateView as reason:
            absent.append((path.name, str(reason)))
        if on_progress:
            on_progress(done, len(paths))
    faults += _size_faults(sizes)
    if faults:
        raise FileError.joined(faults)
    width_px, height_px = next(iter(sizes.values()))
    return BoardSurvey(
        width_px=width_px, height_px=height_px, views=tuple(views), absent=tuple(absent)
    )


def _listed(names: Sequence[str]) -> str:
    more = len(names) - _MOST_LISTED
    return ", ".join(names[:_MOST_LISTED]) + (f" and {more} more" if more > 0 else "")


def _size_faults(sizes: dict[Path, tuple[int, int]]) -> list[FileError]:
    counts = Counter(sizes.values())
    usual = max(counts, key=lambda size: counts[size], default=None)
    return [
        FileError(
            path,
            f"all pictures must have one size, {usual[0]} x {usual[1]} px as most have "
            f"(got {size[0]} x {size[1]})",
        )
        for path, size in sizes.items()
        if usual is not None and size != usual
    ]


def find_board(image: GreyImage, board: Board, *, name: str) -> BoardView:
    """The corners of the board in a picture.

    Raises
    ------
    DegenerateView
        Too little of the board is seen; the message says what is.
    """
    ids, found = find_corners(image, board)
    return BoardView(name=name, corner_ids=ids, corners_px=found)
