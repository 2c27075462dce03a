"""How large each plan's errors are: one box a plan."""

from collections.abc import Sequence

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FuncFormatter, LogLocator

from posefuse.checks import FloatArray
from posefuse.plots.style import INK, in_unit, plan_colour
from posefuse.units import metres_to

__all__ = ["box_legend_handles", "draw_error_boxes", "error_span_m"]

_LOG_FROM = 8.0


def draw_error_boxes(
    ax: Axes,
    *,
    plans: Sequence[str],
    errors_m: Sequence[FloatArray],
    attainable_m: Sequence[float],
    colours: Sequence[int],
    span_m: tuple[float, float],
    length_unit: str = "cm",
) -> Axes:
    """A lying box for each plan over the sizes of its distance errors, the first plan on top.

    The box holds the middle half, its bar is the median, the whiskers end at the 5th and 95th
    percentile, the dot is the root mean square, the diamond what is attainable.

    Parameters
    ----------
    errors_m
        Errors at the shots, signs and order of no matter; an empty array leaves the line empty.
    attainable_m
        RMS that the best filter could reach; nan where it is not known.
    colours
        Number of each plan in the study.
    span_m
        Ends of the axis, see ``error_span_m``; logarithmic when it does not start at 0.
    """
    scale = metres_to(length_unit, 1.0)
    for line, (errors, least_m, index) in enumerate(
        zip(errors_m, attainable_m, colours, strict=True)
    ):
        sizes = scale * np.abs(errors[np.isfinite(errors)])
        if sizes.size:
            _draw_box(ax, sizes, line, plan_colour(index))
        if np.isfinite(least_m):
            ax.plot(
                scale * least_m,
                line,
                marker="D",
                markersize=4.5,
                color="white",
                markeredgecolor=INK,
                linestyle="none",
                zorder=6,
            )
    ax.set_yticks(range(len(plans)), list(plans))
    ax.set_ylim(len(plans) - 0.4, -0.6)
    ax.tick_params(axis="y", length=0)
    ax.set_xlim(scale * span_m[0], scale * span_m[1])
    if span_m[0] > 0.0:
        ax.set_xscale("log")
        ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        ax.xaxis.set_minor_formatter("")
    ax.set_xlabel(in_unit("size of the error", length_unit))
    ax.grid(visible=True, axis="x")
    return ax


def box_legend_handles(*, has_attainable: bool) -> list[Artist]:
    """What the marks of a box mean, for a legend."""
    grey = "#777777"
    marks: list[Artist] = [
        Patch(facecolor=f"{grey}55", edgecolor=grey, label="middle half"),
        Line2D([], [], color=INK, linewidth=1.6, label="median"),
        Line2D([], [], color=grey, marker="|", label="5th to 95th percentile"),
        Line2D([], [], color=INK, marker="o", markersize=4.5, linestyle="none", label="RMS"),
        Line2D(
            [],
            [],
            color="white",
            marker="D",
            markersize=4.5,
            markeredgecolor=INK,
            linestyle="none",
            label="attainable RMS",
        ),
    ]
    return marks if has_attainable else marks[:-1]


def error_span_m(errors_m: Sequence[FloatArray]) -> tuple[float, float]:
    """Ends of an axis that shows all boxes: from 0, or, where they differ much, from above it."""
    sizes = [np.abs(errors[np.isfinite(errors)]) for errors in errors_m]
    quantiles = np.array([np.quantile(each, [0.25, 0.5, 0.95]) for each in sizes if each.size])
    if not quantiles.any():
        return 0.0, 1.0
    first, middle, most = np.maximum(quantiles, 1e-9).T
    if middle.max() > _LOG_FROM * middle.min():
        return float(first.min() / 3.0), float(1.3 * most.max())
    return 0.0, float(1.05 * most.max())


def _draw_box(ax: Axes, sizes: FloatArray, line: int, colour: str) -> None:
    low, first, middle, third, high = np.quantile(sizes, [0.05, 0.25, 0.5, 0.75, 0.95])
    ax.bxp(
        [{"med": middle, "q1": first, "q3": third, "whislo": low, "whishi": high, "fliers": []}],
        positions=[line],
        widths=0.55,
        orientation="horizontal",
        showfliers=False,
        patch_artist=True,
        boxprops={"facecolor": f"{colour}55", "edgecolor": colour},
        medianprops={"color": INK, "linewidth": 1.6},
        whiskerprops={"color": colour},
        capprops={"color": colour},
        manage_ticks=False,
    )
    rms = float(np.sqrt(np.mean(sizes**2)))
    ax.plot(rms, line, marker="o", markersize=4.5, color=INK, linestyle="none", zorder=5)
