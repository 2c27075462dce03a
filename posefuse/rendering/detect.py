"""Finds tags in images with OpenCV's detector."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posefuse.checks import FloatArray, IntArray, frozen_array, frozen_ints, in_range, positive
from posefuse.errors import InputError
from posefuse.rendering.edges import corners_from_edges
from posefuse.rendering.tag_pictures import opencv_dictionary
from posefuse.robot.camera import CornerRefinement

__all__ = ["Detections", "DetectorSettings", "detect_tags"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectorSettings:
    """Settings of OpenCV's detector; its other parameters keep OpenCV's values.

    Parameters
    ----------
    refinement
        How corners are refined.
    refinement_window_px, refinement_window_cells
        Half width of the window around a corner for ``SUBPIXEL``: the first, or that many cells of
        the tag where these are less. OpenCV's own 0.3 cells leave tags of 30 to 45 px a window of
        1 px, too narrow to move a corner to where it belongs; from 0.5 on the window reaches over
        the white margin of a tag that is seen from aside, to the dark post that it hangs on.
    least_edge_px, most_edge_share
        Outlines with a shorter edge, or one longer than that share of the image's longer side, are
        not looked at.
    thresholds_px, threshold_grey
        Widths of the windows of the adaptive thresholds, odd; what is darker than the mean around
        it by so many grey levels is black.
    correction_share
        Share of the errors that the family can correct which are corrected.
    """

    refinement: CornerRefinement = CornerRefinement.SUBPIXEL
    refinement_window_px: int = 5
    refinement_window_cells: float = 0.4
    least_edge_px: float = 10.0
    most_edge_share: float = 1.0
    thresholds_px: tuple[int, ...] = (3, 13, 23)
    threshold_grey: float = 7.0
    correction_share: float = 0.6

    def __post_init__(self) -> None:
        positive("least_edge_px", self.least_edge_px)
        positive("refinement_window_cells", self.refinement_window_cells)
        in_range("most_edge_share", self.most_edge_share, 0.01, 1.0)
        in_range("correction_share", self.correction_share, 0.0, 1.0)
        in_range("refinement_window_px", self.refinement_window_px, 1, 50)
        steps = set(np.diff(self.thresholds_px).tolist())
        if not self.thresholds_px or len(steps) > 1 or any(w % 2 == 0 for w in self.thresholds_px):
            raise InputError(
                f"thresholds_px: must be odd and evenly spaced (got {self.thresholds_px})"
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Detections:
    """What was found in an image, sorted by family and id.

    Parameters
    ----------
    families, ids
        Of each tag; each pair comes once: of two the larger is kept.
    corners_px : (n, 4, 2) array
        In the order of ``Tag.corners_in_tag_m``, pixel centres at integers.
    unfitted
        Family and id of tags that were found and are left out: no line could be fitted to one of
        their sides (``CornerRefinement.EDGES`` alone).
    """

    families: tuple[str, ...]
    ids: IntArray
    corners_px: FloatArray
    unfitted: tuple[tuple[str, int], ...] = ()

    def __post_init__(self) -> None:
        count = len(self.families)
        object.__setattr__(self, "ids", frozen_ints("ids", self.ids, (count,)))
        corners = frozen_array("corners_px", self.corners_px, (count, 4, 2))
        object.__setattr__(self, "corners_px", corners)


def detect_tags(
    image: NDArray[np.uint8],
    *,
    families: Sequence[str],
    settings: DetectorSettings | None = None,
    size_px: tuple[int, int] | None = None,
) -> Detections:
    """Tags of the families in an image of 8-bit grey levels.

    Parameters
    ----------
    size_px
        Width and height that the image must have; ``None``: any.

    Raises
    ------
    InputError
        The image is no array (h, w) of 8-bit grey levels or of another size, or OpenCV lacks a
        family.
    """
    grey = _checked(image, size_px)
    settings = settings or DetectorSettings()
    found: dict[tuple[str, int], FloatArray] = {}
    for family in dict.fromkeys(families):
        finder = _detector(family, settings, max(grey.shape))
        corners, ids, _ = finder.detectMarkers(grey)
        # OpenCV 4 gives ids (n, 1) or None, OpenCV 5 (n,)
        for id, square in zip(np.ravel([] if ids is None else ids), corners, strict=True):
            key, own = (family, int(id)), np.asarray(square, dtype=np.float64).reshape(4, 2)
            if key not in found or _area(own) > _area(found[key]):
                found[key] = own
    unfitted = _refine(found, grey) if settings.refinement is CornerRefinement.EDGES else ()
    keys = sorted(found)
    return Detections(
        families=tuple(family for family, _ in keys),
        ids=np.array([id for _, id in keys], dtype=np.int64),
        corners_px=np.array([found[key] for key in keys]).reshape(-1, 4, 2),
        unfitted=unfitted,
    )


def _refine(
    found: dict[tuple[str, int], FloatArray], grey: NDArray[np.uint8]
) -> tuple[tuple[str, int], ...]:
    """Puts corners where lines along the sides cross; takes out, and returns, tags without such."""
    unfitted = []
    for family, id in sorted(found):
        corners = corners_from_edges(grey, found[family, id], family=family, id=id)
        if corners is None:
            unfitted.append((family, id))
            del found[family, id]
        else:
            found[family, id] = corners
    return tuple(unfitted)


def _checked(image: NDArray[np.uint8], size_px: tuple[int, int] | None) -> NDArray[np.uint8]:
    if image.ndim != 2 or image.dtype != np.uint8:
        got = f"{image.dtype} {image.shape}"
        raise InputError(f"image: must be 8-bit grey levels, uint8 (height, width) (got {got})")
    if size_px is not None and image.shape != (size_px[1], size_px[0]):
        wanted = f"{size_px[0]} x {size_px[1]}"
        raise InputError(
            f"image: must be {wanted} px as the camera's (got {image.shape[1]} x {image.shape[0]})"
        )
    if image.size == 0:
        raise InputError("image: has no pixels")
    return np.ascontiguousarray(image)


@lru_cache(maxsize=64)
def _detector(family: str, settings: DetectorSettings, longest_px: int) -> Any:  # noqa: ANN401
    """OpenCV's detector with these settings for images of this size."""
    from cv2 import aruco

    method = {
        CornerRefinement.NONE: aruco.CORNER_REFINE_NONE,
        CornerRefinement.SUBPIXEL: aruco.CORNER_REFINE_SUBPIX,
        CornerRefinement.CONTOUR: aruco.CORNER_REFINE_CONTOUR,
        CornerRefinement.EDGES: aruco.CORNER_REFINE_NONE,  # lines are fitted afterwards
    }
    windows = settings.thresholds_px
    parameters = aruco.DetectorParameters()
    parameters.cornerRefinementMethod = method[settings.refinement]
    parameters.cornerRefinementWinSize = settings.refinement_window_px
    parameters.relativeCornerRefinmentWinSize = settings.refinement_window_cells
    parameters.cornerRefinementMaxIterations = 50
    parameters.cornerRefinementMinAccuracy = 0.01
    # OpenCV counts perimeters in the longer side of the image
    parameters.minMarkerPerimeterRate = 4.0 * settings.least_edge_px / longest_px
    parameters.maxMarkerPerimeterRate = 4.0 * settings.most_edge_share
    parameters.adaptiveThreshWinSizeMin, parameters.adaptiveThreshWinSizeMax = (
        windows[0],
        windows[-1],
    )
    parameters.adaptiveThreshWinSizeStep = windows[1] - windows[0] if len(windows) > 1 else 1
    parameters.adaptiveThreshConstant = settings.threshold_grey
    parameters.errorCorrectionRate = settings.correction_share
    return aruco.ArucoDetector(opencv_dictionary(family), parameters)


def _area(corners_px: FloatArray) -> float:
    (dx, dy), (ex, ey) = corners_px[2] - corners_px[0], corners_px[3] - corners_px[1]
    return float(abs(dx * ey - ex * dy)) / 2.0
