"""Shots on the move: the lead, and what latency and a wrong velocity do to them."""

from dataclasses import replace

import numpy as np
import pytest

from posefuse.aim.aim import prepare_aim, shot_commands
from posefuse.aim.flight import flight_reference
from posefuse.aim.flight_law import flight_law
from posefuse.aim.hit_probability import hit_probability, simulate_hits
from posefuse.aim.shots import Shots


def opening_axes(goal):
    """Right and up for who looks at the opening, and the normal of its front, (3, 3)."""
    c, s = np.cos(goal.facing_rad), np.sin(goal.facing_rad)
    level, ahead = np.array([-s, c, 0.0]), np.array([c, s, 0.0])
    upward = np.array([0.0, 0.0, 1.0])
    ct, st = np.cos(goal.tilt_rad), np.sin(goal.tilt_rad)
    return np.array([level, ct * upward - st * ahead, ct * ahead + st * upward])


def flown_past(position, motion, heading, pivot, *, shooter, goal):
    """Where SciPy's solver takes the throw through the goal's plane, and when."""
    c, s = np.cos(heading), np.sin(heading)
    forward, left, up = shooter.release_at(pivot)
    offset = np.array([c * forward - s * left, s * forward + c * left])
    vx, vy, turn_rate = motion
    level = shooter.exit_speed_m_per_s * np.cos(pivot)
    return flight_reference(
        [*(position + offset), up],
        [
            level * c + vx - turn_rate * offset[1],
            level * s + vy + turn_rate * offset[0],
            shooter.exit_speed_m_per_s * np.sin(pivot),
        ],
        law=flight_law(shooter),
        spin_axis=[s, -c],
        plane_point_m=goal.centre_in_world_m,
        plane_normal=opening_axes(goal)[2],
    )


@pytest.mark.parametrize("left", [0.0, 0.15])
@pytest.mark.parametrize(
    "motion", [(0.0, 0.0, 0.0), (2.0, 0.0, 0.0), (-1.5, 2.0, 1.0), (0.5, -3.0, -2.0)]
)
def test_the_lead_takes_the_piece_through_the_middle(exact_shooter, goal, motion, left):
    thrower = replace(exact_shooter, release_in_robot_m=np.array([0.15, left, 0.6]))
    aim = prepare_aim(thrower, goal)
    positions = aim.positions_m(np.array([2.5, 4.0, 5.0]), approach_rad=0.5)
    commands = shot_commands(positions, np.array([motion] * 3), aim=aim)
    for place, heading, pivot in zip(
        positions, commands.headings_rad, commands.pivots_rad, strict=True
    ):
        flown = flown_past(place, motion, heading, pivot, shooter=thrower, goal=goal)
        assert flown.points_m == pytest.approx(goal.centre_in_world_m, abs=2e-4)


def test_without_the_lead_a_moving_robot_misses(exact_shooter, goal):
    aim = prepare_aim(exact_shooter, goal)
    place, motion = aim.positions_m(np.array([4.0])), (0.0, 2.5, 0.0)
    still = shot_commands(place, np.zeros((1, 3)), aim=aim)
    flown = flown_past(
        place[0],
        motion,
        still.headings_rad[0],
        still.pivots_rad[0],
        shooter=exact_shooter,
        goal=goal,
    )
    drift = flown.points_m[1] - goal.centre_in_world_m[1]
    assert drift == pytest.approx(2.5 * float(flown.time_s), rel=0.1)
    # a robot that believes itself at rest throws so
    blind = Shots.at(place, motions=motion, error_means=[0, 0, 0, 0, -2.5, 0])
    assert simulate_hits(blind, aim=aim, count=1, seed=0).hits[0] == 0
    assert hit_probability(blind, aim=aim)[0] < 1e-6


def test_a_known_motion_costs_an_exact_shooter_nothing(exact_shooter, goal):
    aim = prepare_aim(exact_shooter, goal)
    shots = Shots.straight_ahead([2.5, 4.0, 5.0], goal=goal)
    moving = replace(shots, motions=np.array([[0.5, 2.0, 1.0]] * 3))
    assert (simulate_hits(moving, aim=aim, count=1, seed=0).hits == 1).all()
    assert (hit_probability(moving, aim=aim) > 1.0 - 1e-9).all()


def test_a_wrong_velocity_works_through_the_flight_and_through_the_delay(exact_shooter, goal):
    wide = replace(goal, width_m=2.0, height_m=1.0)
    place = np.array([[8.7, 3.3]])
    for delay in (0.0, 0.3):
        slow = replace(exact_shooter, release_delay_s=delay)
        aim = prepare_aim(slow, wide)
        lateral = 0.95 / (0.5 + delay)  # an error that uses up the 0.95 m to the rim
        hits = [
            simulate_hits(
                Shots.at(place, motions=(0.0, 1.0, 0.0), error_means=[0, 0, 0, 0, f * lateral, 0]),
                aim=aim,
                count=1,
                seed=0,
            ).hits[0]
            for f in (0.85, 1.15)
        ]
        assert hits == [1, 0]


