"""Schemas of robot and rig files.

A key that a file leaves out keeps the default of the type it is turned into.
"""

import math
from typing import Annotated, Self

import numpy as np
from pydantic import Field, model_validator

from posefuse.errors import InputError
from posefuse.files.toml_file import FileModel
from posefuse.files.types import (
    Name,
    NotNegative,
    Point,
    PointOnFloor,
    Positive,
    QuarterTurn,
    Rate,
)
from posefuse.robot.body import Body, BodyBox
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind, Gyro, Wheel
from posefuse.robot.shooter import (
    MOST_SPEED_M_PER_S,
    Drag,
    Projectile,
    Shooter,
    ShooterSpread,
)

__all__ = ["MountEntry", "RangerEntry", "RigFile", "RobotFile"]

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
