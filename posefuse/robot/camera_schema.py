"""Schema of camera files.

A key that a file leaves out keeps the default of the type it is turned into.
"""

import math
from dataclasses import replace
from typing import Annotated

import numpy as np
from pydantic import Field, ValidationInfo, field_validator
from pydantic_core import PydanticKnownError

from posefuse.errors import InputError
from posefuse.files.toml_file import FileModel
from posefuse.files.types import Count, Name, NotNegative, Positive, Rate, Share
from posefuse.robot.camera import CornerRefinement, Detector, Lens, Sensor, Timing
from posefuse.robot.image_quality import Defocus, ImageQuality
from posefuse.robot.measured_response import MeasuredResponse

__all__ = ["CameraFile"]

Slope = Annotated[float, Field(ge=0.0, le=90.0)]
Pair = tuple[float, float]


class TimingTable(FileModel):
    """``[timing]`` of a camera."""

    frame_rate_hz: Rate
    exposure_s: NotNegative
    latency_s: NotNegative
    latency_jitter_s: NotNegative = 0.0
    drop_rate: Share = 0.0
    outages_per_minute: NotNegative = 0.0
    outage_s: Positive = 1.0

    def timing(self) -> Timing:
        """The timing that these keys describe."""
        return Timing(**self.model_dump())


class DetectorTable(FileModel):
    """``[detector]`` of a camera: the numbers of a law, or ``table``, a measured response."""

    table: Name | None = None
    noise_px: Positive | None = Field(default=None, validate_default=True)
    noise_px_per_m: NotNegative | None = None
    grazing_noise_px: NotNegative | None = None
    blur_noise: NotNegative | None = None
    noise_px_per_grey: NotNegative | None = None
    shared_fraction: Annotated[float, Field(ge=0.0, le=0.99)] | None = None
    persistent_fraction: Share | None = None
    inward_px: float | None = None
    shift_px: Pair | None = None
    half_found_edge_px: NotNegative | None = None
    found_edge_width_px: Positive | None = None
    miss_rate: Share | None = None
    least_edge_px: Positive | None = None
    most_incidence_deg: Slope | None = None
    false_id_rate: Share | None = None
    wrong_corners_rate: Share | None = None
    wrong_corners_px: Positive | None = None
    refinement: CornerRefinement = CornerRefinement.SUBPIXEL

    @field_validator(
        "noise_px",
        "noise_px_per_m",
        "grazing_noise_px",
        "blur_noise",
        "noise_px_per_grey",
        "shared_fraction",
        "persistent_fraction",
        "inward_px",
        "shift_px",
        "half_found_edge_px",
        "found_edge_width_px",
        "miss_rate",
    )
    @classmethod
    def _law_or_table(cls, value: object, info: ValidationInfo) -> object:
        if value is None and info.field_name == "noise_px" and info.data.get("table") is None:
            raise PydanticKnownError("missing")
        if value is not None and info.data.get("table") is not None:
            raise ValueError(f"the table holds this already: keep one of the two (got {value})")
        return value

    def detector(self, measured: MeasuredResponse | None = None) -> Detector:
        """The detector that these keys describe, with the response that ``table`` names."""
        given = self.model_dump(exclude_none=True, exclude={"table"})
        if self.shift_px is not None:
            given["shift_px"] = np.array(self.shift_px)
        if self.most_incidence_deg is not None:
            given["most_incidence_rad"] = math.radians(given.pop("most_incidence_deg"))
        return Detector(**given, measured=measured)


class ImageTable(FileModel):
    """``[image]`` of a camera."""

    defocus: Defocus | None = None
    defocus_px: NotNegative | None = None
    vignetting_share: Share | None = None
    lamp_share: Share | None = None
    glare_share: NotNegative | None = None
    white_share: Positive | None = None
    black_grey: Annotated[float, Field(ge=0.0, le=128.0)] | None = None
    full_well_electrons: Positive | None = None
    gain_factor: Positive | None = None
    unit_gain_exposure_s: Positive | None = None
    read_noise_electrons: NotNegative | None = None

    @field_validator("unit_gain_exposure_s")
    @classmethod
    def _one_gain(cls, value: float | None, info: ValidationInfo) -> float | None:
        if value is not None and info.data.get("gain_factor") is not None:
            raise ValueError(
                f"sets the gain, as gain_factor does: keep one of the two (got {value})"
            )
        return value

    def quality(self, exposure_s: float) -> ImageQuality:
        """The image quality that these keys describe, at an exposure."""
        given = self.model_dump(exclude_none=True)
        unit_gain_exposure_s = given.pop("unit_gain_exposure_s", None)
        if unit_gain_exposure_s is not None:
            given["gain_factor"] = ImageQuality.gain_for(
                exposure_s, unit_gain_exposure_s=unit_gain_exposure_s
            )
        return ImageQuality(**given)


class CameraFile(FileModel):
    """A camera file."""

    name: Name
    width_px: Count
    height_px: Count
    row_time_s: NotNegative = 0.0
    field_of_view_deg: Annotated[float, Field(ge=1.0, le=179.0)] | None = None
    focal_px: tuple[Positive, Positive] | None = None
    centre_px: Pair | None = None
    distortion: tuple[float, ...] = ()
    timing: TimingTable
    detector: DetectorTable
    image: ImageTable = ImageTable()

    @field_validator("distortion")
    @classmethod
    def _as_many_as_opencv_takes(cls, distortion: tuple[float, ...]) -> tuple[float, ...]:
        if len(distortion) not in (0, 4, 5, 8):
            wanted = "must hold 4, 5 or 8 numbers: k1 k2 p1 p2 (k3 (k4 k5 k6))"
            raise ValueError(f"{wanted} (got {len(distortion)})")
        return distortion

    def lens(self) -> Lens:
        """The lens, from its field of view or from the numbers of a calibration."""
        view_deg, focal_px, centre_px = self.field_of_view_deg, self.focal_px, self.centre_px
        distortion = np.zeros(8)
        distortion[: len(self.distortion)] = self.distortion
        if view_deg is None and focal_px is not None and centre_px is not None:
            return Lens(
                focal_px=np.array(focal_px), centre_px=np.array(centre_px), distortion=distortion
            )
        if view_deg is None:
            raise InputError("missing: the lens needs this, or both focal_px and centre_px")
        if focal_px is not None or centre_px is not None:
            raise InputError("give either this, or focal_px and centre_px, not both")
        wide = Lens.from_width(
            field_of_view_rad=math.radians(view_deg),
            width_px=self.width_px,
            height_px=self.height_px,
        )
        return replace(wide, distortion=distortion)

    def sensor(self) -> Sensor:
        """The sensor that these keys describe."""
        return Sensor(width_px=self.width_px, height_px=self.height_px, row_time_s=self.row_time_s)
