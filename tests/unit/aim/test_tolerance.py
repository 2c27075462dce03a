"""The band of estimates that still score, against geometry done by hand."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from posefuse.aim.aim import prepare_aim
from posefuse.aim.ballistics import launch_angles_rad
from posefuse.aim.hit_probability import simulate_hits
from posefuse.aim.shots import Shots
from posefuse.aim.tolerance import tolerance_band
from posefuse.robot.shooter import Drag, Projectile, Shooter

G = 9.80665
RADIUS_M = 0.06
SPEED = 9.0


@pytest.fixture
def plain():
    """A ball without air forces, thrown from the robot's middle."""
    return Shooter(
        release_in_robot_m=np.array([0.0, 0.0, 0.6]),
        exit_speed_m_per_s=SPEED,
        pivot_low_rad=0.0,
        pivot_high_rad=np.pi / 2,
        projectile=Projectile(mass_kg=0.1, diameter_m=2 * RADIUS_M, drag=Drag.NONE),
    )


def needs(slope):
    return RADIUS_M * np.sqrt(1.0 + slope**2)


def test_left_and_right_are_the_opening_less_the_ball(plain, goal):
    tall = replace(goal, height_m=2.0)
    band = tolerance_band(prepare_aim(plain, tall), [2.0, 4.0])
    for distance, left in zip(band.distances_m, band.left_rad, strict=True):
        edge = brentq(
            lambda turn, d=distance: d * np.tan(turn) - 0.6 + needs(np.tan(turn)), 0.0, 1.0
        )
        assert left == pytest.approx(edge, abs=1e-5)
    assert band.right_rad == pytest.approx(band.left_rad, abs=1e-9)
    assert band.left_m == pytest.approx(band.distances_m * np.tan(band.left_rad))


def test_short_and_long_follow_from_the_parabola(plain, goal):
    band = tolerance_band(prepare_aim(plain, goal), [3.0, 5.0])

    def over(distance, error):
        """How far the ball is beyond what the opening leaves it, by the closed forms."""
        low, _ = launch_angles_rad(distance + error, rise_m=1.0, speed_m_per_s=SPEED)
        t = np.tan(low)
        drop = G * (1.0 + t * t) / (2.0 * SPEED**2)
        height = distance * t - drop * distance**2
        slope = t - 2.0 * drop * distance
        return abs(height - 1.0) - (0.3 - needs(slope))

    for distance, short, long in zip(band.distances_m, band.short_m, band.long_m, strict=True):
        assert over(distance, -short + 1e-3) < 0.0 < over(distance, -short - 1e-3)
        assert over(distance, long - 1e-3) < 0.0 < over(distance, long + 1e-3)


def test_at_the_edges_of_the_band_shots_turn_from_hits_to_misses(exact_shooter, goal):
    aim = prepare_aim(exact_shooter, goal)
    approach = 0.4
    band = tolerance_band(aim, [2.0, 4.0, 5.5], approach_rad=approach)
    away = goal.facing_rad + approach
    outward = np.array([np.cos(away), np.sin(away), 0.0])
    turned = np.array([0.0, 0.0, 1.0])
    edges = (
        (band.short_m, -outward),
        (band.long_m, outward),
        (band.left_rad, -turned),
        (band.right_rad, turned),
    )
    for size, direction in edges:
        for factor, hit in ((0.999, 1), (1.001, 0)):
            errors = factor * size[:, None] * direction
            shots = Shots.at(
                aim.positions_m(band.distances_m, approach_rad=approach), error_means=errors
            )
            assert (simulate_hits(shots, aim=aim, count=1, seed=0).hits == hit).all()


def test_a_slanting_approach_narrows_the_band(exact_shooter, goal):
    aim = prepare_aim(exact_shooter, goal)
    ahead = tolerance_band(aim, [4.0])
    slanting = tolerance_band(aim, [4.0], approach_rad=0.9)
    assert slanting.left_rad + slanting.right_rad < 0.8 * (ahead.left_rad + ahead.right_rad)


def test_clearance_narrows_the_band(exact_shooter, goal):
    wide = tolerance_band(prepare_aim(exact_shooter, goal), [5.0])
    narrow = tolerance_band(prepare_aim(exact_shooter, goal, clearance_m=0.1), [5.0])
    assert narrow.long_m < wide.long_m
    assert narrow.left_m[0] == pytest.approx(wide.left_m[0] - 0.1, abs=2e-3)


def test_a_bin_open_to_the_sky_is_hit_from_above_only(exact_shooter, goal):
    bin_ = replace(goal, centre_in_world_m=np.array([12.7, 3.3, 1.2]), tilt_rad=np.pi / 2)
    band = tolerance_band(prepare_aim(exact_shooter, bin_), [1.0, 5.0])
    assert band.short_m[0] == 0.0  # still rising at 1 m
    assert band.short_m[1] > 0.0


def test_a_robot_behind_the_opening_never_scores(exact_shooter, goal):
    band = tolerance_band(prepare_aim(exact_shooter, goal), [3.0], approach_rad=np.pi)
    assert band.short_m[0] == band.left_rad[0] == 0.0
