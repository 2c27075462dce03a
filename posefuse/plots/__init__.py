"""Pictures: finished numbers onto matplotlib axes; ``draw_x(ax, data, ...)``, no global state."""

from posefuse.plots.aim import draw_flights, draw_pivots
from posefuse.plots.aim_tolerance import (
    SpreadAtPlaces,
    draw_bearing_tolerance,
    draw_distance_tolerance,
)
from posefuse.plots.boxes import box_legend_handles, draw_error_boxes, error_span_m
from posefuse.plots.camera import camera_legend_handles, draw_camera_view, shrunk_image
from posefuse.plots.camera_movie import MovingFigure
from posefuse.plots.consistency import draw_nees, draw_nis
from posefuse.plots.court import court_margin_m, draw_court
from posefuse.plots.drive import draw_path, draw_shots, exaggeration_of
from posefuse.plots.floor import (
    add_error_bar,
    add_hit_bar,
    add_tags_bar,
    draw_expected_error,
    draw_hit_chance,
    draw_tags_seen,
)
from posefuse.plots.rig import draw_rig_from_above, draw_rig_from_side, draw_robot
from posefuse.plots.style import (
    INK,
    Axes,
    Figure,
    drawing,
    in_unit,
    new_figure,
    plan_colour,
    png_bytes,
    set_finding,
    svg_text,
)
from posefuse.plots.timeline import draw_distance_error, draw_sightings, tags_per_bin

__all__ = [
    "INK",
    "Axes",
    "Figure",
    "MovingFigure",
    "SpreadAtPlaces",
    "add_error_bar",
    "add_hit_bar",
    "add_tags_bar",
    "box_legend_handles",
    "camera_legend_handles",
    "court_margin_m",
    "draw_bearing_tolerance",
    "draw_camera_view",
    "draw_court",
    "draw_distance_error",
    "draw_distance_tolerance",
    "draw_error_boxes",
    "draw_expected_error",
    "draw_flights",
    "draw_hit_chance",
    "draw_nees",
    "draw_nis",
    "draw_path",
    "draw_pivots",
    "draw_rig_from_above",
    "draw_rig_from_side",
    "draw_robot",
    "draw_shots",
    "draw_sightings",
    "draw_tags_seen",
    "drawing",
    "error_span_m",
    "exaggeration_of",
    "in_unit",
    "new_figure",
    "plan_colour",
    "png_bytes",
    "set_finding",
    "shrunk_image",
    "svg_text",
    "tags_per_bin",
]
