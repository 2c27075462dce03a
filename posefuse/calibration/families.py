"""The families of square markers that the installed OpenCV knows."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from posefuse.checks import BoolArray

if TYPE_CHECKING:
    import cv2

__all__ = ["MarkerFamily", "dictionary", "marker_cells", "marker_families"]

_PARTS = ("dict_", "apriltag_", "aruco_")
"""What OpenCV's names of families begin with and ours leave out."""


@dataclass(frozen=True, slots=True)
class MarkerFamily:
    """A family: OpenCV's number of it and how many markers it has."""

    number: int
    size: int


def marker_families() -> dict[str, MarkerFamily]:
    """The families by name, such as ``4x4_50`` or ``36h11``.

    >>> marker_families()["36h11"].size
    587
    """
    import cv2

    found: dict[str, MarkerFamily] = {}
    for long_name in dir(cv2.aruco):
        if not long_name.startswith("DICT_"):
            continue
        name = long_name.lower()
        for part in _PARTS:
            name = name.removeprefix(part)
        number = getattr(cv2.aruco, long_name)
        size = len(cv2.aruco.getPredefinedDictionary(number).bytesList)
        found[name] = MarkerFamily(number, size)
    return found


def dictionary(family: str) -> "cv2.aruco.Dictionary":
    """OpenCV's dictionary of a family."""
    import cv2

    return cv2.aruco.getPredefinedDictionary(marker_families()[family].number)


def marker_cells(family: str, marker_id: int) -> BoolArray:
    """Which cells of a marker are black, (n, n) from the top left, its border included."""
    codes = dictionary(family)
    edge = codes.markerSize + 2
    cells: BoolArray = codes.generateImageMarker(marker_id, edge) == 0
    return cells
