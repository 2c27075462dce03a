"""From the distance to a goal to the pivot of the shooter, and from its error to missed shots."""

from posefuse.aim.air import GRAVITY_M_PER_S2, Air, sphere_drag_coefficient, standard_air
from posefuse.aim.ballistics import (
    launch_angles_rad,
    least_speed_m_per_s,
    pivot_slope_rad_per_m,
)
from posefuse.aim.curve import Arc
from posefuse.aim.flight import Crossings, flight_reference, fly
from posefuse.aim.law import FlightLaw, flight_law
from posefuse.aim.pivot import arc_pivots_rad, pivot_error_rad, pivot_rad

__all__ = [
    "GRAVITY_M_PER_S2",
    "Air",
    "Arc",
    "Crossings",
    "FlightLaw",
    "arc_pivots_rad",
    "flight_law",
    "flight_reference",
    "fly",
    "launch_angles_rad",
    "least_speed_m_per_s",
    "pivot_error_rad",
    "pivot_rad",
    "pivot_slope_rad_per_m",
    "sphere_drag_coefficient",
    "standard_air",
]
