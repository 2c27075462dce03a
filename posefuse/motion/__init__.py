"""The true path over time, and what wheels and gyro tell of it."""

from posefuse.motion.course import Bump, Course, Knock, Lift, Shot, Traffic
from posefuse.motion.path import TruePath
from posefuse.motion.waypoints import MotionLimits, Waypoint

__all__ = [
    "Bump",
    "Course",
    "Knock",
    "Lift",
    "MotionLimits",
    "Shot",
    "Traffic",
    "TruePath",
    "Waypoint",
]
