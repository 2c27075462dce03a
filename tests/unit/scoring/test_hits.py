"""Expected hits of shots whose errors are known by construction."""

from dataclasses import replace

import numpy as np
import pytest

from posefuse.aim.aim import prepare_aim
from posefuse.aim.arcs import Arc
from posefuse.aim.hit_probability import hit_probability
from posefuse.aim.shots import Shots
from posefuse.arena.arena import Arena, Goal
from posefuse.fusion.estimate import Estimate, Innovations
from posefuse.geometry.plane import PlanePose, arc_motion
from posefuse.recording.recording import Frames, Odometry, Recording, SightingKind, Sightings, Truth
from posefuse.recording.recording import Shots as ShotTimes
from posefuse.robot.shooter import Projectile, Shooter, ShooterSpread
from posefuse.scoring.score import score
from posefuse.scoring.score_rows import score_rows
from posefuse.scoring.shot_hits import believed_motions, can_miss, true_motions

ROWS = 101
STAMPS_S = 5.0 + 0.02 * np.arange(ROWS)
SHOTS_S = [5.5, 6.0, 6.5]


def crate(name, x_m, facing_rad):
    return Goal(
        name=name,
        centre_in_world_m=np.array([x_m, 3.0, 1.6]),
        width_m=1.2,
        height_m=0.6,
        facing_rad=facing_rad,
    )


EAST, WEST = crate("east", 12.7, np.pi), crate("west", 0.5, 0.0)
ARENA = Arena(name="court", length_m=13.2, width_m=6.6, goals=(EAST, WEST))
SHOOTER = Shooter(
    release_in_robot_m=np.array([0.15, 0.0, 0.6]),
    exit_speed_m_per_s=9.0,
    pivot_low_rad=np.radians(15.0),
    pivot_high_rad=np.radians(75.0),
    projectile=Projectile(mass_kg=0.06, diameter_m=0.1),
    spread=ShooterSpread(
        exit_speed_std_m_per_s=0.2, side_std_rad=0.01, zero_std_rad=0.005, backlash_rad=0.005
    ),
    release_delay_s=0.08,
    release_delay_std_s=0.01,
)


def driven(twist=(0.0, 0.0, 0.0), *, start=(8.0, 3.5, 0.0)):
    """True poses of a drive with one twist in every row."""
    poses = [PlanePose(start)]
    for _ in range(ROWS - 1):
        poses.append(poses[-1] @ arc_motion(twist))
    return np.array([pose.values for pose in poses])


def scored(true_poses, *, error=(0.0, 0.0, 0.0), twist=(0.0, 0.0, 0.0), goals=("east",) * 3, **kw):
    twists = np.tile(twist, (ROWS, 1))
    twists[0] = 0.0
    truth = Truth(stamps_s=STAMPS_S, poses=true_poses, has_heading=kw.pop("has_heading", True))
    recording = Recording(
        name="run",
        sensor_names=("front",),
        odometry=Odometry(stamps_s=STAMPS_S, twists=twists),
        frames=Frames(sensor=[], captured_at_s=[], arrived_at_s=[]),
        sightings=Sightings(kind=SightingKind.CORNERS, frame=[], id=[], values=np.zeros((0, 8))),
        truth=truth if kw.pop("has_truth", True) else None,
        shots=ShotTimes(stamps_s=np.array(SHOTS_S), goals=tuple(goals)),
    )
    none = np.zeros(0, dtype=np.int64)
    estimate = Estimate(
        stamps_s=STAMPS_S,
        poses=true_poses + np.asarray(error),
        covs=np.tile(0.01 * np.eye(3), (ROWS, 1, 1)),
        innovations=Innovations(frame=none, sighting=none, outcome=none, nis=np.zeros(0), dof=none),
    )
    return score(
        recording,
        estimate=estimate,
        truth=recording.truth,
        arena=ARENA,
        shooter=kw.pop("shooter", SHOOTER),
    )


def test_a_shot_at_rest_is_judged_by_its_own_error():
    error = [-0.5, 0.05, 0.08]
    hits = scored(driven(), error=error, goals=["east", "west", "east"]).hits
    for place, goal in ((0, EAST), (1, WEST)):
        aim = prepare_aim(SHOOTER, goal)
        expected = hit_probability(Shots.at([[8.0, 3.5]], error_means=error), aim=aim)
        assert hits.shares[place] == pytest.approx(expected[0])
        perfect = hit_probability(Shots.at([[8.0, 3.5]]), aim=aim)
        assert hits.perfect_shares[place] == pytest.approx(perfect[0])
    assert hits.shares[0] < 0.9 < hits.perfect_shares[0]
    assert not hits.is_moving.any()
    assert (hits.stopped_shares == hits.shares).all()
    assert (hits.unled_shares == hits.shares).all()


def test_far_from_the_low_arcs_pivots_the_robot_takes_the_high_arc():
    steep = replace(SHOOTER, pivot_low_rad=np.radians(50.0))
    hits = scored(driven(), shooter=steep).hits
    aim = prepare_aim(steep, EAST, arc=Arc.HIGH)
    expected = hit_probability(Shots.at([[8.0, 3.5]]), aim=aim)
    assert hits.shares == pytest.approx(np.repeat(expected, 3))
    assert (expected > 0.2).all()


