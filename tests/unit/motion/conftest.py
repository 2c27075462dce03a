"""Small drivetrains, bodies and courses."""

from collections.abc import Callable
from dataclasses import replace
from math import radians

import pytest

from posefuse.motion.path import TruePath
from posefuse.motion.planned import planned_path
from posefuse.motion.waypoints import MotionLimits, Waypoint
from posefuse.robot.body import Body
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind, Wheel
from posefuse.robot.rig import Rig


@pytest.fixture
def limits() -> MotionLimits:
    return MotionLimits(
        speed_m_per_s=3.0,
        acceleration_m_per_s2=2.5,
        turn_rate_rad_per_s=4.0,
        turn_acceleration_rad_per_s2=15.0,
    )


@pytest.fixture
def waypoint() -> Callable[..., Waypoint]:
    def make(x: float, y: float, heading_deg: float | None = None, **more: object) -> Waypoint:
        heading = None if heading_deg is None else radians(heading_deg)
        return Waypoint(xy_in_world_m=[x, y], heading_rad=heading, **more)

    return make


SQUARE = [(0.3, 0.3), (0.3, -0.3), (-0.3, -0.3), (-0.3, 0.3)]


@pytest.fixture
def drivetrain() -> Callable[..., Drivetrain]:
    def make(kind: str = "swerve", **more: object) -> Drivetrain:
        places = [(0.0, 0.3), (0.0, -0.3)] if kind == "differential" else SQUARE
        drive = Drivetrain(
            kind=DrivetrainKind(kind),
            wheels=tuple(Wheel(position_in_robot_m=place) for place in places),
            wheel_radius_m=0.05,
            rate_hz=50.0,
            speed_m_per_s=4.0,
            acceleration_m_per_s2=4.0,
            turn_rate_rad_per_s=6.0,
        )
        return replace(drive, **more)

    return make


@pytest.fixture
def rig(drivetrain: Callable[..., Drivetrain]) -> Rig:
    return Rig(name="plain", body=Body(length_m=0.8, width_m=0.6), drivetrain=drivetrain())


@pytest.fixture
def winding_path(limits: MotionLimits, waypoint: Callable[..., Waypoint]) -> TruePath:
    """Ten seconds with bends, a full turn and a pause."""
    places = (
        waypoint(1.0, 1.0, 0.0),
        waypoint(4.0, 1.5, 90.0),
        waypoint(4.5, 4.0, 120.0, turns=1, pause_s=0.5),
        waypoint(1.5, 3.0, -60.0),
    )
    return planned_path(places, limits=limits, duration_s=12.0)[0]
