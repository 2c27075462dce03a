"""Whether pictures of a board differ enough to measure a lens, and what to add if not."""

from collections.abc import Iterator, Sequence

import numpy as np

from posefuse.calibration.board import Board
from posefuse.calibration.fitting import Fit, rough_fit
from posefuse.calibration.views import BoardView
from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.errors import DegenerateView
from posefuse.geometry.space import SpacePose

__all__ = [
    "EDGE_SHARE",
    "LEAST_TILT_RAD",
    "LEAST_VIEWS",
    "cell_counts",
    "not_this_board",
    "shortcomings",
    "tilts_rad",
]

LEAST_VIEWS = 10
"""Views that differ: Z. Zhang, 2000, section 5.1, finds the error falling with each plane added,
most of all up to ten."""

LEAST_TILT_RAD = np.radians(20.0)
"""A board parallel to the image says nothing about the focal length, and the error is least near 45
degrees: Z. Zhang, 2000, sections 3.3 and 5.1."""

_TILTED_VIEWS = 2
_CELL_CORNERS = 4
EDGE_SHARE = 0.15
"""Corners must come this near to each edge of the image, as a share of its width or height."""

_SAME_SHARE = 0.02
"""Views whose corners lie nearer than this share of the image's width are one view."""

_ROUGH_VIEWS = 3
_ROUGH_RMS_SHARE = 0.01
"""Errors of a rough fit above this share of the image's diagonal come from a wrong board."""

_FOCAL_SHARES = (0.2, 20.0)
"""Focal lengths, in widths of the image, outside of which a rough fit has found nothing."""

_COLUMNS = ("left", "middle", "right")
_ROWS = ("upper", "middle", "lower")


def tilts_rad(camera_from_board: SpacePose) -> FloatArray:
    """How far the board is tilted out of the image's plane, (..., 2).

    First about the image's vertical axis, above 0 when the board's right side (as the camera sees
    it) is nearer than its left; then about the horizontal axis, above 0 when its lower side is
    nearer.
    """
    normal = camera_from_board.rotation[..., :, 2]
    tilts: FloatArray = np.arctan2(normal[..., :2], normal[..., 2:])
    return tilts


def cell_counts(views: Sequence[BoardView], *, size_px: tuple[int, int]) -> IntArray:
    """Corners in each ninth of the image, (3, 3): upper row first, left first."""
    corners = np.concatenate([view.corners_px for view in views])
    width, height = size_px
    edges = [np.linspace(-0.5, extent - 0.5, 4) for extent in (height, width)]
    counts, _, _ = np.histogram2d(corners[:, 1], corners[:, 0], edges)
    return np.asarray(counts, dtype=np.int64)


def shortcomings(
    views: Sequence[BoardView], board: Board, *, size_px: tuple[int, int]
) -> list[str]:
    """What is missing, each as one line of advice; empty when the views suffice."""
    distinct = _distinct(views, size_px[0])
    fit = _rough_fit(distinct, board, size_px)
    if fit is not None and fit.rms_px > _ROUGH_RMS_SHARE * float(np.hypot(*size_px)):
        return [not_this_board(fit.rms_px)]
    lines = list(_too_few(views, distinct))
    if views:
        lines += _tilts_missing(fit, size_px)
        lines += _places_missing(views, size_px)
    return lines


def not_this_board(rms_px: float) -> str:
    """The message when no lens brings the corners found near those of the board."""
    return (
        f"the corners do not lie as on this board, {rms_px:.1f} px rms are left: is the board file "
        "the right one, and the board flat?"
    )


def _rough_fit(views: Sequence[BoardView], board: Board, size_px: tuple[int, int]) -> Fit | None:
    """``None`` when the views are too few even for that."""
    if len(views) < _ROUGH_VIEWS:
        return None
    try:
        return rough_fit(views, board, size_px=size_px)
    except DegenerateView:
        return None


