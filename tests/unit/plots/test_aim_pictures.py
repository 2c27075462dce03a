"""Pictures of the shot: what lies on the axes is what was worked out."""

import numpy as np
import pytest

from posefuse.aim.arcs import Arc
from posefuse.aim.flight import flight_paths_m
from posefuse.aim.sheet import ArcSheet, arc_sheets
from posefuse.arena.arena import Goal
from posefuse.plots.aim import draw_flights, draw_pivots
from posefuse.plots.aim_tolerance import (
    PlanSpread,
    draw_bearing_tolerance,
    draw_distance_tolerance,
)
from posefuse.plots.style import Axes, new_figure, svg_text
from posefuse.robot.shooter import Projectile, Shooter, ShooterSpread
from posefuse.study.shot_room import SpreadAtPlaces

GOAL = Goal(
    name="crate",
    centre_in_world_m=np.array([8.7, 2.5, 1.6]),
    width_m=1.2,
    height_m=0.6,
    facing_rad=np.pi,
)
SHOOTER = Shooter(
    release_in_robot_m=np.array([0.15, 0.0, 0.6]),
    exit_speed_m_per_s=8.8,
    pivot_low_rad=np.radians(15.0),
    pivot_high_rad=np.radians(75.0),
    projectile=Projectile(mass_kg=0.06, diameter_m=0.1),
    spread=ShooterSpread(exit_speed_std_m_per_s=0.18, side_std_rad=0.01),
)


@pytest.fixture(scope="module")
def sheet() -> ArcSheet:
    (low,) = arc_sheets(SHOOTER, GOAL, arc=Arc.LOW, spacing_m=0.5)
    return low


def axes() -> Axes:
    return new_figure(5.0, 4.0).subplots()


@pytest.mark.parametrize(("unit", "scale"), [("cm", 1.0), ("in", 1.0 / 0.0254)])
def test_pivots_lie_over_their_distances(sheet: ArcSheet, unit: str, scale: float) -> None:
    ax = draw_pivots(axes(), [sheet], SHOOTER, length_unit=unit)
    x, y = ax.lines[0].get_data()
    assert x == pytest.approx(scale * sheet.table.distances_m)
    assert y == pytest.approx(np.degrees(sheet.table.pivots_rad))
    assert ax.get_xlabel() == f"distance to the goal ({'inch' if unit == 'in' else 'm'})"


def test_flights_end_in_the_opening(sheet: ArcSheet) -> None:
    distances = sheet.table.distances_m
    paths = flight_paths_m(sheet.aim.shooter, distances, sheet.table.pivots_rad)
    ax = draw_flights(axes(), paths, goal=GOAL, arc=Arc.LOW, diameter_m=0.1)
    drawn = [np.array(line.get_data()).T for line in ax.lines[: 2 * len(distances) : 2]]
    for path in drawn:
        assert path[-1] == pytest.approx([0.0, 1.6], abs=1e-6)
    rims = np.concatenate([np.array(line.get_data()).T for line in ax.lines[-4:-2]])
    assert rims[:, 1] == pytest.approx([1.9, 1.975, 1.3, 1.225])
    (piece,) = ax.patches
    assert piece.radius == pytest.approx(0.05)
    assert ax.get_aspect() == 1.0


@pytest.mark.parametrize(("unit", "scale"), [("cm", 100.0), ("in", 1.0 / 0.0254)])
def test_the_band_holds_the_errors_in_the_unit_asked_for(
    sheet: ArcSheet, unit: str, scale: float
) -> None:
    errors = SpreadAtPlaces(
        distances_m=np.array([2.0, 4.0]),
        means=np.array([0.01, -0.02]),
        lows=np.array([-0.01, -0.05]),
        highs=np.array([0.03, 0.01]),
    )
    ax = draw_distance_tolerance(
        axes(),
        sheet.band,
        enough_m=sheet.enough_m,
        spreads=[PlanSpread("four", "#009E73", errors)],
        length_unit=unit,
    )
    assert ax.lines[0].get_ydata() == pytest.approx(-scale * sheet.band.short_m)
    assert ax.lines[1].get_ydata() == pytest.approx(scale * sheet.band.long_m)
    assert ax.lines[3].get_ydata() == pytest.approx(scale * sheet.enough_m)
    bars = next(c for c in ax.collections if len(c.get_paths()) == 2)
    ends = np.array([path.vertices[:, 1] for path in bars.get_paths()])
    assert ends == pytest.approx(scale * np.array([[-0.01, 0.03], [-0.05, 0.01]]))
    (means,) = [line for line in ax.lines if line.get_label() == "four"]
    assert means.get_ydata() == pytest.approx(scale * np.array([0.01, -0.02]))
    assert means.get_color() == "#009E73"
    assert ax.get_yscale() == "symlog"
    svg_text(ax.figure)


def test_bearings_are_drawn_in_degrees(sheet: ArcSheet) -> None:
    ax = draw_bearing_tolerance(axes(), sheet.band)
    assert ax.lines[1].get_ydata() == pytest.approx(np.degrees(sheet.band.left_rad))
    assert ax.get_ylabel() == "bearing error (°)"
