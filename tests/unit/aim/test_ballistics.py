"""The pivot of a shooter on a robot for a goal of the arena."""

import numpy as np
import pytest

from posefuse.aim.ballistics import launch_angles_rad, pivot_slope_rad_per_m
from posefuse.aim.pivot import pivot_error_rad, pivot_rad
from posefuse.arena.arena import Goal
from posefuse.robot.shooter import Shooter

GOAL = Goal(
    name="crate",
    centre_in_world_m=np.array([10.0, 3.0, 1.8]),
    width_m=0.8,
    height_m=0.5,
    facing_rad=np.pi,
)


def shooter(*, release=(0.0, 0.0, 0.6), low_deg=15.0, high_deg=50.0, speed=9.0):
    return Shooter(
        release_in_robot_m=np.array(release),
        exit_speed_m_per_s=speed,
        pivot_low_rad=np.radians(low_deg),
        pivot_high_rad=np.radians(high_deg),
    )


def test_the_low_arc_is_taken_where_the_range_allows_it():
    low, _ = launch_angles_rad(4.0, rise_m=1.2, speed_m_per_s=9.0)
    assert pivot_rad(4.0, shooter=shooter(), goal=GOAL) == pytest.approx(float(low), abs=1e-12)


def test_the_high_arc_is_taken_where_only_it_lies_in_the_range():
    _, high = launch_angles_rad(4.0, rise_m=1.2, speed_m_per_s=9.0)
    steep = shooter(low_deg=55.0, high_deg=85.0)
    assert pivot_rad(4.0, shooter=steep, goal=GOAL) == pytest.approx(float(high), abs=1e-12)


def test_there_is_no_pivot_out_of_the_range_or_out_of_reach():
    narrow = shooter(low_deg=1.0, high_deg=2.0)
    assert np.isnan(pivot_rad(4.0, shooter=narrow, goal=GOAL))
    assert np.isnan(pivot_rad(40.0, shooter=shooter(), goal=GOAL))


def test_a_release_ahead_of_the_middle_shortens_the_flight_and_one_beside_it_too():
    ahead = pivot_rad(4.3, shooter=shooter(release=(0.3, 0.0, 0.6)), goal=GOAL)
    assert ahead == pytest.approx(float(pivot_rad(4.0, shooter=shooter(), goal=GOAL)), abs=1e-12)
    beside = pivot_rad(5.0, shooter=shooter(release=(0.0, 3.0, 0.6)), goal=GOAL)
    assert beside == pytest.approx(float(pivot_rad(4.0, shooter=shooter(), goal=GOAL)), abs=1e-12)


def test_no_pivot_when_the_goal_lies_within_the_release():
    assert np.isnan(
        pivot_rad([0.0, 0.2, 0.3], shooter=shooter(release=(0.3, 0, 0.6)), goal=GOAL)
    ).all()


def test_a_small_distance_error_turns_into_the_slope_times_it():
    piece = shooter()
    angle = pivot_rad(4.0, shooter=piece, goal=GOAL)
    slope = pivot_slope_rad_per_m(4.0, angle_rad=angle, speed_m_per_s=9.0)
    error = pivot_error_rad([4.001, 4.0], [4.0, 4.0], shooter=piece, goal=GOAL)
    assert error == pytest.approx([float(slope) * 0.001, 0.0], rel=1e-2)


def test_a_change_of_arc_at_the_end_of_the_range_is_no_error():
    low, _ = launch_angles_rad(4.0, rise_m=1.2, speed_m_per_s=9.0)
    # the low arc is in the range at 4.02 m and just below it at 4.0 m, where the high arc is not
    edge = shooter(low_deg=float(np.degrees(low)) + 1e-4, high_deg=89.0)
    assert pivot_rad(4.0, shooter=edge, goal=GOAL) > np.radians(60.0)
    assert abs(pivot_error_rad(4.1, 4.0, shooter=edge, goal=GOAL)) < np.radians(1.0)
    assert abs(pivot_error_rad(4.0, 4.1, shooter=edge, goal=GOAL)) < np.radians(1.0)
