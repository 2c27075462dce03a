"""A camera as it is: lens, sensor, timing, and the errors of the tag detector on it."""

import math
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from posefuse.checks import FloatArray, frozen_array, in_range, not_negative, positive
from posefuse.errors import InputError
from posefuse.robot.image_quality import ImageQuality
from posefuse.robot.measured_response import MeasuredResponse

__all__ = [
    "Camera",
    "CornerRefinement",
    "Detector",
    "Imaging",
    "Lens",
    "Sensor",
    "Timing",
]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lens:
    """Pinhole with distortion as OpenCV defines it; pixel centres at integers.

    Parameters
    ----------
    focal_px, centre_px
        (fx, fy) and (cx, cy).
    distortion : (8,) array
        k1 k2 p1 p2 k3 k4 k5 k6 of the rational model; zeros for what a lens lacks.
    """

    focal_px: FloatArray
    centre_px: FloatArray
    distortion: FloatArray

    def __post_init__(self) -> None:
        focal = frozen_array("focal_px", self.focal_px, (2,))
        if (focal <= 0.0).any():
            raise InputError(f"focal_px: must be greater than 0 (got {focal})")
        object.__setattr__(self, "focal_px", focal)
        object.__setattr__(self, "centre_px", frozen_array("centre_px", self.centre_px, (2,)))
        object.__setattr__(self, "distortion", frozen_array("distortion", self.distortion, (8,)))

    @classmethod
    def from_width(cls, *, field_of_view_rad: float, width_px: int, height_px: int) -> "Lens":
        """A lens without distortion: ``f = W / (2 tan(view / 2))``, centred on the sensor."""
        in_range("field_of_view_rad", field_of_view_rad, math.radians(1), math.radians(179))
        focal = width_px / (2.0 * math.tan(field_of_view_rad / 2.0))
        return cls(
            focal_px=np.array([focal, focal]),
            centre_px=np.array([(width_px - 1) / 2.0, (height_px - 1) / 2.0]),
            distortion=np.zeros(8),
        )

    @property
    def matrix(self) -> FloatArray:
        """The 3 x 3 camera matrix."""
        (fx, fy), (cx, cy) = self.focal_px, self.centre_px
        return np.array([[fx, 0.0, cx], [0.0, fy, cy], [0.0, 0.0, 1.0]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """The image sensor.

    Parameters
    ----------
    row_time_s
        Time between the read-out of two rows; 0 is a global shutter.
    """

    width_px: int
    height_px: int
    row_time_s: float = 0.0

    def __post_init__(self) -> None:
        positive("width_px", self.width_px)
        positive("height_px", self.height_px)
        not_negative("row_time_s", self.row_time_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """When frames are taken and when their sightings reach the filter.

    Parameters
    ----------
    latency_s, latency_jitter_s
        From capture (mid exposure) to arrival: the mean, and half the width of the even spread
        around it.
    drop_rate
        Share of frames that never arrive, each by itself.
    outages_per_minute, outage_s
        How often a working camera drops out altogether, and for how long on average; both times
        are exponential. Frames taken meanwhile, or on their way as it begins, never arrive.
    """

    frame_rate_hz: float
    exposure_s: float
    latency_s: float
    latency_jitter_s: float = 0.0
    drop_rate: float = 0.0
    outages_per_minute: float = 0.0
    outage_s: float = 1.0

    def __post_init__(self) -> None:
        positive("frame_rate_hz", self.frame_rate_hz)
        not_negative("exposure_s", self.exposure_s)
        not_negative("latency_s", self.latency_s)
        in_range("latency_jitter_s", self.latency_jitter_s, 0.0, self.latency_s)
        in_range("drop_rate", self.drop_rate, 0.0, 1.0)
        not_negative("outages_per_minute", self.outages_per_minute)
        positive("outage_s", self.outage_s)


class CornerRefinement(StrEnum):
    """How a tag's corners are made sharper than the outline that found it.

    ``SUBPIXEL``: where the grey levels' gradients around a corner cross; ``CONTOUR``: where lines
    fitted to the four sides of the outline cross; ``EDGES``: where lines cross that are fitted to
    the grey levels along the four sides, tags being left out where that fails.
    """

    NONE = "none"
    SUBPIXEL = "subpixel"
    CONTOUR = "contour"
    EDGES = "edges"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Detector:
    """How the tag detector on this camera responds: by a law, or as it was measured.

    The spread of one corner, per axis, adds five parts in quadrature: ``noise_px``;
    ``noise_px_per_m`` times the distance; ``grazing_noise_px`` times ``1 - cos(incidence)``;
    ``blur_noise`` times the length of the motion blur in px; ``noise_px_per_grey`` times the noise
    of the image in grey levels, ``ImageQuality.noise_grey``.

    Parameters
    ----------
    noise_px_per_grey
        A corner found by least squares on grey levels errs in proportion to their noise (W.
        Foerstner, E. Guelch, A fast operator for detection and precise location of distinct
        points, ISPRS workshop, Interlaken 1987). This part never persists at rest.
    shared_fraction
        Share of that variance which moves the four corners of a tag together.
    persistent_fraction
        Share of that variance which persists at rest: the same from frame to frame while a corner
        stays on the same pixel, since it comes from where it lies on the pixels, not from noise.
    inward_px
        How far each corner is found toward the tag's middle: real detectors shrink the square.
    shift_px
        Offset (x, y) of every corner: another pixel origin.
    half_found_edge_px, found_edge_width_px
        Tag edge (blur length taken off) at which half of the tags are found, and the width of the
        logistic step around it.
    miss_rate
        Share of tags missed however large they are.
    least_edge_px, most_incidence_rad
        Beyond these a tag is never found.
    false_id_rate
        Share of the sightings that are read with the id of another tag of the arena and family,
        each as likely.
    wrong_corners_rate, wrong_corners_px
        Share of the sightings whose corners are far off: each by itself by a normal of this spread
        on each axis, on top of all other errors. Corners drawn from the response alone are spoilt
        so; a detector that runs on images makes mistakes of its own.
    refinement
        How corners are refined where a detector runs on images.
    measured
        A measured response, which replaces all numbers from ``noise_px`` to ``miss_rate``.
    """

    noise_px: float = 0.0
    noise_px_per_m: float = 0.0
    grazing_noise_px: float = 0.0
    blur_noise: float = 0.0
    noise_px_per_grey: float = 0.0
    shared_fraction: float = 0.0
    persistent_fraction: float = 0.0
    inward_px: float = 0.0
    shift_px: FloatArray = field(default_factory=lambda: np.zeros(2))
    half_found_edge_px: float = 0.0
    found_edge_width_px: float = 1.0
    miss_rate: float = 0.0
    least_edge_px: float = 8.0
    most_incidence_rad: float = math.radians(75.0)
    false_id_rate: float = 0.0
    wrong_corners_rate: float = 0.0
    wrong_corners_px: float = 20.0
    refinement: CornerRefinement = CornerRefinement.SUBPIXEL
    measured: MeasuredResponse | None = None

    def __post_init__(self) -> None:
        if self.measured is None:
            positive("noise_px", self.noise_px)
        for name in (
            "noise_px_per_m",
            "grazing_noise_px",
            "blur_noise",
            "noise_px_per_grey",
            "half_found_edge_px",
        ):
            not_negative(name, getattr(self, name))
        for name in ("false_id_rate", "wrong_corners_rate"):
            in_range(name, getattr(self, name), 0.0, 1.0)
        positive("wrong_corners_px", self.wrong_corners_px)
        in_range("shared_fraction", self.shared_fraction, 0.0, 0.99)
        in_range("persistent_fraction", self.persistent_fraction, 0.0, 1.0)
        in_range("miss_rate", self.miss_rate, 0.0, 1.0)
        in_range("most_incidence_rad", self.most_incidence_rad, 0.0, math.pi / 2)
        positive("found_edge_width_px", self.found_edge_width_px)
        positive("least_edge_px", self.least_edge_px)
        object.__setattr__(self, "shift_px", frozen_array("shift_px", self.shift_px, (2,)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Imaging:
    """What decides a camera's images and how corners are found in them."""

    name: str
    lens: Lens
    sensor: Sensor
    image: ImageQuality
    refinement: CornerRefinement


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Camera:
    """A camera model: every mount that carries it carries the same one.

    Parameters
    ----------
    image
        Matters where images are rendered, and where a measured response is looked up.
    """

    name: str
    lens: Lens
    sensor: Sensor
    timing: Timing
    detector: Detector
    image: ImageQuality = field(default_factory=ImageQuality)
