"""Schemas of robot, camera and rig files.

A key that a file leaves out keeps the default of the type it is turned into.
"""

import math
from dataclasses import replace
from typing import Annotated, Self

import numpy as np
from pydantic import Field, ValidationInfo, field_validator, model_validator
from pydantic_core import PydanticKnownError

from posefuse.errors import InputError
from posefuse.files.toml_file import FileModel
from posefuse.files.types import (
    Count,
    Name,
    NotNegative,
    Point,
    PointOnFloor,
    Positive,
    QuarterTurn,
    Rate,
    Share,
)
from posefuse.robot.body import Body, BodyBox
from posefuse.robot.camera import (
    CornerRefinement,
    Defocus,
    Detector,
    ImageQuality,
    Lens,
    Sensor,
    Timing,
)
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind, Gyro, Wheel
from posefuse.robot.measured_response import MeasuredResponse
from posefuse.robot.shooter import (
    MOST_SPEED_M_PER_S,
    Drag,
    Projectile,
    Shooter,
    ShooterSpread,
)

__all__ = ["CameraFile", "MountEntry", "RangerEntry", "RigFile", "RobotFile"]

Slope = Annotated[float, Field(ge=0.0, le=90.0)]
Pair = tuple[float, float]
_Outline = Annotated[float, Field(gt=0.0, le=100.0)]
_NearRobot = Annotated[float, Field(ge=-10.0, le=10.0)]


class BoxEntry(FileModel):
    """One ``[[box]]`` of a robot."""

    name: Name
    centre_m: Point
    size_m: tuple[Positive, Positive, Positive]

    def box(self) -> BodyBox:
        """The box that these keys describe."""
        return BodyBox(
            name=self.name, centre_in_robot_m=np.array(self.centre_m), size_m=np.array(self.size_m)
        )


class GyroTable(FileModel):
    """``[gyro]``."""

    bias_deg_per_s: NotNegative = 0.0
    drift_deg_per_s_per_sqrt_s: NotNegative = 0.0
    noise_deg_per_sqrt_s: NotNegative = 0.0
    scale_fraction: NotNegative = 0.0

    def gyro(self) -> Gyro:
        """The gyro that these keys describe."""
        return Gyro(
            bias_rad_per_s=math.radians(self.bias_deg_per_s),
            drift_rad_per_s_per_sqrt_s=math.radians(self.drift_deg_per_s_per_sqrt_s),
            noise_rad_per_sqrt_s=math.radians(self.noise_deg_per_sqrt_s),
            scale_fraction=self.scale_fraction,
        )


class DrivetrainTable(FileModel):
    """``[drivetrain]``."""

    kind: DrivetrainKind
    wheels_m: tuple[PointOnFloor, ...]
    wheel_radius_m: Positive
    rate_hz: Rate
    encoder_counts_per_turn: Annotated[int, Field(ge=0)] = 0
    steering_std_deg: NotNegative = 0.0
    slip_per_m_per_s2: NotNegative = 0.0
    travel_std_m_per_sqrt_m: NotNegative = 0.0
    speed_m_per_s: Positive
    acceleration_m_per_s2: Positive
    turn_rate_deg_per_s: Positive

    def drivetrain(self, gyro: GyroTable | None) -> Drivetrain:
        """The drivetrain that these keys describe."""
        return Drivetrain(
            kind=self.kind,
            wheels=tuple(Wheel(position_in_robot_m=np.array(xy)) for xy in self.wheels_m),
            wheel_radius_m=self.wheel_radius_m,
            rate_hz=self.rate_hz,
            encoder_counts_per_turn=self.encoder_counts_per_turn,
            steering_std_rad=math.radians(self.steering_std_deg),
            slip_per_m_per_s2=self.slip_per_m_per_s2,
            travel_std_m_per_sqrt_m=self.travel_std_m_per_sqrt_m,
            gyro=gyro.gyro() if gyro else None,
            speed_m_per_s=self.speed_m_per_s,
            acceleration_m_per_s2=self.acceleration_m_per_s2,
            turn_rate_rad_per_s=math.radians(self.turn_rate_deg_per_s),
        )


