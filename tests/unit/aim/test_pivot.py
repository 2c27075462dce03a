"""Pivots through air: both arcs, their slopes, where they reach."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from posefuse.aim.aim import prepare_aim, reachable_spans_m
from posefuse.aim.arcs import Arc, arc_curves, pivots_on, solve
from posefuse.aim.flight import flight_reference, fly
from posefuse.aim.flight_law import flight_law
from posefuse.aim.pivot import arc_pivots_rad, pivot_error_rad, pivot_rad
from posefuse.errors import InputError
from posefuse.robot.shooter import Drag, Projectile, Shooter


def height_over(distance, pivot, shooter):
    """Where SciPy's solver takes the throw of a robot that faces the goal."""
    x, left, z = shooter.release_at(pivot)
    speed = shooter.exit_speed_m_per_s
    flown = flight_reference(
        [x, 0.0, z],
        [speed * np.cos(pivot), 0.0, speed * np.sin(pivot)],
        law=flight_law(shooter),
        plane_point_m=[np.sqrt(distance**2 - left**2), 0.0, 0.0],
        plane_normal=[-1.0, 0.0, 0.0],
        floor_m=-5.0,
    )
    return flown.points_m[2], flown


@pytest.mark.parametrize("axis", [None, (-0.1, 0.5)])
@pytest.mark.parametrize("left", [0.0, 0.2])
def test_both_arcs_pass_through_the_point_by_the_reference_solver(exact_shooter, axis, left):
    thrower = replace(
        exact_shooter,
        release_in_robot_m=np.array([0.15, left, 0.60]),
        axis_in_robot_m=None if axis is None else np.array(axis),
    )
    distances = np.array([2.0, 4.0, 6.0])
    found = solve(distances, shooter=thrower, height_m=1.6)
    assert (found.pivot_rad[0] < found.pivot_rad[1]).all()
    for arc in Arc:
        for i, distance in enumerate(distances):
            height, flown = height_over(distance, found.pivot_rad[arc, i], thrower)
            assert height == pytest.approx(1.6, abs=1e-4)
            vx, _, vz = flown.velocities_m_per_s
            assert found.time_s[arc, i] == pytest.approx(float(flown.time_s), abs=1e-5)
            assert found.entry_rad[arc, i] == pytest.approx(np.arctan2(-vz, vx), abs=1e-4)


def test_without_air_the_solver_is_the_closed_form(exact_shooter, goal):
    bare = replace(exact_shooter, projectile=None)
    distances = np.linspace(0.5, 8.0, 40)
    closed = arc_pivots_rad(distances, shooter=bare, goal=goal)
    solved = solve(distances, shooter=bare, height_m=1.6).pivot_rad
    assert solved[0] == pytest.approx(closed[0], abs=1e-9, nan_ok=True)
    assert solved[1] == pytest.approx(closed[1], abs=1e-9, nan_ok=True)
    weightless = replace(bare, projectile=Projectile(mass_kg=1, diameter_m=0.1, drag=Drag.NONE))
    assert pivot_rad(4.0, shooter=weightless, goal=goal) == pivot_rad(4.0, shooter=bare, goal=goal)


def test_slopes_are_those_of_the_solved_pivots(exact_shooter):
    found, above, below = (
        solve(np.array([2.0, 3.5, 5.0]) + off, shooter=exact_shooter, height_m=1.6)
        for off in (0.0, 1e-3, -1e-3)
    )
    slopes = (above.pivot_rad - below.pivot_rad) / 2e-3
    assert found.slope_rad_per_m == pytest.approx(slopes, rel=1e-3, abs=1e-5)


def test_the_curve_that_is_kept_is_the_solver_to_a_microradian(exact_shooter):
    distances = np.linspace(1.0, 6.5, 137)
    solved = solve(distances, shooter=exact_shooter, height_m=1.6).pivot_rad
    for arc, curve in zip(Arc, arc_curves(exact_shooter, 1.6), strict=True):
        reached = np.isfinite(solved[arc]) & (distances > 2.0)
        assert pivots_on(curve, distances)[reached] == pytest.approx(solved[arc][reached], abs=1e-6)


def test_air_asks_for_another_pivot_and_the_error_follows_its_slope(exact_shooter, goal):
    still = replace(exact_shooter, spin_rad_per_s=0.0)
    bare = replace(exact_shooter, projectile=None)
    assert pivot_rad(6.0, shooter=still, goal=goal) > pivot_rad(6.0, shooter=bare, goal=goal) + 0.03
    slope = solve(np.array([5.0]), shooter=still, height_m=1.6).slope_rad_per_m[0, 0]
    error = pivot_error_rad(5.001, 5.0, shooter=still, goal=goal)
    assert error == pytest.approx(slope * 1e-3, rel=1e-2)
    assert np.isnan(pivot_error_rad(20.0, 5.0, shooter=still, goal=goal))


