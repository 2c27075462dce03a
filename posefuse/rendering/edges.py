"""Corners of a tag from lines fitted to the grey levels along its four sides."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from posefuse.checks import FloatArray, IntArray
from posefuse.rendering.compiled.edges import refine_tag
from posefuse.rendering.tag_pictures import MARGIN_CELLS, tag_cells

__all__ = ["corners_from_edges", "data_rows"]


def corners_from_edges(
    image: NDArray[np.uint8], outline_px: FloatArray, *, family: str, id: int
) -> FloatArray | None:
    """Corners (4, 2) of a tag, where lines along its four sides cross; pixel centres at integers.

    ``None`` where no line can be fitted to a side: too few pixels in the image, too little
    contrast, an end that is not known to 0.25 px, or one that moves to the next edge of the tag.

    A side may be bent a little, by the lens or by a rolling shutter; its line then leads through
    its ends. The white margin must be one cell wide or wider. See ``compiled.edges``.

    Parameters
    ----------
    image : (h, w) array
        8-bit grey levels.
    outline_px : (4, 2) array
        The corners that the detector found, not refined, in the order of
        ``Tag.corners_in_tag_m``.
    """
    # one kind of array, so that the kernel is compiled once
    pixels = np.require(image, requirements=["C", "W"])
    outline = np.array(outline_px, dtype=np.float64, order="C")
    corners, is_fitted = np.empty((4, 2)), np.zeros(4, dtype=np.bool_)
    refine_tag(pixels, outline, data_rows(family, id), corners, is_fitted)
    return corners if is_fitted.all() else None


@lru_cache(maxsize=4096)
def data_rows(family: str, id: int) -> IntArray:
    """Cells (4, n) that lie one cell inside each side of a tag's black square: 1 is white.

    Side k leads from corner k to corner k + 1; both ends are cells of the border.

    Examples
    --------
    >>> data_rows("4x4_50", 0)
    array([[0, 1, 0, 1, 1, 0],
           [0, 1, 1, 1, 0, 0],
           [0, 0, 1, 0, 0, 0],
           [0, 0, 0, 0, 1, 0]])
    """
    cells = tag_cells(family, id)[MARGIN_CELLS:-MARGIN_CELLS, MARGIN_CELLS:-MARGIN_CELLS]
    rows = np.stack([cells[1], cells[:, -2], cells[-2, ::-1], cells[::-1, 1]])
    return np.ascontiguousarray(rows, dtype=np.int64)
