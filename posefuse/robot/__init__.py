"""The robot: body, drivetrain, cameras and where they are mounted."""

from posefuse.robot.body import Body, BodyBox
from posefuse.robot.camera import Camera, Detector, Lens, Sensor, Timing
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind, Gyro, Wheel
from posefuse.robot.rig import Mount, Ranger, Rig, mount_pose
from posefuse.robot.shooter import Drag, Projectile, Shooter, ShooterSpread

__all__ = [
    "Body",
    "BodyBox",
    "Camera",
    "Detector",
    "Drag",
    "Drivetrain",
    "DrivetrainKind",
    "Gyro",
    "Lens",
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
