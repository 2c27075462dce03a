"""Angles, poses in the plane and in space, and how covariances travel with them."""

from posefuse.geometry.angles import angle_difference_rad, wrap_angle_rad
from posefuse.geometry.plane import Pose2, arc_motion, arc_twist, plane_motion_jacobians
from posefuse.geometry.space import Pose3, pan_tilt_roll

__all__ = [
    "Pose2",
    "Pose3",
    "angle_difference_rad",
    "arc_motion",
    "arc_twist",
    "pan_tilt_roll",
    "plane_motion_jacobians",
    "wrap_angle_rad",
]