def test_reach_ends_where_pivots_do(exact_shooter, goal):
    ((nearest, farthest),) = reachable_spans_m(exact_shooter, goal, arc=Arc.LOW)
    just = np.array([nearest + 1e-4, farthest - 1e-4, nearest - 1e-3, farthest + 1e-3])
    pivots = solve(just, shooter=exact_shooter, height_m=1.6).pivot_rad[0]
    inside = (pivots >= exact_shooter.pivot_low_rad) & (pivots <= exact_shooter.pivot_high_rad)
    assert inside.tolist() == [True, True, False, False]


def test_farthest_reach_without_air_is_the_parabola_of_safety(exact_shooter, goal):
    # d_max = v / g sqrt(v^2 - 2 g h), the envelope of all throws at one speed: any mechanics text
    bare = replace(exact_shooter, projectile=None)
    _, farthest = reachable_spans_m(bare, goal, arc=Arc.LOW)[-1]
    v, g = 9.5, 9.80665
    assert farthest - 0.15 == pytest.approx(v / g * np.sqrt(v**2 - 2.0 * g * 1.0), abs=1e-4)


def test_a_gap_between_rising_and_falling_flights_makes_two_spans(exact_shooter, goal):
    flat = replace(exact_shooter, pivot_low_rad=np.radians(35.0), pivot_high_rad=np.radians(50.0))
    spans = reachable_spans_m(flat, goal, arc=Arc.LOW)
    assert len(spans) == 2
    assert spans[0, 1] < spans[1, 0]


def test_an_unreachable_goal_is_reported_in_one_line(exact_shooter, goal):
    high = replace(goal, centre_in_world_m=np.array([12.7, 3.3, 9.0]))
    with pytest.raises(InputError, match=r"goal crate: out of reach: no pivot between 15 and 75"):
        prepare_aim(exact_shooter, high)
    assert len(reachable_spans_m(exact_shooter, high, arc=Arc.LOW)) == 0
    assert np.isnan(pivot_rad(3.0, shooter=exact_shooter, goal=high))


def test_an_opening_smaller_than_the_ball_is_reported_in_one_line(exact_shooter, goal):
    slot = replace(goal, height_m=0.09)
    with pytest.raises(InputError, match=r"opening of 1\.2 by 0\.09 m is too small for the piece"):
        prepare_aim(exact_shooter, slot)
    with pytest.raises(InputError, match=r"more than 0\.7 m"):
        prepare_aim(exact_shooter, goal, clearance_m=0.3)


@given(
    mass=st.floats(0.02, 1.0),
    diameter=st.floats(0.04, 0.25),
    spin=st.floats(-40.0, 60.0),
    speed=st.floats(6.0, 15.0),
    distance=st.floats(1.0, 7.0),
    height=st.floats(0.0, 2.5),
)
def test_solved_pivots_pass_through_the_point(mass, diameter, spin, speed, distance, height):
    thrower = Shooter(
        release_in_robot_m=np.array([0.1, 0.0, 0.6]),
        axis_in_robot_m=np.array([-0.1, 0.4]),
        exit_speed_m_per_s=speed,
        pivot_low_rad=0.0,
        pivot_high_rad=1.5,
        projectile=Projectile(mass_kg=mass, diameter_m=diameter, lift_per_spin_ratio=1.0),
        spin_rad_per_s=spin,
    )
    found = solve(np.array([distance]), shooter=thrower, height_m=height)
    low, high = found.pivot_rad[:, 0]
    assert not low > high
    for pivot in (low, high):
        if np.isnan(pivot):  # out of reach, or of one arc where spin turns the piece back
            continue
        x, _, z = thrower.release_at(pivot)
        flown = fly(
            [x, 0.0, z],
            [speed * np.cos(pivot), 0.0, speed * np.sin(pivot)],
            law=flight_law(thrower),
            plane_points_m=[distance, 0.0, 0.0],
            plane_normals=[-1.0, 0.0, 0.0],
            floor_m=-5.0,
        )
        assert flown.points_m[2] == pytest.approx(height, abs=1e-3)


@pytest.mark.slow
def test_a_piece_that_glides_for_ever_ends_somewhere(exact_shooter):
    glider = replace(
        exact_shooter,
        projectile=Projectile(
            mass_kg=0.01, diameter_m=0.2, drag=Drag.NONE, lift_per_spin_ratio=2.0
        ),
        spin_rad_per_s=60.0,
    )
    for curve in arc_curves(glider, 1.6):
        assert curve is None or np.isfinite(curve.pivots_rad).all()
