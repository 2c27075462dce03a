"""What a camera sees, with the tags that were found in it and those that were missed."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patheffects import Normal, withStroke
from numpy.typing import NDArray

from posefuse.checks import FloatArray, IntArray

__all__ = ["camera_legend_handles", "draw_camera_view"]

_FOUND_COLOUR = "#E69F00"
_MISSED_COLOUR = "#56B4E9"
_CASING = "#1a1a1a"
_LETTER_WIDTH = 0.68
"""Of a bold digit, as a share of the letters' size."""


def draw_camera_view(
    ax: Axes,
    image: NDArray[np.uint8],
    *,
    found_ids: IntArray,
    found_corners_px: FloatArray,
    missed_ids: IntArray,
    missed_corners_px: FloatArray,
    panel_width_in: float,
    step_px: int = 1,
    brightness: float = 1.0,
) -> Axes:
    """The image with each tag's outline and id; a dot marks corner 0 of those that were found.

    Parameters
    ----------
    found_corners_px, missed_corners_px : (n, 4, 2) arrays
        In the camera's pixels, whose centres are integers.
    panel_width_in
        How wide the image is shown: ids are placed by it so that they hide no tag.
    step_px
        How many of the camera's pixels each of the image's is wide.
    brightness
        Factor on the grey levels.
    """
    height, width = (step_px * length for length in image.shape)
    ax.imshow(
        image,
        cmap="gray",
        vmin=0.0,
        vmax=255.0 / brightness,
        extent=(-0.5, width - 0.5, height - 0.5, -0.5),
        interpolation="none",
    )
    ax.set_xticks([])
    ax.set_yticks([])
    if len(missed_ids):
        ax.add_collection(
            PolyCollection(
                list(missed_corners_px),
                facecolors="none",
                edgecolors=_MISSED_COLOUR,
                linestyles=(0, (2.5, 1.5)),
                linewidths=0.8,
                zorder=4,
                path_effects=[withStroke(linewidth=1.4, foreground=_CASING), Normal()],
            )
        )
    if len(found_ids):
        _draw_found(ax, found_corners_px)
    letters_in = 7.0 / 72.0
    _draw_ids(
        ax,
        ids=[*found_ids.tolist(), *missed_ids.tolist()],
        corners_px=np.concatenate([found_corners_px, missed_corners_px]),
        colours=[_FOUND_COLOUR] * len(found_ids) + [_MISSED_COLOUR] * len(missed_ids),
        letter_px=letters_in * width / panel_width_in,
        size_px=(width, height),
    )
    return ax


def _draw_found(ax: Axes, corners_px: FloatArray) -> None:
    ax.add_collection(
        PolyCollection(
            list(corners_px),
            facecolors="none",
            edgecolors=_FOUND_COLOUR,
            linewidths=1.2,
            zorder=5,
            path_effects=[withStroke(linewidth=2.0, foreground=_CASING), Normal()],
        )
    )
    ax.plot(
        *corners_px[:, 0].T,
        linestyle="none",
        marker="o",
        markersize=2.2,
        color="white",
        markeredgecolor=_CASING,
        markeredgewidth=0.4,
        zorder=6,
        scalex=False,
        scaley=False,
    )


def _draw_ids(
    ax: Axes,
    *,
    ids: Sequence[int],
    corners_px: FloatArray,
    colours: Sequence[str],
    letter_px: float,
    size_px: tuple[int, int],
) -> None:
    """Each id beside its tag, where it covers neither a tag nor another id if there is room."""
    boxes = [_box(corners) for corners in corners_px]
    taken = list(boxes)
    for id, box, colour in zip(ids, boxes, colours, strict=True):
        size = np.array([_LETTER_WIDTH * len(str(id)) + 0.4, 1.35]) * letter_px
        place = _free_place(box, size, taken, np.array(size_px))
        taken.append(np.concatenate([place - size / 2.0, place + size / 2.0]))
        ax.text(
            float(place[0]),
            float(place[1]),
            str(id),
            ha="center",
            va="center_baseline",
            fontsize=7.0,
            fontweight="bold",
            color=colour,
            zorder=7,
            path_effects=[withStroke(linewidth=2.2, foreground=_CASING)],
        )


def _box(corners_px: FloatArray) -> FloatArray:
    """Left, top, right, bottom of a tag."""
    return np.concatenate([corners_px.min(axis=0), corners_px.max(axis=0)])


def _free_place(
    box: FloatArray, size: FloatArray, taken: Sequence[FloatArray], within: FloatArray
) -> FloatArray:
    """The middle of a label above, below, right or left of a box: the first place that is free."""
    middle, half = (box[:2] + box[2:]) / 2.0, (box[2:] - box[:2]) / 2.0
    off = half + 0.5 * size + 0.15 * size[1]
    ways = np.array([[0.0, -1.0], [0.0, 1.0], [1.0, 0.0], [-1.0, 0.0]])
    inside = [np.clip(middle + way * off, size / 2.0, within - size / 2.0) for way in ways]
    hidden = [
        sum(_overlap_px(np.concatenate([place - size / 2.0, place + size / 2.0]), t) for t in taken)
        for place in inside
    ]
    return np.asarray(inside[int(np.argmin(hidden))])


def _overlap_px(one: FloatArray, other: FloatArray) -> float:
    """Area that two boxes share."""
    sides = np.minimum(one[2:], other[2:]) - np.maximum(one[:2], other[:2])
    return float(np.prod(np.maximum(sides, 0.0)))


def camera_legend_handles(*, has_missed: bool) -> list[Line2D]:
    """What the marks mean; missed tags only where there are some."""
    handles = [
        Line2D([], [], color=_FOUND_COLOUR, linewidth=1.6, label="tag found, with its id"),
        Line2D(
            [],
            [],
            linestyle="none",
            marker="o",
            markersize=4.0,
            color="white",
            markeredgecolor=_CASING,
            label="its corner 0",
        ),
    ]
    if has_missed:
        handles.append(
            Line2D(
                [],
                [],
                color=_MISSED_COLOUR,
                linestyle=(0, (3, 2)),
                linewidth=1.2,
                label="tag in view, not found (drawn where it truly is)",
            )
        )
    return handles
