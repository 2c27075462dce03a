"""What the filter assumes: how the robot moves, how far to trust a sighting, what to refuse."""

import math
from dataclasses import dataclass, field
from enum import StrEnum

from posefuse.build_errors.spreads import BuildSpreads
from posefuse.checks import in_range, not_negative, positive
from posefuse.errors import InputError
from posefuse.recording.recording import SightingKind

__all__ = [
    "Ambiguous",
    "BuildErrors",
    "FilterSettings",
    "LateFrames",
    "Measurement",
    "NoiseKind",
    "NoiseModel",
    "ProcessNoise",
    "StartFrom",
    "check_build_errors",
]


class Measurement(StrEnum):
    """What of a sighting enters the filter."""

    POSE = "pose"
    CORNERS = "corners"
    RANGE_BEARING = "range_bearing"
    RANGE = "range"

    @property
    def sighting_kind(self) -> SightingKind:
        """The kind of sighting this measurement needs."""
        return SightingKind.CORNERS if self is Measurement.POSE else SightingKind(self.value)

    @property
    def is_of_tags(self) -> bool:
        """Whether it comes from the corners of tags."""
        return self.sighting_kind is SightingKind.CORNERS


class NoiseKind(StrEnum):
    """How the spread of a measurement is stated."""

    FIXED = "fixed"
    GROWING = "growing"
    SOLVED = "solved"


class LateFrames(StrEnum):
    """What to do with a frame that was captured before the newest odometry row."""

    REINSERT = "reinsert"
    AS_CURRENT = "as_current"
    DROP = "drop"


class Ambiguous(StrEnum):
    """Which solution to take when two poses fit the corners: of one tag, or of tags in a plane."""

    BEST = "best"
    NEAREST = "nearest"
    SKIP = "skip"


class BuildErrors(StrEnum):
    """What the filter makes of a build that is not as stated.

    ``ignored``: nothing; rig and arena are taken for exact. ``considered``: it knows how exact
    builds are, and trusts sightings accordingly (Schmidt-Kalman filter). ``estimated``: it also
    estimates the errors of this build, and corrects for them.
    """

    IGNORED = "ignored"
    CONSIDERED = "considered"
    ESTIMATED = "estimated"


class StartFrom(StrEnum):
    """Where the first pose comes from."""

    STATED = "stated"
    TAGS = "tags"


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcessNoise:
    """Spread of one odometry step, white, in the robot's frame.

    Variances add: ``position_m_per_sqrt_m**2 * travel + position_m_per_sqrt_s**2 * time`` for
    forward and left alike; for the turn the three heading terms times |turn|, travel and time.
    """

    position_m_per_sqrt_m: float = 0.02
    position_m_per_sqrt_s: float = 0.002
    heading_rad_per_sqrt_rad: float = 0.01
    heading_rad_per_sqrt_m: float = 0.0
    heading_rad_per_sqrt_s: float = 0.001

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            not_negative(f"process: {name}", getattr(self, name))


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseModel:
    """Spread of one measurement as the filter assumes it.

    ========== ==================================== =============================================
    kind       pose                                 corners, range, bearing
    ========== ==================================== =============================================
    fixed      position_std_m, heading_std_rad      pixel_std_px; range_std_m, bearing_std_rad
    growing    the same, plus ``*_per_m2`` times    the same, plus ``*_per_m`` times the distance
               the mean distance squared, all over
               the root of the tag count
    solved     from pixel_std_px through the        refused
               reprojection Jacobian, never below
               the floors (added in quadrature)
    ========== ==================================== =============================================

    Parameters
    ----------
    persistent_fraction
        Share of a corner's variance that persists while the corner rests on its pixel. Of N frames
        of one place the information is then that of ``N / (1 + (N - 1) persistent_fraction)``
        frames: it does not grow without end. Zero: every frame counts as independent.
    """

    kind: NoiseKind = NoiseKind.SOLVED
    position_std_m: float = 0.05
    heading_std_rad: float = math.radians(2.0)
    position_std_m_per_m2: float = 0.01
    heading_std_rad_per_m2: float = math.radians(0.3)
    position_floor_m: float = 0.01
    heading_floor_rad: float = math.radians(0.3)
    pixel_std_px: float = 1.0
    pixel_std_px_per_m: float = 0.1
    range_std_m: float = 0.1
    range_std_m_per_m: float = 0.01
    bearing_std_rad: float = math.radians(1.0)
    persistent_fraction: float = 0.0

    def __post_init__(self) -> None:
        for name in ("position_std_m", "heading_std_rad", "pixel_std_px"):
            positive(f"noise: {name}", getattr(self, name))
        for name in ("range_std_m", "bearing_std_rad"):
            positive(f"noise: {name}", getattr(self, name))
        for name in (
            "position_std_m_per_m2",
            "heading_std_rad_per_m2",
            "position_floor_m",
            "heading_floor_rad",
            "pixel_std_px_per_m",
            "range_std_m_per_m",
        ):
            not_negative(f"noise: {name}", getattr(self, name))
        in_range("noise: persistent_fraction", self.persistent_fraction, 0.0, 0.999)