def test_on_the_move_the_lead_counts_and_so_does_the_delay():
    twist = np.array([0.03, 0.01, 0.01])  # 1.5 m/s forward, 0.5 m/s left, 0.5 rad/s
    poses = driven(twist, start=(7.0, 2.5, 0.1))
    hits = scored(poses, twist=twist).hits
    assert hits.is_moving.all()
    # the velocity of a body with a constant twist: along its heading at that instant
    row = 50
    c, s = np.cos(poses[row, 2]), np.sin(poses[row, 2])
    motion = np.array([1.5 * c - 0.5 * s, 1.5 * s + 0.5 * c, 0.5])
    position = poses[row, :2] + 0.08 * motion[:2]
    aim = prepare_aim(SHOOTER, EAST)
    expected = hit_probability(Shots.at([position], motions=motion), aim=aim)[0]
    assert hits.shares[1] == pytest.approx(expected, abs=2e-3)
    assert hits.perfect_shares[1] == pytest.approx(expected, abs=2e-3)
    rest = hit_probability(Shots.at([position]), aim=aim)[0]
    assert hits.stopped_shares[1] == pytest.approx(rest)
    assert (hits.unled_shares < 0.6).all()


def test_wheels_that_over_read_cost_hits_on_the_move_only():
    twist = np.array([0.05, 0.0, 0.0])
    poses = driven(twist, start=(9.0, 0.8, np.pi / 2))
    right, wrong = scored(poses, twist=twist).hits, scored(poses, twist=1.3 * twist).hits
    assert (wrong.shares < right.shares).all()
    assert wrong.shares[2] < 0.2 < 0.9 < right.shares[2]
    assert wrong.stopped_shares == pytest.approx(right.stopped_shares)
    assert wrong.perfect_shares == pytest.approx(right.perfect_shares)


def test_motions_at_a_constant_twist():
    twist = np.array([0.02, -0.01, 0.03])
    poses = driven(twist)
    rows = np.array([0, 40, ROWS - 1])
    c, s = np.cos(poses[rows, 2]), np.sin(poses[rows, 2])
    expected = np.stack([c + 0.5 * s, s - 0.5 * c, np.full(3, 1.5)], axis=-1)
    found = true_motions(poses, STAMPS_S, rows)
    assert found[1] == pytest.approx(expected[1], abs=2e-3)
    assert found == pytest.approx(expected, abs=0.04)  # from one side only at the ends
    assert (true_motions(driven([1e-6, 0.0, 0.0]), STAMPS_S, rows) == 0.0).all()


def test_wheels_that_hardly_turn_mean_rest():
    twists = np.zeros((ROWS, 3))
    twists[1:] = [0.0003, 0.0, -0.0002]  # 1.5 cm/s
    odometry = Odometry(stamps_s=STAMPS_S, twists=twists)
    still = scored(driven())
    estimate = Estimate(
        stamps_s=STAMPS_S,
        poses=driven(),
        covs=np.tile(np.eye(3), (ROWS, 1, 1)),
        innovations=Innovations(
            frame=np.zeros(0, dtype=np.int64),
            sighting=np.zeros(0, dtype=np.int64),
            outcome=np.zeros(0, dtype=np.int64),
            nis=np.zeros(0),
            dof=np.zeros(0, dtype=np.int64),
        ),
    )
    assert (believed_motions(estimate, odometry, np.array([0, 5])) == 0.0).all()
    faster = Odometry(stamps_s=STAMPS_S, twists=2.0 * twists)
    assert believed_motions(estimate, faster, np.array([5]))[0, 0] == pytest.approx(0.03)
    assert still.hits.shares == pytest.approx(
        scored(driven(), twist=[0.0003, 0.0, -0.0002]).hits.shares
    )


def test_a_goal_out_of_reach_is_never_hit():
    weak = replace(SHOOTER, exit_speed_m_per_s=3.0)
    hits = scored(driven(), shooter=weak).hits
    assert (hits.shares == 0.0).all()
    assert (hits.perfect_shares == 0.0).all()


@pytest.mark.parametrize(
    "changes",
    [
        {"shooter": None},
        {"shooter": replace(SHOOTER, projectile=None, spread=ShooterSpread())},
        {"has_truth": False},
        {"has_heading": False},
    ],
)
def test_nothing_is_scored_where_too_little_is_known(changes):
    card = scored(driven(), **changes)
    assert card.hits is None
    assert not [row for row in score_rows(card) if "hits" in row.figure]


def test_what_can_miss():
    point = replace(SHOOTER, projectile=None)
    assert can_miss(SHOOTER)
    assert can_miss(point)
    assert not can_miss(replace(point, spread=ShooterSpread()))
    assert not can_miss(None)


def test_the_scores_tell_hits_per_100():
    twist = np.array([0.03, 0.0, 0.0])
    card = scored(driven(twist, start=(7.0, 3.0, 0.0)), twist=twist)
    rows = {row.figure: row.value for row in score_rows(card) if row.span == "shots"}
    assert rows["hits_per_100"] == pytest.approx(100.0 * card.hits.shares.mean())
    assert rows["perfect_hits_per_100"] == pytest.approx(100.0 * card.hits.perfect_shares.mean())
    assert rows["moving_led_hits_per_100"] == rows["hits_per_100"]
    assert rows["moving_stopped_hits_per_100"] > rows["moving_unled_hits_per_100"]
