"""Hit maps against drawn shots, and the errors they are made of."""

import math
from dataclasses import replace

import numpy as np
import pytest

from posefuse.aim.aim import prepare_aim
from posefuse.aim.hit_probability import simulate_hits
from posefuse.aim.shots import Shots
from posefuse.study.compare import compare
from posefuse.study.floor_map import floor_map
from posefuse.study.hit_map import hit_map, shot_second_moments
from small_court import SHOOTER, armed, small_arena, small_rig, small_study

EXTRA = np.diag([0.06, 0.04, 0.02]) ** 2


def made(*mounts, shooter=SHOOTER, extra=EXTRA, **options):
    arena = small_arena()
    floor = floor_map(arena=arena, rig=small_rig(*mounts), goal=arena.goals[0], cell_m=1.0)
    return hit_map(floor, shooter=shooter, extra_cov=extra, **options)


def middle_of(one, row, column):
    x, y = one.floor.x_edges_m, one.floor.y_edges_m
    return np.array([(x[column] + x[column + 1]) / 2.0, (y[row] + y[row + 1]) / 2.0])


def test_the_least_covariance_is_that_of_the_distance():
    floor = made("front", "left").floor
    row, column = 1, 5
    at = middle_of(made("front"), row, column)
    toward = floor.goal.xy_in_world_m - at
    toward /= np.linalg.norm(toward)
    cov = floor.pose_covs[row, column]
    assert math.sqrt(toward @ cov[:2, :2] @ toward) == pytest.approx(
        floor.distance_std_m[row, column]
    )
    assert cov == pytest.approx(cov.T)


@pytest.mark.parametrize(("row", "column"), [(0, 6), (1, 4), (4, 7)])
def test_a_cell_is_what_drawing_gives(row, column):
    one = made("front", "left")
    at = middle_of(one, row, column)
    toward = one.floor.goal.xy_in_world_m - at
    c, s = toward / np.linalg.norm(toward)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    cov = one.floor.pose_covs[row, column] + turn @ EXTRA @ turn.T
    shots = Shots.at([at], error_covs=cov)
    drawn = simulate_hits(shots, aim=prepare_aim(SHOOTER, one.floor.goal), count=8000, seed=2)
    assert one.shares[row, column] == pytest.approx(float(drawn.shares[0]), abs=0.03)


def test_where_nobody_stands_nothing_is_known_and_threads_change_nothing():
    one = made("front")
    assert (np.isnan(one.shares) == ~one.floor.is_standable).all()
    assert np.isnan(one.shares).any()
    assert one.extra_std == pytest.approx([0.06, 0.04, 0.02])
    assert np.array_equal(one.shares, made("front", workers=3).shares, equal_nan=True)


def test_a_worse_plan_and_a_weak_shooter_hit_less():
    near, far = made("front"), made("front", extra=9.0 * EXTRA)
    known = near.floor.is_standable
    assert near.shares[known].mean() > far.shares[known].mean() + 0.05
    weak = replace(SHOOTER, exit_speed_m_per_s=3.0)
    assert (made("front", shooter=weak).shares[known] == 0.0).all()


def test_errors_at_the_shots_are_taken_along_and_across_the_sight():
    comparison = compare(armed(small_study(trials=2), SHOOTER, SHOOTER), workers=1)
    trials = comparison.plan_trials[0]
    found = shot_second_moments([trials], arena=comparison.study.arena)
    shots = [card.shots for card in trials.cards]
    distance = np.concatenate([each.distance_error_m for each in shots])
    heading = np.concatenate([each.errors[:, 2] for each in shots])
    position = np.concatenate([each.position_error_m for each in shots])
    # toward the goal is nearer: the distance falls as the error along the sight grows
    assert found[0, 0] == pytest.approx(np.mean(distance**2), rel=1e-2)
    assert found[0, 0] + found[1, 1] == pytest.approx(np.mean(position**2))
    assert found[2, 2] == pytest.approx(np.mean(heading**2))
    assert found == pytest.approx(found.T)