@dataclass(frozen=True, slots=True, kw_only=True)
class FilterSettings:
    """Everything that may be tuned in the filter.

    Parameters
    ----------
    gate_probability
        A measurement is refused when its normalised innovation squared lies above this quantile of
        the chi-square distribution; ``None`` switches the gate off.
    history_s
        Age at arrival beyond which a frame counts as too late to be put back
        (``LateFrames.REINSERT``).
    drop_older_than_s
        Age at arrival beyond which a frame is thrown away (``LateFrames.DROP``); a younger one is
        taken as current.
    ambiguity_ratio
        Second over first reprojection error below which a frame is skipped (``Ambiguous.SKIP``).
    build_errors, believed
        What to make of errors of the build, and how large the team believes them to be.
    """

    name: str = "default"
    measurement: Measurement = Measurement.POSE
    process: ProcessNoise = field(default_factory=ProcessNoise)
    noise: NoiseModel = field(default_factory=NoiseModel)
    gate_probability: float | None = 0.999
    late_frames: LateFrames = LateFrames.REINSERT
    history_s: float = 0.5
    drop_older_than_s: float = 0.025
    ambiguous: Ambiguous = Ambiguous.NEAREST
    ambiguity_ratio: float = 2.0
    start_from: StartFrom = StartFrom.STATED
    build_errors: BuildErrors = BuildErrors.IGNORED
    believed: BuildSpreads | None = None

    def __post_init__(self) -> None:
        if self.gate_probability is not None:
            in_range("gate_probability", self.gate_probability, 0.5, 1.0 - 1e-12)
        positive("history_s", self.history_s)
        not_negative("drop_older_than_s", self.drop_older_than_s)
        in_range("ambiguity_ratio", self.ambiguity_ratio, 1.0, 1e6)
        if self.noise.kind is NoiseKind.SOLVED and self.measurement is not Measurement.POSE:
            raise InputError(
                "kind of noise: 'solved' needs the measurement 'pose';"
                f" {self.measurement.value!r} allows 'fixed' and 'growing'"
            )
        if self.noise.persistent_fraction > 0.0 and not self.measurement.is_of_tags:
            raise InputError(
                "noise: persistent_fraction needs the measurement 'pose' or 'corners'"
                f" (got {self.measurement.value!r})"
            )
        check_build_errors(self.build_errors, self.measurement, self.believed)


def check_build_errors(
    build_errors: BuildErrors, measurement: Measurement, believed: BuildSpreads | None
) -> None:
    """Refuse to know of build errors without their spreads, or where no tag is seen.

    Raises
    ------
    InputError
        See above.
    """
    if build_errors is BuildErrors.IGNORED:
        return
    if not measurement.is_of_tags:
        raise InputError(
            f"build_errors: {build_errors.value!r} needs the measurement 'pose' or 'corners';"
            f" {measurement.value!r} allows 'ignored'"
        )
    if believed is None:
        raise InputError(
            f"build_errors: {build_errors.value!r} needs the table [as_built] of the filter:"
            " how far off the build may be, one spread for each error"
        )
