"""From the distance to a goal to the pivot of the shooter, and from its error to missed shots."""

from posefuse.aim.aim import (
    Aim,
    Commands,
    is_reached,
    prepare_aim,
    reachable_spans_m,
    shot_commands,
)
from posefuse.aim.air import GRAVITY_M_PER_S2, Air, sphere_drag_coefficient, standard_air
from posefuse.aim.ballistics import (
    launch_angles_rad,
    least_speed_m_per_s,
    pivot_slope_rad_per_m,
)
from posefuse.aim.curve import Arc
from posefuse.aim.design import NextShots, next_distances
from posefuse.aim.fit import Fitted, MeasuredShots, ShotFit, fit_shots, load_measured_shots
from posefuse.aim.flight import Crossings, flight_reference, fly
from posefuse.aim.hits import (
    HitCounts,
    enough_distance_std_m,
    hit_probability,
    simulate_hits,
)
from posefuse.aim.law import FlightLaw, flight_law
from posefuse.aim.paths import flight_paths_m
from posefuse.aim.pivot import arc_pivots_rad, pivot_error_rad, pivot_rad
from posefuse.aim.sheet import ArcSheet, arc_sheets, refuse_unreachable
from posefuse.aim.shots import Shots
from posefuse.aim.table import CAUTION, PivotTable, write_pivot_table
from posefuse.aim.tabulate import (
    interpolation_errors_rad,
    load_pivot_table,
    pivot_table,
    roomiest_pivots,
)
from posefuse.aim.tolerance import ToleranceBand, tolerance_band
from posefuse.aim.wilson import wilson_bounds

__all__ = [
    "CAUTION",
    "GRAVITY_M_PER_S2",
    "Aim",
    "Air",
    "Arc",
    "ArcSheet",
    "Commands",
    "Crossings",
    "Fitted",
    "FlightLaw",
    "HitCounts",
    "MeasuredShots",
    "NextShots",
    "PivotTable",
    "ShotFit",
    "Shots",
    "ToleranceBand",
    "arc_pivots_rad",
    "arc_sheets",
    "enough_distance_std_m",
    "fit_shots",
    "flight_law",
    "flight_paths_m",
    "flight_reference",
    "fly",
    "hit_probability",
    "interpolation_errors_rad",
    "is_reached",
    "launch_angles_rad",
    "least_speed_m_per_s",
    "load_measured_shots",
    "load_pivot_table",
    "next_distances",
    "pivot_error_rad",
    "pivot_rad",
    "pivot_slope_rad_per_m",
    "pivot_table",
    "prepare_aim",
    "reachable_spans_m",
    "refuse_unreachable",
    "roomiest_pivots",
    "shot_commands",
    "simulate_hits",
    "sphere_drag_coefficient",
    "standard_air",
    "tolerance_band",
    "wilson_bounds",
    "write_pivot_table",
]
