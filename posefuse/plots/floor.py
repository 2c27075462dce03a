"""Maps of the floor: the error to be expected, the tags seen, and how many shots go in."""

from collections.abc import Sequence

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colorbar import Colorbar
from matplotlib.colors import LogNorm, Normalize
from matplotlib.image import AxesImage
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter, LogLocator

from posefuse.arena.arena import Arena
from posefuse.checks import FloatArray
from posefuse.plots.court import draw_goals, draw_obstacles, frame_court
from posefuse.plots.style import DIFFERENCE_COLOURS, MAP_COLOURS, floor_unit, in_unit
from posefuse.study.floor_map import FloorMap
from posefuse.study.hit_map import LIKELY_SHARE, HitMap
from posefuse.units import metres_to

__all__ = [
    "add_error_bar",
    "add_hit_bar",
    "add_hit_difference_bar",
    "add_tags_bar",
    "draw_expected_error",
    "draw_hit_chance",
    "draw_hit_difference",
    "draw_tags_seen",
]

_NO_PLACE = "#dddddd"
_ON_MAP = "#232323"
"""Ink on a map: it stays dark where the page is dark."""


def draw_tags_seen(
    ax: Axes, floor_map: FloorMap, arena: Arena, *, most: float, length_unit: str = "m"
) -> AxesImage:
    """Tags the cameras find from each cell, coloured from 0 to ``most``: the drawn image."""
    return _draw(
        ax,
        floor_map,
        floor_map.tags_seen,
        arena,
        norm=Normalize(0.0, max(most, 1.0)),
        colours=MAP_COLOURS,
        length_unit=length_unit,
    )


def draw_expected_error(
    ax: Axes,
    floor_map: FloorMap,
    arena: Arena,
    *,
    span_m: tuple[float, float],
    length_unit: str = "cm",
) -> AxesImage:
    """Expected error of the distance to the goal from each cell: the drawn image; light is little.

    Parameters
    ----------
    span_m
        Least and greatest error of the colour scale, which is logarithmic.
    """
    low, high = (metres_to(length_unit, value) for value in span_m)
    return _draw(
        ax,
        floor_map,
        metres_to(length_unit, 1.0) * floor_map.distance_rms_m,
        arena,
        norm=LogNorm(low, max(high, 1.01 * low)),
        colours=f"{MAP_COLOURS}_r",
        length_unit=length_unit,
    )


def draw_hit_chance(
    ax: Axes, hit_map: HitMap, arena: Arena, *, length_unit: str = "m"
) -> AxesImage:
    """Hits in 100 shots from each cell: the drawn image. Light colours are good; a line: 90."""
    image = _draw(
        ax,
        hit_map.floor,
        100.0 * hit_map.shares,
        arena,
        norm=Normalize(0.0, 100.0),
        colours=MAP_COLOURS,
        length_unit=length_unit,
    )
    likely = np.nan_to_num(hit_map.shares) >= LIKELY_SHARE
    if likely.any() and not likely.all():
        scale = metres_to(floor_unit(length_unit), 1.0)
        x, y = (
            scale * (edges[:-1] + edges[1:]) / 2.0
            for edges in (hit_map.floor.x_edges_m, hit_map.floor.y_edges_m)
        )
        shares = np.ma.masked_invalid(hit_map.shares)
        ax.contour(x, y, shares, levels=[LIKELY_SHARE], colors=_ON_MAP, linewidths=0.9)
    return image


def draw_hit_difference(
    ax: Axes,
    floor_map: FloorMap,
    difference_per_100: FloatArray,
    arena: Arena,
    *,
    most: float,
    length_unit: str = "m",
) -> AxesImage:
    """Hits in 100 shots more (green) or fewer (brown) than another plan's: the drawn image.

    Parameters
    ----------
    difference_per_100 : (rows, columns) array
        nan where either robot cannot stand.
    most
        At which the colours end.
    """
    return _draw(
        ax,
        floor_map,
        difference_per_100,
        arena,
        norm=Normalize(-most, most),
        colours=DIFFERENCE_COLOURS,
        length_unit=length_unit,
    )


def add_hit_bar(axes: Sequence[Axes], image: AxesImage, *, spare: Axes | None = None) -> None:
    """The colour bar of maps of the hits; see ``_add_bar``."""
    _add_bar(axes, image, spare).set_label("expected hits in 100 shots")


def add_hit_difference_bar(
    axes: Sequence[Axes], image: AxesImage, *, spare: Axes | None = None
) -> None:
    """The colour bar of maps of differences in hits; see ``_add_bar``."""
    bar = _add_bar(axes, image, spare, extend="both")
    bar.set_label("hits in 100 more (+) or fewer (−)")
    bar.formatter = FuncFormatter(
        lambda value, _: f"{value:+g}".replace("-", "−") if value else "0"
    )
    bar.update_ticks()


def add_tags_bar(axes: Sequence[Axes], image: AxesImage, *, spare: Axes | None = None) -> None:
    """The colour bar of maps of tags seen; see ``_add_bar``."""
    _add_bar(axes, image, spare).set_label("tags found in one frame of each camera")


def add_error_bar(
    axes: Sequence[Axes],
    image: AxesImage,
    *,
    spare: Axes | None = None,
    length_unit: str = "cm",
) -> None:
    """The colour bar of maps of the expected error; see ``_add_bar``."""
    bar = _add_bar(axes, image, spare, extend="both")
    bar.set_label(in_unit("expected distance error, RMS", length_unit))
    bar.locator = LogLocator(subs=(1.0, 2.0, 5.0))
    bar.formatter = FuncFormatter(lambda value, _: f"{value:g}")
    bar.update_ticks()
    bar.minorticks_off()


def _add_bar(
    axes: Sequence[Axes], image: AxesImage, spare: Axes | None, *, extend: str = "neither"
) -> Colorbar:
    """The colour bar beside maps, or lying in a cell of their grid that is left over."""
    figure = axes[0].figure
    if spare is None:
        return figure.colorbar(image, ax=list(axes), pad=0.01, shrink=0.7, aspect=30, extend=extend)
    spare.set_axis_off()
    inside = spare.inset_axes((0.08, 0.5, 0.84, 0.11))
    return figure.colorbar(image, cax=inside, orientation="horizontal", extend=extend)


def _draw(
    ax: Axes,
    floor_map: FloorMap,
    values: FloatArray,
    arena: Arena,
    *,
    norm: Normalize,
    colours: str,
    length_unit: str,
) -> AxesImage:
    frame_court(ax, arena, length_unit=length_unit)
    scale = metres_to(floor_unit(length_unit), 1.0)
    x, y = floor_map.x_edges_m * scale, floor_map.y_edges_m * scale
    ax.add_patch(
        Rectangle((x[0], y[0]), x[-1] - x[0], y[-1] - y[0], facecolor=_NO_PLACE, linewidth=0.0)
    )
    image = ax.imshow(
        np.ma.masked_invalid(values),
        extent=(x[0], x[-1], y[0], y[-1]),
        origin="lower",
        interpolation="nearest",
        norm=norm,
        cmap=colormaps[colours].with_extremes(bad="none"),
        zorder=1.5,
    )
    draw_obstacles(ax, arena, length_unit=length_unit)
    draw_goals(ax, arena, length_unit=length_unit, has_names=False)
    return image
