"""A detector's response as it was measured on rendered or real images of a camera."""

from dataclasses import dataclass
from pathlib import Path

from posefuse.checks import FloatArray, frozen_array, in_range, increasing
from posefuse.errors import InputError

__all__ = [
    "AXIS_COLUMNS",
    "EXTRA_COLUMNS",
    "VALUE_COLUMNS",
    "MeasuredResponse",
    "recipe_path",
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
    "unfitted",
    "found_low",
    "found_high",
    "bias_rest_px",
    "std_along_px",
    "std_across_px",
    "correlation_beside",
    "correlation_opposite",
)
"""What a table may hold besides."""


def recipe_path(table: Path) -> Path:
    """Where it is written how a table was measured: beside it."""
    return table.with_suffix(".toml")


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
