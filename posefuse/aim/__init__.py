"""From the distance to a goal to the pivot of the shooter."""

from posefuse.aim.ballistics import (
    GRAVITY_M_PER_S2,
    launch_angles_rad,
    least_speed_m_per_s,
    pivot_error_rad,
    pivot_rad,
    pivot_slope_rad_per_m,
)

__all__ = [
    "GRAVITY_M_PER_S2",
    "launch_angles_rad",
    "least_speed_m_per_s",
    "pivot_error_rad",
    "pivot_rad",
    "pivot_slope_rad_per_m",
]