class ProjectileTable(FileModel):
    """``[shooter.projectile]``."""

    mass_kg: Positive
    diameter_m: Positive
    drag: Drag = Drag.SPHERE
    drag_coefficient: NotNegative | None = None
    lift_per_spin_ratio: NotNegative = 0.0

    @model_validator(mode="after")
    def _drag_fits(self) -> Self:
        try:
            self.projectile()
        except InputError as error:
            raise ValueError(str(error).removeprefix("projectile: ")) from None
        return self

    def projectile(self) -> Projectile:
        """The projectile that these keys describe."""
        return Projectile(**self.model_dump())


class ShooterTable(FileModel):
    """``[shooter]``."""

    release_m: tuple[_NearRobot, _NearRobot, _NearRobot]
    axis_m: tuple[float, float] | None = None
    exit_speed_m_per_s: Annotated[float, Field(gt=0.0, le=MOST_SPEED_M_PER_S)]
    exit_speed_std_m_per_s: NotNegative = 0.0
    pivot_low_deg: Slope
    pivot_high_deg: Slope
    backlash_deg: NotNegative = 0.0
    resolution_deg: NotNegative = 0.0
    zero_std_deg: NotNegative = 0.0
    side_std_deg: NotNegative = 0.0
    spin_turns_per_s: float = 0.0
    altitude_m: Annotated[float, Field(ge=-500.0, le=11000.0)] = 0.0
    air_density_kg_per_m3: NotNegative | None = None
    release_delay_s: NotNegative = 0.0
    release_delay_std_s: NotNegative = 0.0
    projectile: ProjectileTable | None = None

    @model_validator(mode="after")
    def _low_is_below_high(self) -> Self:
        if self.pivot_low_deg > self.pivot_high_deg:
            low, high = self.pivot_low_deg, self.pivot_high_deg
            raise ValueError(
                f"pivot_high_deg must be {low:g} (pivot_low_deg) or more (got {high:g})"
            )
        return self

    def shooter(self) -> Shooter:
        """The shooter that these keys describe."""
        return Shooter(
            release_in_robot_m=np.array(self.release_m),
            axis_in_robot_m=np.array(self.axis_m) if self.axis_m else None,
            exit_speed_m_per_s=self.exit_speed_m_per_s,
            pivot_low_rad=math.radians(self.pivot_low_deg),
            pivot_high_rad=math.radians(self.pivot_high_deg),
            spread=ShooterSpread(
                backlash_rad=math.radians(self.backlash_deg),
                resolution_rad=math.radians(self.resolution_deg),
                zero_std_rad=math.radians(self.zero_std_deg),
                exit_speed_std_m_per_s=self.exit_speed_std_m_per_s,
                side_std_rad=math.radians(self.side_std_deg),
            ),
            projectile=self.projectile.projectile() if self.projectile else None,
            spin_rad_per_s=2.0 * math.pi * self.spin_turns_per_s,
            altitude_m=self.altitude_m,
            air_density_kg_per_m3=self.air_density_kg_per_m3,
            release_delay_s=self.release_delay_s,
            release_delay_std_s=self.release_delay_std_s,
        )


class RobotFile(FileModel):
    """A robot file."""

    name: Name
    length_m: _Outline
    width_m: _Outline
    lean_deg_per_m_per_s2: NotNegative = 0.0
    box: tuple[BoxEntry, ...] = ()
    drivetrain: DrivetrainTable
    gyro: GyroTable | None = None
    shooter: ShooterTable | None = None

    def body(self) -> Body:
        """The body that these keys describe."""
        return Body(
            length_m=self.length_m,
            width_m=self.width_m,
            boxes=tuple(entry.box() for entry in self.box),
            lean_rad_per_m_per_s2=math.radians(self.lean_deg_per_m_per_s2),
            shooter=self.shooter.shooter() if self.shooter else None,
        )


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
    refinement: CornerRefinement | None = None

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


class MountEntry(FileModel):
    """One ``[[mount]]`` of a rig; ``camera`` names a file, as seen from the rig's."""

    name: Name
    camera: Name
    position_m: Point
    pan_deg: float
    tilt_deg: QuarterTurn
    roll_deg: float = 0.0


class RangerEntry(FileModel):
    """One ``[[ranger]]`` of a rig."""

    name: Name
    position_m: Point


class RigFile(FileModel):
    """A rig file; ``robot`` names a file, as seen from this one, whose shooter it may replace."""

    name: Name
    robot: Name
    shooter: ShooterTable | None = None
    mount: tuple[MountEntry, ...] = ()
    ranger: tuple[RangerEntry, ...] = ()