def test_an_uneven_delay_hurts_a_moving_robot_only(exact_shooter, goal):
    uneven = replace(exact_shooter, release_delay_std_s=0.15)
    aim = prepare_aim(uneven, goal)
    shots = Shots.straight_ahead([4.0], goal=goal)
    moving = replace(shots, motions=np.array([[0.0, 3.0, 0.0]]))
    assert hit_probability(shots, aim=aim)[0] == 1.0
    share = hit_probability(moving, aim=aim)[0]
    drawn = simulate_hits(moving, aim=aim, count=4000, seed=2).shares[0]
    assert 0.6 < drawn < 0.9
    assert share == pytest.approx(drawn, abs=0.03)


def test_a_late_release_is_an_estimate_left_behind_by_the_motion(exact_shooter, goal):
    # the robot aims from where it would have been: its estimate lags by the motion times the delay
    motion, std_s = np.array([1.5, 0.8, 0.9]), 0.12
    late = prepare_aim(replace(exact_shooter, release_delay_std_s=std_s), goal)
    exact = prepare_aim(exact_shooter, goal)
    place = exact.positions_m(np.array([3.0, 4.5]), approach_rad=0.5)
    cov = np.zeros((6, 6))
    cov[:3, :3] = np.outer(motion, motion) * std_s**2
    lagging = Shots.at(place, motions=motion, error_covs=cov)
    by_delay = simulate_hits(Shots.at(place, motions=motion), aim=late, count=20000, seed=3)
    by_estimate = simulate_hits(lagging, aim=exact, count=20000, seed=3)
    assert (np.abs(by_delay.shares - 0.7) < 0.25).all()  # what is compared is neither sure nor rare
    assert by_delay.shares == pytest.approx(by_estimate.shares, abs=0.02)  # 4 standard errors


def test_stopping_is_compared_on_the_same_pose_errors(shooter, goal):
    aim = prepare_aim(shooter, goal)
    cov = np.diag([0.05, 0.05, 0.01, 0.3, 0.3, 0.1]) ** 2
    moving = Shots.at(
        aim.positions_m(np.array([4.0, 5.0])), motions=[0.0, 2.0, 0.5], error_covs=cov
    )
    still = moving.stopped()
    assert (still.motions == 0.0).all()
    assert (still.error_covs[:, :3, :3] == moving.error_covs[:, :3, :3]).all()
    assert (hit_probability(still, aim=aim) > hit_probability(moving, aim=aim)).all()


@pytest.mark.parametrize("tilt", [0.0, 0.5])
def test_shots_with_errors_are_those_of_scipys_solver(exact_shooter, goal, tilt):
    """Every part of a shot worked out once more, in plain steps, and flown by SciPy."""
    goal = replace(goal, tilt_rad=tilt)
    delay = 0.1
    thrower = replace(
        exact_shooter,
        release_in_robot_m=np.array([0.15, 0.1, 0.6]),
        axis_in_robot_m=np.array([-0.05, 0.5]),
        release_delay_s=delay,
    )
    aim = prepare_aim(thrower, goal)
    rng = np.random.default_rng(11)
    positions = aim.positions_m(rng.uniform(2.5, 5.0, 40), approach_rad=0.3)
    motions = rng.normal(size=(40, 3)) * [1.0, 1.0, 0.5]
    errors = rng.normal(size=(40, 6)) * [0.4, 0.3, 0.06, 0.3, 0.3, 0.3]
    shots = Shots.at(positions, motions=motions, error_means=errors)
    hits = simulate_hits(shots, aim=aim, count=1, seed=0).hits

    believed = positions + errors[:, :2] + errors[:, 3:5] * delay
    commands = shot_commands(believed, motions + errors[:, 3:], aim=aim)
    headings = commands.headings_rad - errors[:, 2] - errors[:, 5] * delay
    judged = 0
    for i in range(40):
        flown = flown_past(
            positions[i],
            motions[i],
            headings[i],
            commands.pivots_rad[i],
            shooter=thrower,
            goal=goal,
        )
        if np.isnan(flown.time_s):
            assert hits[i] == 0
            continue
        right, up, _ = opening_axes(goal) @ (flown.points_m - goal.centre_in_world_m)
        across, climb, inward = opening_axes(goal) @ flown.velocities_m_per_s
        spare = min(
            0.6 - 0.05 * np.hypot(1.0, across / inward) - abs(right),
            0.3 - 0.05 * np.hypot(1.0, climb / inward) - abs(up),
        )
        if abs(spare) > 2e-3:
            judged += 1
            assert hits[i] == (spare > 0.0)
    assert judged > 30
    assert 8 < hits.sum() < 32


def test_driving_away_out_of_reach_loses_hits_step_by_step(shooter, goal):
    # where no lead brings the piece to the middle any more, the nearest throw found is taken
    aim = prepare_aim(shooter, goal)
    position = aim.positions_m(np.array([5.0]))
    speeds = np.arange(0.0, 3.01, 0.25)
    shares = np.array(
        [
            hit_probability(Shots.at(position, motions=[-speed, 0.0, 0.0]), aim=aim)[0]
            for speed in speeds
        ]
    )
    assert shares[0] > 0.9
    assert shares[-1] < 0.1
    assert (np.diff(shares) < 1e-3).all()
