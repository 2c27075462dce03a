"""Whether the filter's own covariance can be believed: NEES of the rivals, NIS of one run."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator
from scipy.special import chdtr, gammaln

from posefuse.checks import FloatArray
from posefuse.plots.style import GREY, INK, plan_colour
from posefuse.statistics.intervals import Interval

__all__ = ["draw_nees", "draw_nis"]


def draw_nees(
    ax: Axes,
    *,
    plans: Sequence[str],
    nees: Sequence[FloatArray],
    means: Sequence[Interval],
    region: tuple[float, float],
    colours: Sequence[int],
    dof: int = 3,
) -> Axes:
    """One dot a shot: its NEES, averaged over the trials, against that of a consistent filter.

    Parameters
    ----------
    nees
        For each plan (shots,): averages over independent trials.
    means
        For each plan: over all its shots, with the interval.
    region
        Where 95 % of the averages of a consistent filter at one shot lie.
    """
    ax.axvspan(
        *region, color=GREY, alpha=0.3, linewidth=0.0, label="95 % of a consistent filter's dots"
    )
    ax.axvline(dof, color=INK, linewidth=1.0)
    for line, (values, mean, index) in enumerate(zip(nees, means, colours, strict=True)):
        known = values[np.isfinite(values)]
        # dots side by side in the order of the shots, so that they do not hide each other
        offset = np.linspace(-0.25, 0.25, max(len(known), 2))[: len(known)]
        ax.plot(
            known,
            line + offset,
            linestyle="none",
            marker="o",
            markersize=3.2,
            color=plan_colour(index),
            alpha=0.75,
        )
        ax.plot([mean.low, mean.high], [line, line], color=INK, linewidth=1.6)
        ax.plot(
            mean.value,
            line,
            marker="|",
            markersize=13,
            markeredgewidth=2.2,
            color=INK,
            linestyle="none",
            label="mean over the shots, 95 % interval" if line == 0 else None,
        )
    ax.set_xscale("log")
    ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 3.0, 5.0)))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    ax.xaxis.set_minor_formatter("")
    ax.set_yticks(range(len(plans)), list(plans))
    ax.set_ylim(len(plans) - 0.4, -0.6)
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel(
        f"NEES (no unit): {dof} when consistent; right of it overconfident, left underconfident"
    )
    ax.grid(visible=True, axis="x")
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2)
    return ax


def draw_nis(ax: Axes, *, nis: FloatArray, dof: int, colour: int = 0) -> Axes:
    """How often each NIS came, against the chi-square density that a consistent filter follows.

    What lies beyond the axis is counted into its last bar.
    """
    end = 4.0 * dof + 8.0
    bars = 40
    edges = np.linspace(0.0, end, bars + 1)
    counts, _ = np.histogram(np.minimum(nis, end), edges)
    width = end / bars
    ax.bar(
        edges[:-1],
        counts / max(len(nis), 1) / width,
        width=width,
        align="edge",
        color=plan_colour(colour),
        alpha=0.55,
        linewidth=0.0,
        label=f"{len(nis)} measurements of one run",
    )
    x = np.linspace(0.0, end, 300)[1:]
    ax.plot(x, _chi_square_density(x, dof), color=INK, linewidth=1.4, label="consistent filter")
    beyond = float(np.mean(nis >= end)) if len(nis) else 0.0
    ax.annotate(
        f"last bar, beyond {end:g}: {100 * beyond:.1f} %\n"
        f"consistent filter: {100 * (1 - chdtr(dof, end)):.2g} %",
        (0.98, 0.62),
        xycoords="axes fraction",
        ha="right",
        va="top",
        fontsize=8,
    )
    ax.set_xlim(0.0, end)
    ax.xaxis.set_major_locator(MaxNLocator(6, integer=True))
    ax.set_xlabel(f"NIS of a measurement with {dof} numbers (no unit)")
    ax.set_ylabel("share per unit of NIS")
    ax.legend(loc="upper right")
    return ax


def _chi_square_density(x: FloatArray, dof: int) -> FloatArray:
    """The chi-square density: Abramowitz and Stegun, 1964, 26.4.1."""
    half = dof / 2.0
    density: FloatArray = np.exp(
        (half - 1.0) * np.log(x) - x / 2.0 - half * np.log(2.0) - gammaln(half)
    )
    return density
