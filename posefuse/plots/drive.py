"""One drive on the court: the way driven, and the estimate at the shots with its ellipses."""

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.colors import to_rgba
from numpy.typing import ArrayLike

from posefuse.checks import FloatArray
from posefuse.plots.style import INK, floor_unit
from posefuse.units import metres_to

__all__ = ["draw_path", "draw_shots", "ellipse_outlines_m", "exaggeration_of"]

_FACTORS = (1, 2, 5, 10, 20, 50, 100, 200)
_TRUE_COLOUR = INK
_ESTIMATE_COLOUR = "#0072B2"


def draw_path(
    ax: Axes,
    xy_m: FloatArray,
    *,
    length_unit: str = "m",
    label: str = "true path",
    colour: str = "#9a9a9a",
    line_style: str = "-",
) -> Axes:
    """The way over the floor as a line through points (n, 2)."""
    points = xy_m * metres_to(floor_unit(length_unit), 1.0)
    ax.plot(*points.T, color=colour, linestyle=line_style, linewidth=1.0, label=label, zorder=3)
    return ax


def draw_shots(
    ax: Axes,
    *,
    true_xy_m: FloatArray,
    estimated_xy_m: FloatArray,
    covs_m2: FloatArray,
    exaggeration: float,
    length_unit: str = "m",
    label: str = "true place of a shot",
    is_true: bool = True,
) -> Axes:
    """Where the robot shot, where the filter took it to be, and the filter's 95 % ellipse.

    Parameters
    ----------
    covs_m2 : (shots, 2, 2) array
        The filter's covariance of (x, y).
    exaggeration
        Error and ellipse are drawn so many times their size about the true place.
    label
        What the dots are.
    is_true
        Whether the true places are known; if not, no error is drawn.
    """
    scale = metres_to(floor_unit(length_unit), 1.0)
    shown = true_xy_m + exaggeration * (estimated_xy_m - true_xy_m)
    outlines = shown[:, None] + exaggeration * ellipse_outlines_m(covs_m2)
    times = "" if exaggeration == 1 else f", {exaggeration:g}× its size"
    ax.add_collection(
        PolyCollection(
            list(outlines * scale),
            # many shots from one place lie on top of each other: keep them all to be seen
            facecolors=to_rgba(_ESTIMATE_COLOUR, min(0.2, 1.5 / max(len(outlines), 1))),
            edgecolors=to_rgba(_ESTIMATE_COLOUR, 0.7),
            linewidths=0.7,
            zorder=8,
            label=f"95 % ellipse of the filter{times}",
        )
    )
    if is_true:
        ax.add_collection(
            LineCollection(
                list(np.stack([true_xy_m, shown], axis=1) * scale),
                colors=_ESTIMATE_COLOUR,
                linewidths=1.0,
                zorder=9,
                label=f"its error{times}",
            )
        )
    ax.plot(
        *(true_xy_m * scale).T,
        linestyle="none",
        marker="o",
        markersize=3.4,
        color=_TRUE_COLOUR,
        zorder=10,
        label=label,
    )
    return ax


def ellipse_outlines_m(
    covs_m2: ArrayLike, *, probability: float = 0.95, points: int = 36
) -> FloatArray:
    """Outlines (n, points, 2) about zero of the ellipses that hold ``probability``.

    For two normal numbers the squared radius is chi-square with 2 degrees of freedom, whose
    quantile is ``-2 ln(1 - p)``.

    >>> float(np.ptp(ellipse_outlines_m([np.diag([4.0, 1.0])])[0, :, 0]).round(3))  # the diameter
    9.791
    """
    values, axes = np.linalg.eigh(np.asarray(covs_m2, dtype=np.float64))
    radii = np.sqrt(np.maximum(values, 0.0) * (-2.0 * math.log(1.0 - probability)))
    angle = np.linspace(0.0, 2.0 * np.pi, points, endpoint=False)
    # the last eigenvalue is the greatest: its axis first
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    half_axes = axes[:, :, ::-1] * radii[:, None, ::-1]
    outlines: FloatArray = np.einsum("nij,pj->npi", half_axes, circle)
    return outlines


def exaggeration_of(covs_m2: FloatArray, errors_m: FloatArray, *, wanted_m: float) -> int:
    """A round factor that brings the median ellipse or error near the size wanted on the floor."""
    if not len(covs_m2):
        return 1
    ellipse_m = 2.45 * np.sqrt(np.linalg.eigvalsh(covs_m2)[:, -1])
    size_m = max(float(np.median(ellipse_m)), float(np.median(np.hypot(*errors_m.T))), 1e-6)
    fitting = [factor for factor in _FACTORS if factor * size_m <= wanted_m]
    return fitting[-1] if fitting else 1
