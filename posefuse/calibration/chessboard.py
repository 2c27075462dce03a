"""Finding a plain chessboard, and making sure that it is one."""

import numpy as np

from posefuse.calibration.images import GreyImage
from posefuse.checks import FloatArray

__all__ = ["find_chessboard"]

_ENDS_PERCENT = (1.0, 99.0)
"""Grey levels that are stretched to black and white."""

_QUADRANT_SHARE = 0.3
"""How far from a corner, in squares, the grey of the four squares around it is read."""

_LEAST_CONTRAST_SHARE = 0.25


def find_chessboard(image: GreyImage, *, across: int, down: int) -> FloatArray | None:
    """The corners between the squares, (down * across, 2), row by row; ``None`` if not seen.

    A. Duda and U. Frese, "Accurate detection and localization of checkerboard corners for
    calibration", BMVC 2018, as OpenCV has it. That draws random numbers, and now and then hands
    back a grid that lies beside the board: it is given the same numbers each time, and a result is
    accepted only where black and white change places around every corner.
    """
    import cv2

    stretched = _stretched(image)
    for flags in (0, cv2.CALIB_CB_NORMALIZE_IMAGE):
        cv2.setRNGSeed(0)
        is_found, corners = cv2.findChessboardCornersSB(
            stretched, (across, down), flags=cv2.CALIB_CB_EXHAUSTIVE | flags
        )
        if is_found:
            grid = np.asarray(corners, dtype=np.float64).reshape(down, across, 2)
            if _alternates(image, grid):
                return grid.reshape(-1, 2)
    return None


def _stretched(image: GreyImage) -> GreyImage:
    """The picture with its whole contrast in use."""
    low, high = np.percentile(image, _ENDS_PERCENT)
    grey = (image - low) * (255.0 / max(high - low, 1.0))
    stretched: GreyImage = np.clip(np.rint(grey), 0, 255).astype(np.uint8)
    return stretched


def _alternates(image: GreyImage, grid_px: FloatArray) -> bool:
    """Whether each corner lies between two dark and two bright squares, in the order of a board."""
    import cv2

    soft = np.asarray(cv2.blur(image, (3, 3)), dtype=np.float64)
    downward, onward = np.gradient(grid_px, axis=(0, 1))

    def grey(row: int, column: int) -> FloatArray:
        place = np.rint(grid_px + _QUADRANT_SHARE * (row * downward + column * onward))
        x, y = (
            np.clip(place, 0, np.array(image.shape[::-1]) - 1).astype(np.int64).transpose(2, 0, 1)
        )
        read: FloatArray = soft[y, x]
        return read

    falling, rising = [grey(1, 1), grey(-1, -1)], [grey(1, -1), grey(-1, 1)]
    order = (-1.0) ** np.indices(grid_px.shape[:2]).sum(axis=0)
    if float((order * (falling[0] - rising[0])).sum()) < 0.0:
        order = -order
    # the least step from a dark square to a bright one around each corner
    steps = [order * (one - other) for one in falling for other in rising]
    least = np.min(steps, axis=0)
    return bool((least > _LEAST_CONTRAST_SHARE * np.median(steps)).all())
