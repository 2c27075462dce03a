"""What a lens was measured with: where in the image the board was seen, and how it was tilted."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle
from scipy.spatial import ConvexHull

from posefuse.calibration.variety import LEAST_TILT_RAD
from posefuse.checks import FloatArray
from posefuse.plots.style import GREY, INK, plan_colour

__all__ = ["draw_board_places", "draw_board_tilts"]

_IMAGE_COLOUR = "#f4f4f4"


def draw_board_places(
    ax: Axes, *, corners_px: Sequence[FloatArray], width_px: int, height_px: int
) -> Axes:
    """The corners found in each picture, the area they span, and the thirds of the image.

    Parameters
    ----------
    corners_px
        For each picture (n, 2): pixel centres at integers.
    """
    frame = Rectangle(
        (-0.5, -0.5), width_px, height_px, facecolor=_IMAGE_COLOUR, edgecolor=INK, linewidth=1.0
    )
    ax.add_patch(frame)
    for share in (1.0 / 3.0, 2.0 / 3.0):
        ax.plot([share * width_px] * 2, [0, height_px], color=GREY, linewidth=0.7, linestyle=":")
        ax.plot([0, width_px], [share * height_px] * 2, color=GREY, linewidth=0.7, linestyle=":")
    for corners in corners_px:
        outline = corners[ConvexHull(corners).vertices]
        ax.add_patch(
            Polygon(outline, facecolor=plan_colour(0), edgecolor=plan_colour(0), alpha=0.13)
        )
    every = np.concatenate(list(corners_px))
    ax.plot(*every.T, linestyle="none", marker=".", markersize=3.0, color=plan_colour(1))
    ax.set_xlim(-0.02 * width_px, 1.02 * width_px)
    ax.set_ylim(1.02 * height_px, -0.02 * height_px)
    ax.set_aspect("equal")
    ax.spines[:].set_visible(False)
    ax.set_title(f"Where the board was seen: {len(every)} corners")
    ax.set_xlabel("column (px)")
    ax.set_ylabel("row (px)")
    return ax


def draw_board_tilts(ax: Axes, tilts_deg: FloatArray) -> Axes:
    """The board's tilt in each picture, and the band in which a tilt about an axis adds little.

    Parameters
    ----------
    tilts_deg : (n, 2) array
        About the image's vertical axis, then about its horizontal one.
    """
    least = float(np.degrees(LEAST_TILT_RAD))
    extent = max(50.0, 1.1 * float(np.abs(tilts_deg).max()))
    ax.add_patch(
        Rectangle((-least, -least), 2 * least, 2 * least, facecolor="#e4e4e4", linewidth=0.0)
    )
    for edge in (-least, least):
        ax.axvline(edge, color=GREY, linewidth=0.7, linestyle=":")
        ax.axhline(edge, color=GREY, linewidth=0.7, linestyle=":")
    ax.plot(*tilts_deg.T, linestyle="none", marker="o", markersize=4.5, color=plan_colour(0))
    ax.set_xlim(-extent, extent)
    ax.set_ylim(extent, -extent)
    ax.set_aspect("equal")
    ax.set_title(f"How it was tilted; grey: by less than {least:.0f} deg")
    ax.set_xlabel("about the vertical axis (deg)\nabove 0: right side nearer")
    ax.set_ylabel("about the horizontal axis (deg)\nabove 0: lower side nearer")
    return ax
