"""The black and white cells of tags, from the dictionaries that OpenCV carries.

A tag hangs upright when its picture stands as OpenCV draws it: then the corners that OpenCV's
detector returns start at the top left for the viewer, as ``Tag.corners_in_tag_m`` does. The
pictures that come with the 16h5, 25h9, 36h10 and 36h11 families' own detector show the same tags
turned by 180 degrees: one printed from them hangs upright, in this sense, upside down.
"""

import difflib
from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

from posefuse.checks import BoolArray
from posefuse.errors import InputError

__all__ = [
    "MARGIN_CELLS",
    "load_opencv",
    "opencv_dictionary",
    "opencv_families",
    "tag_cells",
    "tag_picture",
]

MARGIN_CELLS = 1
"""White cells around the black square."""

_NAMES = {
    "16h5": "APRILTAG_16h5",
    "25h9": "APRILTAG_25h9",
    "36h10": "APRILTAG_36h10",
    "36h11": "APRILTAG_36h11",
    "mip_36h12": "ARUCO_MIP_36h12",
    "original": "ARUCO_ORIGINAL",
    **{f"{n}x{n}_{size}": f"{n}X{n}_{size}" for n in (4, 5, 6, 7) for size in (50, 100, 250, 1000)},
}


def load_opencv() -> None:
    """Loads OpenCV: a library of the system that it lacks is reported now and not later."""
    import cv2  # noqa: F401


def opencv_families() -> list[str]:
    """The families that the installed OpenCV carries, such as ``4x4_50`` or ``36h11``."""
    from cv2 import aruco

    return [name for name, key in _NAMES.items() if hasattr(aruco, f"DICT_{key}")]


@cache
def opencv_dictionary(family: str):  # type: ignore[no-untyped-def]  # noqa: ANN201  (cv2 is untyped)
    """OpenCV's dictionary of a family.

    Raises
    ------
    InputError
        The installed OpenCV does not carry it.
    """
    from cv2 import aruco

    there = opencv_families()
    if family not in there:
        near = difflib.get_close_matches(family, there, n=1)
        advice = f"did you mean {near[0]!r}?" if near else f"it has: {', '.join(sorted(there))}"
        raise InputError(f"OpenCV carries no tag family {family!r}; {advice}")
    number = getattr(aruco, f"DICT_{_NAMES[family]}")
    return aruco.getPredefinedDictionary(number)


def tag_cells(family: str, id: int) -> BoolArray:
    """White cells (n, n) of a tag, rows from the top: its code, black border and white margin.

    Raises
    ------
    InputError
        A family that OpenCV lacks, or an id beyond the family.
    """
    dictionary = opencv_dictionary(family)
    side = dictionary.markerSize + 2
    picture = _drawn(family, id, side)
    return np.pad(picture > 127, MARGIN_CELLS, constant_values=True)


def tag_picture(family: str, id: int, side_px: int) -> NDArray[np.uint8]:
    """The black square of a tag as an image, side_px wide, without its white margin.

    Raises
    ------
    InputError
        As ``tag_cells``; or the image is too small to show every cell.
    """
    side = opencv_dictionary(family).markerSize + 2
    if side_px < side:
        raise InputError(
            f"side_px: a tag of the family {family} is {side} cells wide and needs as many pixels "
            f"or more (got {side_px})"
        )
    return _drawn(family, id, side_px)


def cell_stack(families_and_ids: Sequence[tuple[str, int]]) -> tuple[BoolArray, list[int]]:
    """Cells of several tags in one array (tags, most, most), and how many across each has."""
    cells = [tag_cells(family, id) for family, id in families_and_ids]
    counts = [len(one) for one in cells]
    stack = np.zeros((len(cells), max(counts, default=0), max(counts, default=0)), dtype=np.bool_)
    for place, one in enumerate(cells):
        stack[place, : len(one), : len(one)] = one
    stack.setflags(write=False)
    return stack, counts


def _drawn(family: str, id: int, side_px: int) -> NDArray[np.uint8]:
    from cv2 import aruco

    dictionary = opencv_dictionary(family)
    size = len(dictionary.bytesList)
    if not 0 <= id < size:
        raise InputError(f"tag id: the family {family} has the ids 0 to {size - 1} (got {id})")
    return np.asarray(aruco.generateImageMarker(dictionary, id, side_px), dtype=np.uint8)