def _distinct(views: Sequence[BoardView], width_px: int) -> list[BoardView]:
    """The views without those that repeat an earlier one."""
    kept: list[BoardView] = []
    for view in views:
        if all(_apart_px(view, other) > _SAME_SHARE * width_px for other in kept):
            kept.append(view)
    return kept


def _apart_px(one: BoardView, other: BoardView) -> float:
    """The largest distance between a corner in one and in the other; inf if they share none."""
    _, left, right = np.intersect1d(one.corner_ids, other.corner_ids, return_indices=True)
    moved = np.linalg.norm(one.corners_px[left] - other.corners_px[right], axis=1)
    return float(moved.max()) if len(moved) else np.inf


def _too_few(views: Sequence[BoardView], distinct: Sequence[BoardView]) -> Iterator[str]:
    if len(distinct) >= LEAST_VIEWS:
        return
    repeats = len(views) - len(distinct)
    note = f" ({repeats} more repeat one of them)" if repeats else ""
    yield (
        f"take more pictures: {LEAST_VIEWS} different views of the board are needed, there "
        f"{'is' if len(distinct) == 1 else 'are'} {len(distinct)}{note}"
    )


def _tilts_missing(fit: Fit | None, size_px: tuple[int, int]) -> Iterator[str]:
    degrees = np.zeros((0, 2))
    low, high = (share * size_px[0] for share in _FOCAL_SHARES)
    if fit is not None and low < fit.lens.focal_px[0] < high:
        degrees = np.degrees(np.abs(tilts_rad(fit.camera_from_board)))
    least = np.degrees(LEAST_TILT_RAD)
    for axis, tilted, sides in (
        ("vertical", degrees[:, 0], "left or right"),
        ("horizontal", degrees[:, 1], "upper or lower"),
    ):
        count = int((tilted > least).sum())
        if count < _TILTED_VIEWS:
            found = "no view is" if count == 0 else f"only {count} view is"
            yield (
                f"tilt the board: {found} tilted more than {least:.0f} degrees about the {axis} "
                f"axis, {_TILTED_VIEWS} are needed: bring its {sides} side nearer to the camera"
            )


def _places_missing(views: Sequence[BoardView], size_px: tuple[int, int]) -> Iterator[str]:
    is_empty = cell_counts(views, size_px=size_px) < _CELL_CORNERS
    for place in _empty_places(is_empty):
        yield f"show the board in the {place} of the image: too few of its corners were there"
    columns, rows = np.all(is_empty, axis=0), np.all(is_empty, axis=1)
    yield from _far_edges(views, size_px, is_reported=(columns[0], rows[0], columns[2], rows[2]))


def _far_edges(
    views: Sequence[BoardView], size_px: tuple[int, int], *, is_reported: Sequence[bool]
) -> Iterator[str]:
    """The edges of the image (left, upper, right, lower) that no corner came near."""
    corners = np.concatenate([view.corners_px for view in views])
    after = np.array(size_px) - 1 - corners.max(axis=0)
    for side, nearest, extent, is_known in zip(
        ("left", "upper", "right", "lower"),
        (*corners.min(axis=0), *after),
        (*size_px, *size_px),
        is_reported,
        strict=True,
    ):
        if nearest > EDGE_SHARE * extent and not is_known:
            yield (
                f"bring the board nearer to the {side} edge of the image: no corner came within "
                f"{EDGE_SHARE * extent:.0f} px of it (nearest: {nearest:.0f} px)"
            )


def _empty_places(is_empty: BoolArray) -> Iterator[str]:
    """Whole thirds first, then the ninths that are left."""
    rest = is_empty.copy()
    for index, name in enumerate(_COLUMNS):
        if is_empty[:, index].all():
            rest[:, index] = False
            yield f"{name} third"
    for index, name in enumerate(_ROWS):
        if is_empty[index].all():
            rest[index] = False
            yield f"{name} third"
    for row, column in np.argwhere(rest):
        names = dict.fromkeys((_ROWS[row], _COLUMNS[column]))
        yield f"{' '.join(names)} ninth"
