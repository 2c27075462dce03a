"""Scores of small runs whose errors are known by construction."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from posefuse.aim.pivot import pivot_error_rad
from posefuse.arena.arena import Arena, Goal
from posefuse.errors import InputError
from posefuse.fusion.estimate import Estimate, Innovations, Outcome
from posefuse.recording.recording import (
    Frames,
    Odometry,
    Recording,
    Shots,
    SightingKind,
    Sightings,
    Truth,
)
from posefuse.robot.shooter import Shooter
from posefuse.scoring.instants import instant_errors, nees_of, truth_at
from posefuse.scoring.score import score, seconds_since_update, shot_rows

ROWS = 101
STAMPS_S = 100.0 + 0.02 * np.arange(ROWS)


def goal(name, x, y):
    return Goal(
        name=name,
        centre_in_world_m=np.array([x, y, 1.8]),
        width_m=0.8,
        height_m=0.5,
        facing_rad=0.0,
    )


ARENA = Arena(
    name="court",
    length_m=13.2,
    width_m=6.6,
    goals=(goal("east", 12.0, 3.0), goal("west", 1.0, 3.0)),
)
SHOOTER = Shooter(
    release_in_robot_m=np.array([0.1, 0.0, 0.6]),
    exit_speed_m_per_s=9.0,
    pivot_low_rad=np.radians(15.0),
    pivot_high_rad=np.radians(50.0),
)


def recording(*, shots_at_s=(), goals=(), frame_stamps_s=(), arrived_after_s=0.05, truth=None):
    captured = np.asarray(frame_stamps_s, dtype=float)
    return Recording(
        name="run",
        sensor_names=("front",),
        odometry=Odometry(stamps_s=STAMPS_S, twists=np.zeros((ROWS, 3))),
        frames=Frames(
            sensor=np.zeros(len(captured)),
            captured_at_s=captured,
            arrived_at_s=captured + arrived_after_s,
        ),
        sightings=Sightings(
            kind=SightingKind.CORNERS,
            frame=np.arange(len(captured)),
            id=np.zeros(len(captured)),
            values=np.zeros((len(captured), 8)),
        ),
        shots=Shots(stamps_s=np.asarray(shots_at_s, dtype=float), goals=tuple(goals)),
        truth=truth,
        dropped_frame_count=3,
    )


def estimate(poses, *, cov=None, outcomes=(), nis=None, dof=3):
    count = len(outcomes)
    return Estimate(
        stamps_s=STAMPS_S,
        poses=np.broadcast_to(poses, (ROWS, 3)).copy(),
        covs=np.broadcast_to(np.eye(3) * 0.01 if cov is None else cov, (ROWS, 3, 3)).copy(),
        innovations=Innovations(
            frame=np.arange(count),
            sighting=np.arange(count),
            outcome=np.array(outcomes, dtype=np.int64),
            nis=np.full(count, 3.0) if nis is None else np.asarray(nis, dtype=float),
            dof=np.full(count, dof),
        ),
    )


def standing_truth(pose, *, has_heading=True):
    return Truth(
        stamps_s=STAMPS_S, poses=np.broadcast_to(pose, (ROWS, 3)).copy(), has_heading=has_heading
    )


def test_an_estimate_too_near_the_goal_has_a_negative_bias():
    run = recording(shots_at_s=[100.5, 101.0], goals=["east", "west"])
    card = score(
        run,
        estimate=estimate([8.1, 3.0, 0.1]),
        truth=standing_truth([8.0, 3.0, 0.0]),
        arena=ARENA,
        goal="east",
        shooter=SHOOTER,
    )
    assert card.whole_course.distance_m.bias == pytest.approx(-0.1)
    assert card.whole_course.distance_m.rms == pytest.approx(0.1)
    assert card.whole_course.distance_m.p95 == pytest.approx(0.1)
    assert card.whole_course.bearing_rad.bias == pytest.approx(-0.1)
    assert card.whole_course.heading_rad.rms == pytest.approx(0.1)
    assert card.whole_course.position_rms_m == pytest.approx(0.1)
    assert card.shots.distance_error_m == pytest.approx([-0.1, 0.1])
    expected = pivot_error_rad(3.9, 4.0, shooter=SHOOTER, goal=ARENA.goal("east"))
    assert card.shots.pivot_error_rad[0] == pytest.approx(float(expected))
    assert card.dropped_frame_count == 3


def test_a_goal_out_of_reach_is_counted_and_left_out_of_the_pivot_error():
    card = score(
        recording(shots_at_s=[100.5, 101.0], goals=["east", "west"]),
        estimate=estimate([8.1, 3.0, 0.0]),
        truth=standing_truth([8.0, 3.0, 0.0]),
        arena=ARENA,
        shooter=SHOOTER,
    )
    # the west goal is 7 m away; 9 m/s reach 7.0 m at the same height, less 1.2 m higher
    assert card.at_shots.unreachable_count == 1
    assert card.at_shots.scored_count == 2
    assert np.isnan(card.shots.pivot_error_rad).tolist() == [False, True]
    assert card.whole_course.distance_m is None
    assert card.whole_course.unreachable_count is None


def test_a_shot_is_scored_at_the_last_row_not_after_it():
    run = recording(shots_at_s=[100.0, 100.019, 100.02, 102.0], goals=["east"] * 4)
    assert shot_rows(run).tolist() == [0, 0, 1, 100]


@pytest.mark.parametrize("at_s", [99.9, 102.1])
def test_a_shot_outside_the_odometry_is_refused(at_s):
    with pytest.raises(InputError, match="must lie within the odometry"):
        shot_rows(recording(shots_at_s=[at_s], goals=["east"]))


def test_bearings_wrap_and_do_not_depend_on_whole_turns():
    behind = np.array([8.0, 3.0, np.pi - 0.01])
    card = score(
        recording(),
        estimate=estimate([8.0, 3.0, -np.pi + 0.01]),
        truth=standing_truth(np.add(behind, [0.0, 0.0, 4.0 * np.pi])),
        arena=ARENA,
        goal="west",
    )
    assert card.whole_course.heading_rad.bias == pytest.approx(0.02)
    assert card.whole_course.bearing_rad.bias == pytest.approx(-0.02)
    assert card.at_shots is None
    assert card.shots is None


def test_scores_stay_when_the_world_is_moved_and_turned():
    generator = np.random.default_rng(3)
    truth = np.column_stack([generator.uniform(2, 8, (ROWS, 2)), generator.uniform(-3, 3, ROWS)])
    off = generator.normal(size=(ROWS, 3)) * 0.1
    cov = np.array([[0.02, 0.004, 0.001], [0.004, 0.01, -0.002], [0.001, -0.002, 0.005]])
    turn, shift = 0.7, np.array([20.0, -3.0])
    rotation = Rotation.from_euler("z", turn).as_matrix()

    def moved(poses):
        return np.column_stack([poses[:, :2] @ rotation[:2, :2].T + shift, poses[:, 2] + turn])

    def card_of(true_poses, poses, covs, arena):
        return score(
            recording(shots_at_s=[100.51], goals=["east"]),
            estimate=estimate(poses, cov=covs),
            truth=Truth(stamps_s=STAMPS_S, poses=true_poses),
            arena=arena,
            goal="west",
            shooter=SHOOTER,
            bound_covs=np.broadcast_to(covs, (ROWS, 3, 3)),
        )

    goals = tuple(goal(g.name, *(rotation[:2, :2] @ g.xy_in_world_m + shift)) for g in ARENA.goals)
    there = Arena(name="moved", length_m=99.0, width_m=99.0, goals=goals)
    card = card_of(truth, truth + off, cov, ARENA)
    other = card_of(moved(truth), moved(truth + off), rotation @ cov @ rotation.T, there)
    for span in ("whole_course", "at_shots"):
        one, two = getattr(card, span), getattr(other, span)
        for name in ("distance_m", "bearing_rad", "heading_rad"):
            assert getattr(one, name).rms == pytest.approx(getattr(two, name).rms, rel=1e-9)
        assert one.nees.mean == pytest.approx(two.nees.mean, rel=1e-9)
        assert one.distance_bound_rms_m == pytest.approx(two.distance_bound_rms_m, rel=1e-9)


@pytest.mark.parametrize("width", [2, 3])
def test_nees_is_the_quadratic_form_numpy_solves(width):
    generator = np.random.default_rng(1)
    roots = generator.normal(size=(50, 3, 3))
    covs = roots @ np.swapaxes(roots, 1, 2) + 0.01 * np.eye(3)
    errors = generator.normal(size=(50, width))
    block = covs[:, :width, :width]
    wanted = np.einsum("ni,ni->n", errors, np.linalg.solve(block, errors[..., None])[..., 0])
    assert nees_of(errors, covs) == pytest.approx(wanted, rel=1e-9)


def test_nees_of_consistent_draws_averages_to_its_degrees_of_freedom():
    generator = np.random.default_rng(2)
    cov = np.array([[0.02, 0.004, 0.001], [0.004, 0.01, -0.002], [0.001, -0.002, 0.005]])
    errors = generator.multivariate_normal(np.zeros(3), cov, size=ROWS)
    truth = standing_truth([8.0, 3.0, 0.0])
    card = score(
        recording(), estimate=estimate(truth.poses + errors, cov=cov), truth=truth, arena=ARENA
    )
    assert card.whole_course.nees.dof == 3
    assert card.whole_course.nees.mean == pytest.approx(3.0, abs=0.6)
    assert card.whole_course.nees.inside_share == pytest.approx(0.95, abs=0.06)


def test_a_start_known_exactly_has_no_nees_and_is_left_out_of_it():
    run = estimate([8.1, 3.0, 0.0])
    run.covs[0] = 0.0
    card = score(recording(), estimate=run, truth=standing_truth([8.0, 3.0, 0.0]), arena=ARENA)
    assert card.whole_course.nees.count == ROWS - 1
    assert card.whole_course.nees.mean == pytest.approx(1.0)


def test_truth_without_a_heading_scores_positions_alone():
    card = score(
        recording(shots_at_s=[100.5], goals=["east"]),
        estimate=estimate([8.1, 3.0, 2.0]),
        truth=standing_truth([8.0, 3.0, 0.0], has_heading=False),
        arena=ARENA,
        goal="east",
    )
    for span in (card.whole_course, card.at_shots):
        assert span.heading_rad is None
        assert span.bearing_rad is None
        assert span.distance_m.bias == pytest.approx(-0.1)
        assert span.nees.dof == 2
        assert span.nees.mean == pytest.approx(1.0)


def test_without_truth_there_remain_coverage_innovations_and_counts():
    run = recording(shots_at_s=[100.5, 101.5], goals=["east", "east"], frame_stamps_s=[100.2])
    card = score(
        run,
        estimate=estimate([8.0, 3.0, 0.0], outcomes=[Outcome.FUSED]),
        truth=None,
        arena=ARENA,
        goal="east",
        bound_covs=np.zeros((ROWS, 3, 3)),
    )
    assert card.whole_course.scored_count == 0
    assert card.whole_course.count == ROWS
    assert card.whole_course.distance_m is None
    assert card.whole_course.position_rms_m is None
    assert card.whole_course.nees is None
    assert card.whole_course.distance_bound_rms_m is None
    assert card.at_shots.no_update_share == 0.5
    assert card.outcomes["fused"] == 1


def test_the_age_of_a_tag_counts_from_capture_once_it_has_arrived():
    run = recording(frame_stamps_s=[100.2, 100.4, 100.6], arrived_after_s=0.1)
    fused = estimate([8.0, 3.0, 0.0], outcomes=[Outcome.FUSED, Outcome.GATED, Outcome.FUSED])
    age = seconds_since_update(run, fused, np.array([100.29, 100.31, 100.55, 100.69, 100.71]))
    assert age == pytest.approx([np.inf, 0.11, 0.35, 0.49, 0.11])


def test_a_late_older_frame_does_not_make_the_newest_tag_older():
    run = recording(frame_stamps_s=[100.2, 100.3])
    run.frames.arrived_at_s.setflags(write=True)
    run.frames.arrived_at_s[:] = [100.6, 100.35]
    fused = estimate([8.0, 3.0, 0.0], outcomes=[Outcome.FUSED, Outcome.FUSED])
    assert seconds_since_update(run, fused, np.array([100.7])) == pytest.approx([0.4])


def test_innovations_are_grouped_by_their_number_of_rows():
    run = recording(frame_stamps_s=100.0 + 0.1 * np.arange(5))
    fused = estimate(
        [8.0, 3.0, 0.0],
        outcomes=[Outcome.FUSED, Outcome.GATED, Outcome.FUSED, Outcome.TOO_LATE, Outcome.FUSED],
        nis=[2.0, 20.0, 2.0, np.nan, 4.0],
    )
    (nis,) = score(run, estimate=fused, truth=None, arena=ARENA).nis
    assert (nis.dof, nis.count, nis.mean, nis.gated_share) == (3, 4, 7.0, 0.25)
    assert nis.interval is None


def test_the_bound_is_projected_on_the_direction_to_the_goal():
    card = score(
        recording(),
        estimate=estimate([8.0, 3.0, 0.0]),
        truth=standing_truth([8.0, 3.0, 0.0]),
        arena=ARENA,
        goal="east",
        bound_covs=np.broadcast_to(np.diag([0.04, 9.0, 1.0]), (ROWS, 3, 3)),
    )
    assert card.whole_course.distance_bound_rms_m == pytest.approx(0.2)


def test_truth_is_interpolated_unwrapped_and_not_beyond_its_ends_or_gaps():
    truth = Truth(
        stamps_s=np.array([1.0, 2.0, 4.0]),
        poses=np.array([[0.0, 0.0, 3.1], [2.0, 4.0, -3.1], [9.0, 9.0, 0.0]]),
    )
    poses = truth_at(truth, np.array([0.9, 1.0, 1.5, 2.0, 3.0, 4.0, 4.1]))
    assert np.isnan(poses[:, 0]).tolist() == [True, False, False, False, True, False, True]
    assert poses[2] == pytest.approx([1.0, 2.0, np.pi])


def test_rows_without_truth_are_not_scored_and_can_be_counted():
    half = Truth(stamps_s=STAMPS_S[:51], poses=np.tile([8.0, 3.0, 0.0], (51, 1)))
    card = score(
        recording(shots_at_s=[100.5, 101.5], goals=["east", "east"]),
        estimate=estimate([8.1, 3.0, 0.0]),
        truth=half,
        arena=ARENA,
    )
    assert (card.whole_course.count, card.whole_course.scored_count) == (ROWS, 51)
    assert (card.at_shots.count, card.at_shots.scored_count) == (2, 1)
    assert np.isnan(card.shots.distance_error_m).tolist() == [False, True]


def test_errors_along_the_course_are_there_for_plots():
    errors = instant_errors(
        np.arange(ROWS),
        estimate=estimate([8.1, 3.0, 0.0]),
        truth=standing_truth([8.0, 3.0, 0.0]),
        goals=(ARENA.goal("east"),),
    )
    assert errors.goals == ("east",)
    assert errors.true_distance_m == pytest.approx(np.full(ROWS, 4.0))
    assert errors.distance_error_m == pytest.approx(np.full(ROWS, -0.1))
    assert np.isnan(errors.pivot_error_rad).all()


def test_an_estimate_of_another_run_and_unknown_goals_are_refused():
    other = estimate([8.0, 3.0, 0.0])
    object.__setattr__(other, "stamps_s", STAMPS_S[:-1])
    with pytest.raises(InputError, match="100 stamps are not those of the odometry of 'run'"):
        score(recording(), estimate=other, truth=None, arena=ARENA)
    with pytest.raises(InputError, match="no goal is named 'north'"):
        score(
            recording(),
            estimate=estimate([8.0, 3.0, 0.0]),
            truth=None,
            arena=ARENA,
            goal="north",
        )
    with pytest.raises(InputError, match="bound covariances: shape"):
        score(
            recording(),
            estimate=estimate([8.0, 3.0, 0.0]),
            truth=None,
            arena=ARENA,
            bound_covs=np.zeros((3, 3)),
        )


@pytest.mark.parametrize("count", [1, 2, 20, 21, 1000])
def test_the_95th_percentile_is_numpys(count):
    errors = np.random.default_rng(count).normal(size=ROWS)
    errors[count:] = np.nan
    poses = np.tile([8.0, 3.0, 0.0], (ROWS, 1))
    run = estimate(poses + np.column_stack([errors, np.zeros((ROWS, 2))]))
    keep = standing_truth([8.0, 3.0, 0.0])
    card = score(recording(), estimate=run, truth=keep, arena=ARENA, goal="east")
    wanted = np.percentile(np.abs(errors[:count]), 95.0)
    assert card.whole_course.distance_m.p95 == pytest.approx(wanted, abs=1e-12)
