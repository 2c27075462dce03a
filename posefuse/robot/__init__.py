"""The robot: body, drivetrain, cameras and where they are mounted."""

from posefuse.robot.body import Body, BodyBox, Shooter
from posefuse.robot.camera import Camera, Detector, Lens, Sensor, Timing
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind, Gyro, Wheel
from posefuse.robot.rig import Mount, Ranger, Rig, mount_pose

__all__ = [
    "Body",
    "BodyBox",
    "Camera",
    "Detector",
    "Drivetrain",
    "DrivetrainKind",
    "Gyro",
    "Lens",
    "Mount",
    "Ranger",
    "Rig",
    "Sensor",
    "Shooter",
    "Timing",
    "Wheel",
    "mount_pose",
]
