"""Wheels and gyro: what the robot measures of its own motion, and with what errors."""

from dataclasses import dataclass
from enum import StrEnum

from posefuse.checks import FloatArray, frozen_array, not_negative, positive
from posefuse.errors import InputError

__all__ = ["Drivetrain", "DrivetrainKind", "Gyro", "Wheel"]


class DrivetrainKind(StrEnum):
    """How the wheels are driven."""

    SWERVE = "swerve"
    MECANUM = "mecanum"
    DIFFERENTIAL = "differential"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wheel:
    """Where a wheel touches the floor, in the robot frame, (2,).

    Mecanum wheels stand in the order front left, front right, rear right, rear left; differential
    wheels left, right.
    """

    position_in_robot_m: FloatArray

    def __post_init__(self) -> None:
        position = frozen_array("wheel position", self.position_in_robot_m, (2,))
        object.__setattr__(self, "position_in_robot_m", position)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gyro:
    """A rate gyro about z that gives the turn between two odometry rows.

    Parameters
    ----------
    bias_rad_per_s
        Spread of the constant bias, drawn once a trial.
    drift_rad_per_s_per_sqrt_s
        Random walk of the bias.
    noise_rad_per_sqrt_s
        Angle random walk.
    scale_fraction
        Spread of the scale error, drawn once a trial.
    """

    bias_rad_per_s: float = 0.0
    drift_rad_per_s_per_sqrt_s: float = 0.0
    noise_rad_per_sqrt_s: float = 0.0
    scale_fraction: float = 0.0

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            not_negative(f"gyro: {name}", getattr(self, name))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drivetrain:
    """Wheels, their encoders and the limits of the drive.

    Parameters
    ----------
    encoder_counts_per_turn
        0 stands for an encoder without steps.
    steering_std_rad
        Error of the measured steering angle, white, per row (swerve only).
    slip_per_m_per_s2
        Share by which a wheel over-reads its travel for each m/s^2 that the robot's acceleration
        speeds it up, and under-reads where the robot brakes.
    travel_std_m_per_sqrt_m
        White error of each wheel's travel: its spread after one metre.
    gyro
        ``None``: the turn is measured by the wheels alone.
    speed_m_per_s, acceleration_m_per_s2, turn_rate_rad_per_s
        The most the drive can do; a course beyond them is refused.
    """

    kind: DrivetrainKind
    wheels: tuple[Wheel, ...]
    wheel_radius_m: float
    rate_hz: float
    encoder_counts_per_turn: int = 0
    steering_std_rad: float = 0.0
    slip_per_m_per_s2: float = 0.0
    travel_std_m_per_sqrt_m: float = 0.0
    gyro: Gyro | None = None
    speed_m_per_s: float
    acceleration_m_per_s2: float
    turn_rate_rad_per_s: float

    def __post_init__(self) -> None:
        least = {
            DrivetrainKind.SWERVE: 2,
            DrivetrainKind.MECANUM: 4,
            DrivetrainKind.DIFFERENTIAL: 2,
        }
        exact = self.kind is not DrivetrainKind.SWERVE
        count, wanted = len(self.wheels), least[self.kind]
        if count < wanted or (exact and count != wanted):
            more = "" if exact else " or more"
            raise InputError(f"wheels: {self.kind} needs {wanted}{more} (got {count})")
        for name in (
            "wheel_radius_m",
            "rate_hz",
            "speed_m_per_s",
            "acceleration_m_per_s2",
            "turn_rate_rad_per_s",
        ):
            positive(f"drivetrain: {name}", getattr(self, name))
        for name in (
            "encoder_counts_per_turn",
            "steering_std_rad",
            "slip_per_m_per_s2",
            "travel_std_m_per_sqrt_m",
        ):
            not_negative(f"drivetrain: {name}", getattr(self, name))
