"""Schema of filter settings: a file of their own, or the ``[filter]`` table of a study.

A key that a file leaves out keeps the default of the type it is turned into.
"""

import math
from typing import Annotated, Any

from pydantic import Field, ValidationInfo, field_validator

from posefuse.build_errors.schema import AsBuiltTable
from posefuse.errors import InputError
from posefuse.files.toml_file import FileModel
from posefuse.files.types import Name, NotNegative, Positive, Share
from posefuse.fusion.settings import (
    Ambiguous,
    BuildErrors,
    FilterSettings,
    LateFrames,
    Measurement,
    NoiseKind,
    NoiseModel,
    ProcessNoise,
    StartFrom,
    check_build_errors,
)

__all__ = ["FilterTable", "NoiseTable", "ProcessTable"]

_NEEDED: dict[tuple[Measurement, NoiseKind], tuple[str, ...]] = {
    (Measurement.POSE, NoiseKind.FIXED): ("position_std_m", "heading_std_deg"),
    (Measurement.POSE, NoiseKind.GROWING): (
        "position_std_m",
        "heading_std_deg",
        "position_std_m_per_m2",
        "heading_std_deg_per_m2",
    ),
    (Measurement.POSE, NoiseKind.SOLVED): ("pixel_std_px",),
    (Measurement.CORNERS, NoiseKind.FIXED): ("pixel_std_px",),
    (Measurement.CORNERS, NoiseKind.GROWING): ("pixel_std_px", "pixel_std_px_per_m"),
    (Measurement.RANGE, NoiseKind.FIXED): ("range_std_m",),
    (Measurement.RANGE, NoiseKind.GROWING): ("range_std_m", "range_std_m_per_m"),
    (Measurement.RANGE_BEARING, NoiseKind.FIXED): ("range_std_m", "bearing_std_deg"),
    (Measurement.RANGE_BEARING, NoiseKind.GROWING): (
        "range_std_m",
        "range_std_m_per_m",
        "bearing_std_deg",
    ),
}
"""Keys without which a noise model says nothing about a measurement."""


class ProcessTable(FileModel):
    """``[process]``: spread of one odometry step."""

    position_m_per_sqrt_m: NotNegative = ProcessNoise().position_m_per_sqrt_m
    position_m_per_sqrt_s: NotNegative = ProcessNoise().position_m_per_sqrt_s
    heading_deg_per_sqrt_rad: NotNegative = math.degrees(ProcessNoise().heading_rad_per_sqrt_rad)
    heading_deg_per_sqrt_m: NotNegative = math.degrees(ProcessNoise().heading_rad_per_sqrt_m)
    heading_deg_per_sqrt_s: NotNegative = math.degrees(ProcessNoise().heading_rad_per_sqrt_s)

    def process(self) -> ProcessNoise:
        """The process noise itself."""
        return ProcessNoise(
            position_m_per_sqrt_m=self.position_m_per_sqrt_m,
            position_m_per_sqrt_s=self.position_m_per_sqrt_s,
            heading_rad_per_sqrt_rad=math.radians(self.heading_deg_per_sqrt_rad),
            heading_rad_per_sqrt_m=math.radians(self.heading_deg_per_sqrt_m),
            heading_rad_per_sqrt_s=math.radians(self.heading_deg_per_sqrt_s),
        )


class NoiseTable(FileModel):
    """``[noise]``: spread of one measurement. What its kind needs must be given."""

    kind: NoiseKind
    position_std_m: Positive | None = None
    heading_std_deg: Positive | None = None
    position_std_m_per_m2: NotNegative | None = None
    heading_std_deg_per_m2: NotNegative | None = None
    position_floor_m: NotNegative | None = None
    heading_floor_deg: NotNegative | None = None
    pixel_std_px: Positive | None = None
    pixel_std_px_per_m: NotNegative | None = None
    range_std_m: Positive | None = None
    range_std_m_per_m: NotNegative | None = None
    bearing_std_deg: Positive | None = None
    persistent_fraction: Share | None = None

    def noise(self, measurement: Measurement) -> NoiseModel:
        """The noise model itself.

        Raises
        ------
        InputError
            A key is missing without which the model says nothing about the measurement.
        """
        for key in _NEEDED.get((measurement, self.kind), ()):
            if getattr(self, key) is None:
                raise InputError(
                    f"{key} is missing, and must be given for the measurement"
                    f" {measurement.value!r} with the kind {self.kind.value!r}"
                )
        given: dict[str, Any] = {key: value for key, value in self if value is not None}
        for key in [key for key in given if "_deg" in key]:
            given[key.replace("_deg", "_rad")] = math.radians(given.pop(key))
        return NoiseModel(**given)


class FilterTable(FileModel):
    """A filter file, or the ``[filter]`` table of a study."""

    name: Name | None = None
    measurement: Measurement = Measurement.POSE
    process: ProcessTable | None = None
    noise: NoiseTable | None = None
    gate_probability: Share = 0.999
    late_frames: LateFrames = LateFrames.REINSERT
    history_s: Positive = 0.5
    drop_older_than_s: NotNegative = 0.025
    ambiguous: Ambiguous = Ambiguous.NEAREST
    ambiguity_ratio: Annotated[float, Field(ge=1.0)] = 2.0
    start_from: StartFrom = StartFrom.STATED
    as_built: AsBuiltTable | None = None
    build_errors: BuildErrors = BuildErrors.IGNORED

    @field_validator("noise")
    @classmethod
    def _fits_the_measurement(
        cls, noise: NoiseTable | None, info: ValidationInfo
    ) -> NoiseTable | None:
        measurement = info.data.get("measurement")  # not there where it was refused itself
        if noise is not None and measurement is not None:
            FilterSettings(measurement=measurement, noise=noise.noise(measurement))
        return noise

    @field_validator("build_errors")
    @classmethod
    def _knows_the_spreads(cls, build_errors: BuildErrors, info: ValidationInfo) -> BuildErrors:
        if {"measurement", "as_built"} <= info.data.keys():
            table = info.data["as_built"]
            check_build_errors(
                build_errors, info.data["measurement"], None if table is None else table.spreads
            )
        return build_errors

    @field_validator("gate_probability")
    @classmethod
    def _is_off_or_high(cls, probability: float) -> float:
        if probability != 0.0 and not 0.5 <= probability < 1.0:
            raise ValueError(f"must be 0 (no gate), or from 0.5 to below 1 (got {probability:g})")
        return probability
