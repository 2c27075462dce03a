"""How large an estimate's errors may be so that the shot still goes in, and how large they are."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, SymmetricalLogLocator

from posefuse.aim.tolerance import ToleranceBand
from posefuse.checks import FloatArray
from posefuse.plots.style import GREY, INK, floor_unit, in_unit
from posefuse.study.shot_room import SpreadAtPlaces
from posefuse.units import metres_to

__all__ = ["PlanSpread", "draw_bearing_tolerance", "draw_distance_tolerance"]

_BAND_COLOUR = "#d7e9df"
_EDGE_COLOUR = "#86bfa3"
_MOST_SHOWN_M = 4.0
_MOST_SHOWN_DEG = 45.0
_DODGE = 0.011  # of the axis, between the marks of two plans


class PlanSpread(NamedTuple):
    """The errors of one plan at the places it shoots from, with its name and colour."""

    plan: str
    colour: str
    errors: SpreadAtPlaces


def draw_distance_tolerance(
    ax: Axes,
    band: ToleranceBand,
    *,
    enough_m: FloatArray,
    spreads: Sequence[PlanSpread] = (),
    length_unit: str = "cm",
) -> Axes:
    """The band of distance errors that still score over the distance; the plans' errors on it.

    Parameters
    ----------
    enough_m : (n,) array
        The error (std) below which better vision adds less than one hit in 100.
    """
    x = metres_to(floor_unit(length_unit), 1.0) * band.distances_m
    scale = metres_to(length_unit, 1.0)
    _draw_band(ax, x, -scale * band.short_m, scale * band.long_m, "still scores, without spread")
    shown = np.where(enough_m > 0.0, scale * enough_m, np.nan)
    for sign in (1.0, -1.0):
        ax.plot(
            x,
            sign * shown,
            color=INK,
            linestyle="--",
            linewidth=1.3,
            label="1 sigma that costs 1 hit in 100" if sign > 0.0 else None,
        )
    _draw_spreads(ax, spreads, scale=scale, length_unit=length_unit)
    least = metres_to(length_unit, 0.01)
    _finish(ax, least=least, most=metres_to(length_unit, _MOST_SHOWN_M), length_unit=length_unit)
    ax.set_ylabel(in_unit("distance error", length_unit))
    return ax


def draw_bearing_tolerance(
    ax: Axes,
    band: ToleranceBand,
    *,
    spreads: Sequence[PlanSpread] = (),
    length_unit: str = "cm",
) -> Axes:
    """The same for the direction to the goal, in degrees; positive is too far to the left."""
    x = metres_to(floor_unit(length_unit), 1.0) * band.distances_m
    left, right = np.degrees(band.left_rad), np.degrees(band.right_rad)
    _draw_band(ax, x, -right, left, "still scores, without spread")
    _draw_spreads(ax, spreads, scale=float(np.degrees(1.0)), length_unit=length_unit)
    _finish(ax, least=1.0, most=_MOST_SHOWN_DEG, length_unit=length_unit)
    ax.set_ylabel("bearing error (°)")
    return ax


def _draw_band(ax: Axes, x: FloatArray, low: FloatArray, high: FloatArray, label: str) -> None:
    ax.fill_between(x, low, high, color=_BAND_COLOUR, linewidth=0.0, label=label)
    for edge in (low, high):
        ax.plot(x, edge, color=_EDGE_COLOUR, linewidth=1.0)
    ax.axhline(0.0, color=INK, linewidth=0.6)


def _draw_spreads(
    ax: Axes, spreads: Sequence[PlanSpread], *, scale: float, length_unit: str
) -> None:
    """An upright bar for each plan and place, side by side in the order of the plans."""
    every = [errors.distances_m for _, _, errors in spreads if len(errors.distances_m)]
    if not every:
        return
    floor_scale = metres_to(floor_unit(length_unit), 1.0)
    step = _DODGE * floor_scale * float(np.concatenate(every).max())
    for place, (plan, colour, errors) in enumerate(spreads):
        x = floor_scale * errors.distances_m + step * (place - (len(spreads) - 1) / 2.0)
        ax.vlines(x, scale * errors.lows, scale * errors.highs, color=colour, linewidth=2.0)
        ax.plot(
            x,
            scale * errors.means,
            color=colour,
            marker="o",
            markersize=2.6,
            linestyle="none",
            label=plan,
        )


def _signed(value: float, _place: int | None) -> str:
    """A figure with its sign; a real minus, as everywhere in pictures."""
    return f"{value:+g}".replace("-", "\N{MINUS SIGN}") if value else "0"


def _finish(ax: Axes, *, least: float, most: float, length_unit: str) -> None:
    """A scale that is linear around zero and logarithmic beyond, cut off at the most asked for."""
    low, high = ax.get_ylim()
    ax.set_yscale("symlog", linthresh=least, linscale=0.8)
    ax.set_ylim(max(1.4 * low, -most), min(1.4 * high, most))
    ax.yaxis.set_major_locator(SymmetricalLogLocator(base=10.0, linthresh=least, subs=(1.0, 3.0)))
    ax.yaxis.set_major_formatter(FuncFormatter(_signed))
    ax.yaxis.set_minor_formatter("")
    ax.axhspan(-least, least, color=GREY, alpha=0.10, linewidth=0.0, zorder=0)
    ax.set_xlabel(in_unit("distance to the goal", floor_unit(length_unit)))
    ax.grid(visible=True)
