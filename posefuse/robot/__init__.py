"""The robot: body, drivetrain, cameras and where they are mounted."""

from posefuse.robot.body import Body, BodyBox
from posefuse.robot.camera import (
    Camera,
    CornerRefinement,
    Defocus,
    Detector,
    ImageQuality,
    Imaging,
    Lens,
    Sensor,
    Timing,
)
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind, Gyro, Wheel
from posefuse.robot.measured_response import MeasuredResponse
from posefuse.robot.rig import Mount, Ranger, Rig, mount_pose
from posefuse.robot.shooter import Drag, Projectile, Shooter, ShooterSpread

__all__ = [
    "Body",
    "BodyBox",
    "Camera",
    "CornerRefinement",
    "Defocus",
    "Detector",
    "Drag",
    "Drivetrain",
    "DrivetrainKind",
    "Gyro",
    "ImageQuality",
    "Imaging",
    "Lens",
    "MeasuredResponse",
    "Mount",
    "Projectile",
    "Ranger",
    "Rig",
    "Sensor",
    "Shooter",
    "ShooterSpread",
    "Timing",
    "Wheel",
    "mount_pose",
]
