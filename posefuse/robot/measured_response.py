"""A detector's response as it was measured on rendered or real images of a camera."""

import itertools
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from posefuse.checks import FloatArray, frozen_array, in_range, increasing
from posefuse.errors import FileError, InputError
from posefuse.files.table_file import read_table

__all__ = [
    "AXIS_COLUMNS",
    "VALUE_COLUMNS",
    "MeasuredResponse",
    "load_response",
    "read_response_table",
]

AXIS_COLUMNS = ("edge_px", "incidence_deg", "blur_px", "noise_grey", "defocus_px")
"""What a row of a response table was measured at."""

VALUE_COLUMNS = (
    "found_probability",
    "std_px",
    "shared_fraction",
    "persistent_fraction",
    "inward_px",
    "narrowing_px",
    "shift_x_px",
    "shift_y_px",
)
"""What was measured there and the simulator takes."""

EXTRA_COLUMNS = (
    "rendered",
    "found",
    "misread",
    "found_low",
    "found_high",
    "bias_rest_px",
    "std_along_px",
    "std_across_px",
    "correlation_beside",
    "correlation_opposite",
)
"""What a table tells besides."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredResponse:
    """A detector's response over a tag's edge, incidence and motion blur; see ``robot.Detector``.

    Parameters
    ----------
    edges_px, incidences_rad, blurs_px
        The axes (E,), (I,), (B,), rising. Between their points the response is linear, beyond their
        ends it is held.
    found_probability, std_px, shared_fraction, persistent_fraction, inward_px : (E, I, B) arrays
    narrowing_px : (E, I, B) array
        How far the left and the right corners are found toward each other, besides.
    shift_px : (E, I, B, 2) array
    """

    edges_px: FloatArray
    incidences_rad: FloatArray
    blurs_px: FloatArray
    found_probability: FloatArray
    std_px: FloatArray
    shared_fraction: FloatArray
    persistent_fraction: FloatArray
    inward_px: FloatArray
    narrowing_px: FloatArray
    shift_px: FloatArray

    def __post_init__(self) -> None:
        shape: tuple[int, ...] = ()
        for name in ("edges_px", "incidences_rad", "blurs_px"):
            axis = increasing(name, frozen_array(name, getattr(self, name), (None,)))
            if len(axis) == 0:
                raise InputError(f"{name}: must hold one value or more")
            object.__setattr__(self, name, axis)
            shape += (len(axis),)
        for name in VALUE_COLUMNS[:-2]:
            object.__setattr__(self, name, frozen_array(name, getattr(self, name), shape))
        object.__setattr__(self, "shift_px", frozen_array("shift_px", self.shift_px, (*shape, 2)))
        for name, most in (
            ("found_probability", 1.0),
            ("shared_fraction", 0.99),
            ("persistent_fraction", 1.0),
        ):
            in_range(name, float(getattr(self, name).min()), 0.0, most)
            in_range(name, float(getattr(self, name).max()), 0.0, most)
        if not self.std_px.min() > 0.0:
            raise InputError(f"std_px: must be greater than 0 (got {self.std_px.min():g})")


def read_response_table(path: Path) -> tuple[dict[str, FloatArray], list[FloatArray]]:
    """A table's columns by name, and the points of its axes in the order of ``AXIS_COLUMNS``.

    Raises
    ------
    FileError
        The table does not hold each combination of its axes' values once.
    """
    table = read_table(path, [*AXIS_COLUMNS, *VALUE_COLUMNS], optional=EXTRA_COLUMNS)
    axes = [np.unique(table[name]) for name in AXIS_COLUMNS]
    _refuse_gaps(path, table, axes)
    return table, axes


def load_response(path: Path, *, noise_grey: float, defocus_px: float) -> MeasuredResponse:
    """The response in a table at a noise and defocus, linear between those measured.

    Raises
    ------
    FileError
        The table does not hold each combination of its axes' values once, or was not measured at
        such noise or defocus.
    """
    table, axes = read_response_table(path)
    order = np.lexsort([table[name] for name in reversed(AXIS_COLUMNS)])
    shape = tuple(len(axis) for axis in axes)
    values = np.stack([table[name][order].reshape(shape) for name in VALUE_COLUMNS], axis=-1)
    values = _between(path, values, axes[4], "defocus_px", defocus_px, axis=4)
    values = _between(path, values, axes[3], "noise_grey", noise_grey, axis=3)
    try:
        return MeasuredResponse(
            edges_px=axes[0],
            incidences_rad=np.radians(axes[1]),
            blurs_px=axes[2],
            **{name: values[..., place] for place, name in enumerate(VALUE_COLUMNS[:-2])},
            shift_px=values[..., -2:],
        )
    except InputError as error:
        raise FileError(path, str(error)) from None


def _refuse_gaps(path: Path, table: dict[str, FloatArray], axes: list[FloatArray]) -> None:
    rows = list(zip(*(table[name].tolist() for name in AXIS_COLUMNS), strict=True))
    if not rows:
        raise FileError(path, "holds no rows")
    seen = set(rows)
    if len(seen) < len(rows):
        repeated = next(row for n, row in enumerate(rows) if row in rows[:n])
        raise FileError(path, f"{_place(repeated)} is there twice")
    for wanted in itertools.product(*(axis.tolist() for axis in axes)):
        if wanted not in seen:
            raise FileError(path, f"no row for {_place(wanted)}; every combination must be there")


def _place(row: tuple[float, ...]) -> str:
    return ", ".join(f"{name} = {value:g}" for name, value in zip(AXIS_COLUMNS, row, strict=True))


def _between(
    path: Path, values: FloatArray, points: FloatArray, name: str, wanted: float, *, axis: int
) -> FloatArray:
    """Values at a point of one axis, which is taken away."""
    low, high = float(points[0]), float(points[-1])
    slack = 1e-3 * max(1.0, abs(wanted))  # tables are rounded
    if not low - slack <= wanted <= high + slack:
        raise FileError(
            path,
            f"was measured for {name} {low:g} to {high:g}; the camera's [image] gives {wanted:.3g}",
        )
    place = float(np.interp(wanted, points, np.arange(len(points))))
    first = min(math.floor(place), max(len(points) - 2, 0))
    second = min(first + 1, len(points) - 1)
    share = place - first
    one, two = np.take(values, first, axis=axis), np.take(values, second, axis=axis)
    return np.asarray(one + share * (two - one))
