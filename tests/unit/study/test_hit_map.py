"""Hit maps against drawn shots."""

import math
from dataclasses import replace

import numpy as np
import pytest

from posefuse.aim.aim import prepare_aim
from posefuse.aim.hit_probability import simulate_hits
from posefuse.aim.shots import Shots
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.fusion.settings import FilterSettings
from posefuse.study.floor_map import floor_map
from posefuse.study.hit_map import hit_map
from small_court import SHOOTER, small_arena, small_rig

BUILT = BuildSpreads.of(mount_angle_rad=0.01, mount_position_m=0.01, tag_position_m=0.04)


def made(*mounts, shooter=SHOOTER, built=BUILT, **options):
    arena = small_arena()
    floor = floor_map(
        arena=arena,
        rig=small_rig(*mounts),
        goal=arena.goals[0],
        settings=FilterSettings(),
        spreads=built,
        cell_m=1.0,
    )
    return hit_map(floor, shooter=shooter, **options)


def middle_of(one, row, column):
    x, y = one.floor.x_edges_m, one.floor.y_edges_m
    return np.array([(x[column] + x[column + 1]) / 2.0, (y[row] + y[row + 1]) / 2.0])


def test_the_mean_square_error_holds_that_of_the_distance():
    floor = made("front", "left").floor
    row, column = 1, 5
    at = middle_of(made("front"), row, column)
    toward = floor.goal.xy_in_world_m - at
    toward /= np.linalg.norm(toward)
    cov = floor.pose_covs[row, column]
    assert math.sqrt(toward @ cov[:2, :2] @ toward) == pytest.approx(
        floor.distance_rms_m[row, column]
    )
    assert cov == pytest.approx(cov.T)


@pytest.mark.parametrize(("row", "column"), [(0, 6), (1, 4), (4, 7)])
def test_a_cell_is_what_drawing_gives(row, column):
    one = made("front", "left")
    at = middle_of(one, row, column)
    shots = Shots.at([at], error_covs=one.floor.pose_covs[row, column])
    drawn = simulate_hits(shots, aim=prepare_aim(SHOOTER, one.floor.goal), count=8000, seed=2)
    assert one.shares[row, column] == pytest.approx(float(drawn.shares[0]), abs=0.03)


def test_where_nobody_stands_nothing_is_known_and_threads_change_nothing():
    one = made("front")
    assert (np.isnan(one.shares) == ~one.floor.is_standable).all()
    assert np.isnan(one.shares).any()
    assert np.array_equal(one.shares, made("front", workers=3).shares, equal_nan=True)


def test_a_worse_plan_and_a_weak_shooter_hit_less():
    three_times = BuildSpreads.of(mount_angle_rad=0.03, mount_position_m=0.03, tag_position_m=0.12)
    near, far = made("front"), made("front", built=three_times)
    known = near.floor.is_standable
    assert near.shares[known].mean() > far.shares[known].mean() + 0.05
    weak = replace(SHOOTER, exit_speed_m_per_s=3.0)
    assert (made("front", shooter=weak).shares[known] == 0.0).all()
