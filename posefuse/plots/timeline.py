"""The error of one run over time, and under it when each camera saw how many tags."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap

from posefuse.checks import FloatArray, IntArray
from posefuse.plots.style import GREY, INK, in_unit
from posefuse.units import metres_to

__all__ = ["draw_distance_error", "draw_sightings", "tags_per_bin"]

_COLUMNS = 900
_MOST_TAGS = 4
# none is nearly white: paper itself turns dark where the page does, and the strip is a bitmap
_TAG_SHADES = ("#fdfdfd", "#bcd7ea", "#7fb2d6", "#3a82b5", "#0b4a77")


def draw_distance_error(
    ax: Axes,
    *,
    t_s: FloatArray,
    error_m: FloatArray,
    std_m: FloatArray,
    shots_t_s: FloatArray,
    shot_errors_m: FloatArray,
    length_unit: str = "cm",
) -> Axes:
    """Distance error (estimate minus truth) with the filter's own two sigma, and the shots.

    Parameters
    ----------
    error_m, shot_errors_m
        nan where the truth is not known.
    std_m : (n,) array
        The filter's standard deviation of the distance at each instant.
    """
    scale = metres_to(length_unit, 1.0)
    first, last = _bin_edges(len(t_s))
    band = 2.0 * scale * np.maximum.reduceat(std_m, first)
    middle = t_s[(first + last) // 2]
    ax.fill_between(
        middle,
        -band,
        band,
        color=GREY,
        alpha=0.3,
        linewidth=0.0,
        step="mid",
        label="±2 sigma as the filter states",
    )
    ax.axhline(0.0, color=INK, linewidth=0.6)
    if np.isfinite(error_m).any():
        rows = _extreme_rows(error_m, first, last)
        ax.plot(t_s[rows], scale * error_m[rows], color=INK, linewidth=0.8, label="error")
    ax.plot(
        shots_t_s,
        scale * shot_errors_m,
        linestyle="none",
        marker="o",
        markersize=4.5,
        color=INK,
        markeredgecolor="white",
        markeredgewidth=0.5,
        label="at a shot" if np.isfinite(shot_errors_m).any() else None,
        zorder=5,
    )
    ax.set_ylim(*_limits(scale * error_m, band, scale * shot_errors_m))
    ax.set_xlim(t_s[0], t_s[-1])
    ax.set_ylabel(in_unit("distance error", length_unit))
    ax.grid(visible=True)
    ax.legend(loc="upper right", ncols=3)
    return ax


def draw_sightings(
    ax: Axes,
    *,
    tags: FloatArray,
    sensor_names: Sequence[str],
    span_s: tuple[float, float],
    what: str = "tags",
) -> Axes:
    """One row a camera: how many tags a frame holds, darker for more.

    Parameters
    ----------
    tags : (sensors, bins) array
        From ``tags_per_bin``; nan where no frame arrived.
    what
        What the sensors see.
    """
    shades = ListedColormap(_TAG_SHADES).with_extremes(bad="#f3d9cf")
    norm = BoundaryNorm(np.arange(_MOST_TAGS + 2) - 0.5, shades.N)
    count = len(sensor_names)
    image = ax.imshow(
        np.ma.masked_invalid(np.minimum(np.round(tags), _MOST_TAGS)),
        cmap=shades,
        norm=norm,
        aspect="auto",
        interpolation="nearest",
        extent=(*span_s, count - 0.5, -0.5),
    )
    for edge in range(1, count):
        ax.axhline(edge - 0.5, color="white", linewidth=2.0)
    ax.set_yticks(range(count), list(sensor_names))
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel("time (s)")
    bar = ax.figure.colorbar(image, ax=ax, ticks=range(_MOST_TAGS + 1), pad=0.01, fraction=0.03)
    bar.ax.set_yticklabels([str(n) for n in range(_MOST_TAGS)] + [f"{_MOST_TAGS}+"])
    bar.set_label(what)
    bar.minorticks_off()
    return ax


def tags_per_bin(
    *,
    captured_at_s: FloatArray,
    sensor: IntArray,
    tag_counts: IntArray,
    sensor_count: int,
    span_s: tuple[float, float],
    bins: int = 450,
) -> FloatArray:
    """Mean number of tags in the frames of each sensor and stretch of time, (sensors, bins).

    nan where no frame of that sensor falls into the stretch.
    """
    start, end = span_s
    column = np.floor((captured_at_s - start) / (end - start) * bins).astype(np.int64)
    inside = (column >= 0) & (column <= bins)
    cell = sensor[inside] * bins + np.minimum(column[inside], bins - 1)
    frames = np.bincount(cell, minlength=sensor_count * bins)
    tags = np.bincount(cell, weights=tag_counts[inside], minlength=sensor_count * bins)
    mean = np.where(frames > 0, tags / np.maximum(frames, 1), np.nan)
    return mean.reshape(sensor_count, bins)


def _bin_edges(count: int) -> tuple[IntArray, IntArray]:
    """First and last row of each of at most ``_COLUMNS`` stretches of rows."""
    first = np.unique(np.linspace(0, count, min(count, _COLUMNS), endpoint=False).astype(np.int64))
    return first, np.append(first[1:], count) - 1


def _extreme_rows(values: FloatArray, first: IntArray, last: IntArray) -> IntArray:
    """The rows of the least and the greatest value of each stretch, in order: no peak is lost.

    A stretch with an unknown value also gives the row of one, which breaks the line.
    """
    is_known = np.isfinite(values)
    low, high = np.where(is_known, values, np.inf), np.where(is_known, values, -np.inf)
    rows = []
    for start, stop in zip(first, last + 1, strict=True):
        rows += [start + int(np.argmin(low[start:stop])), start + int(np.argmax(high[start:stop]))]
        if not is_known[start:stop].all():
            rows.append(start + int(np.argmin(is_known[start:stop])))
    return np.unique(np.array(rows))


def _limits(error: FloatArray, band: FloatArray, shots: FloatArray) -> tuple[float, float]:
    """Limits that show every shot and every peak but those that would dwarf all else."""
    known = np.abs(error[np.isfinite(error)])
    reach = max(
        min(float(known.max()), 3.0 * float(np.quantile(known, 0.99))) if known.size else 0.0,
        float(np.quantile(band, 0.97)),
        float(np.abs(shots[np.isfinite(shots)]).max(initial=0.0)),
        1e-6,
    )
    return -1.15 * reach, 1.35 * reach
