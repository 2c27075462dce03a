"""Hit probability: the integral against drawing, and what both must not depend on."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import multivariate_normal

from posefuse.aim.aim import prepare_aim
from posefuse.aim.arcs import solve
from posefuse.aim.compiled.rectangle import rectangle_shares
from posefuse.aim.flight import fly_ahead
from posefuse.aim.hit_probability import enough_distance_std_m, hit_probability, simulate_hits
from posefuse.aim.shots import Shots
from posefuse.aim.tolerance import tolerance_band
from posefuse.arena.arena import Goal
from posefuse.errors import InputError
from posefuse.robot.shooter import ShooterSpread

DISTANCES = [2.0, 3.0, 4.0, 5.0, 6.0]


def pose_covs(goal, positions, sight_std_m, across_std_m, heading_std_rad, correlation=0.0):
    """Covariances with an error along the sight that goes with one of the heading."""
    away = positions - goal.xy_in_world_m
    away = away / np.linalg.norm(away, axis=-1, keepdims=True)
    covs = np.zeros((len(positions), 3, 3))
    for i, (c, s) in enumerate(away):
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        local = np.diag([sight_std_m**2, across_std_m**2, heading_std_rad**2])
        local[1, 2] = local[2, 1] = correlation * across_std_m * heading_std_rad
        covs[i] = turn @ local @ turn.T
    return covs


@pytest.mark.parametrize("approach", [0.0, 0.7])
@pytest.mark.parametrize("scale", [0.0, 1.0, 3.0])
def test_the_integral_agrees_with_drawing_within_a_hundredth(shooter, goal, approach, scale):
    aim = prepare_aim(shooter, goal)
    positions = aim.positions_m(np.array(DISTANCES), approach_rad=approach)
    covs = pose_covs(goal, positions, 0.06 * scale, 0.05 * scale, 0.012 * scale, correlation=-0.5)
    shots = Shots.at(positions, error_covs=covs)
    drawn = simulate_hits(shots, aim=aim, count=20000, seed=5)
    # the drawing itself is known to about 0.003 (one standard error)
    assert np.abs(hit_probability(shots, aim=aim) - drawn.shares).max() < 0.01 + 0.009


def test_the_integral_agrees_with_drawing_on_the_move(shooter, goal):
    aim = prepare_aim(shooter, goal)
    positions = aim.positions_m(np.array([3.0, 4.5]))
    covs = np.zeros((2, 6, 6))
    covs[:, :3, :3] = pose_covs(goal, positions, 0.05, 0.05, 0.01)
    covs[:, 3:, 3:] = np.diag([0.2**2, 0.2**2, 0.1**2])
    shots = Shots.at(positions, motions=[1.0, 2.0, 0.8], error_covs=covs)
    drawn = simulate_hits(shots, aim=aim, count=4000, seed=6)
    assert np.abs(hit_probability(shots, aim=aim) - drawn.shares).max() < 0.01 + 0.02


def test_the_share_of_a_rectangle_is_scipys():
    # scipy.stats.multivariate_normal integrates by another method (Genz)
    rng = np.random.default_rng(2)
    moments = np.zeros((60, 7))
    for row in moments:
        root = rng.normal(size=(2, 2)) * rng.choice([0.01, 0.1, 1.0], size=(2, 1))
        cov = root @ root.T
        row[:] = [*rng.normal(size=2) * 0.3, cov[0, 0], cov[0, 1], cov[1, 1], 0.6, 0.3]
    shares = np.empty(60)
    rectangle_shares(moments, shares)
    for m, share in zip(moments, shares, strict=True):
        law = multivariate_normal(m[:2], [[m[2], m[3]], [m[3], m[4]]])
        expected = law.cdf(m[5:], lower_limit=-m[5:])
        assert share == pytest.approx(expected, abs=2e-5)


def test_rectangles_without_a_spread_are_all_or_nothing():
    moments = np.array(
        [
            [0.1, 0.1, 0.0, 0.0, 0.0, 0.6, 0.3],
            [0.7, 0.1, 0.0, 0.0, 0.0, 0.6, 0.3],
            [0.0, 0.3, 0.0, 0.0, 0.04, 0.6, 0.3],  # half of a normal around the edge
            [0.6, 0.0, 0.04, 0.0, 0.0, 0.6, 0.3],
            [0.0, 0.0, 0.09, 0.09, 0.09, 0.6, 0.3],  # up is right: one standard deviation
            [0.0, 0.0, 0.01, 0.0, 0.01, 0.6, -0.1],  # no room left at this slant
            [np.nan, 0.0, 0.01, 0.0, 0.01, 0.6, 0.3],
        ]
    )
    shares = np.empty(len(moments))
    rectangle_shares(moments, shares)
    assert shares == pytest.approx([1, 0, 0.49865, 0.5, 0.682689, 0, 0], abs=2e-4)


def test_a_perfect_shooter_with_a_perfect_estimate_always_hits(exact_shooter, goal):
    aim = prepare_aim(exact_shooter, goal)
    shots = Shots.straight_ahead(DISTANCES, goal=goal)
    assert (hit_probability(shots, aim=aim) == 1.0).all()
    assert (simulate_hits(shots, aim=aim, count=3, seed=0).hits == 3).all()


def test_errors_of_the_estimate_cost_hits_and_taking_them_off_gives_them_back(shooter, goal):
    aim = prepare_aim(shooter, goal)
    wrong = Shots.straight_ahead(
        DISTANCES, goal=goal, distance_std_m=0.3, across_std_m=0.2, heading_std_rad=0.05
    )
    perfect = hit_probability(wrong.without_errors(), aim=aim)
    assert (hit_probability(wrong, aim=aim) < perfect).all()
    assert perfect == pytest.approx(
        hit_probability(Shots.straight_ahead(DISTANCES, goal=goal), aim=aim)
    )


def test_a_spread_to_the_side_alone_is_a_normal_between_the_posts(exact_shooter, goal):
    # thrown from the robot's middle, a side error is a heading error: the band's ends are exact
    middle = replace(
        exact_shooter, release_in_robot_m=np.array([0.0, 0.0, 0.6]), spin_rad_per_s=0.0
    )
    aim = prepare_aim(replace(middle, spread=ShooterSpread(side_std_rad=0.06)), goal)
    band = tolerance_band(aim, [3.0, 5.0])
    expected = ndtr(band.left_rad / 0.06) - ndtr(-band.right_rad / 0.06)
    shots = Shots.straight_ahead([3.0, 5.0], goal=goal)
    assert hit_probability(shots, aim=aim) == pytest.approx(expected, abs=5e-3)
    low, high = simulate_hits(shots, aim=aim, count=40000, seed=4).bounds(level=0.999).T
    assert ((low < expected) & (expected < high)).all()


def test_backlash_counts_by_the_variance_of_an_even_spread(exact_shooter, goal):
    # an even spread of full width w has the variance w^2 / 12 (any statistics text)
    play = 0.18
    normal = play / np.sqrt(12.0)
    shots = Shots.straight_ahead([4.0, 5.5], goal=goal)
    shares = [
        hit_probability(shots, aim=prepare_aim(replace(exact_shooter, spread=spread), goal))
        for spread in (
            ShooterSpread(backlash_rad=play),
            ShooterSpread(zero_std_rad=float(normal)),
        )
    ]
    assert (shares[0] < 0.99).all()
    assert shares[0] == pytest.approx(shares[1], abs=1e-12)


def test_a_pivot_in_steps_is_a_grid_and_no_spread(exact_shooter, goal):
    """Without any other error a shot hits where the step nearest to its pivot does, or misses."""
    step = np.radians(10.0)
    aim = prepare_aim(replace(exact_shooter, spread=ShooterSpread(resolution_rad=step)), goal)
    distances = np.linspace(2.5, 6.0, 36)
    shots = Shots.straight_ahead(distances, goal=goal)
    shares = hit_probability(shots, aim=aim)
    assert set(shares) == {0.0, 1.0}
    np.testing.assert_array_equal(simulate_hits(shots, aim=aim, count=3, seed=1).shares, shares)
    wanted = solve(distances, shooter=exact_shooter, height_m=1.6).pivot_rad[0]
    low = exact_shooter.pivot_low_rad
    pivots = low + step * np.round((wanted - low) / step)
    scores = [
        _scores_with(exact_shooter, goal, pivot, from_m=distance)
        for pivot, distance in zip(pivots, distances, strict=True)
    ]
    np.testing.assert_array_equal(shares, scores)


@pytest.mark.parametrize("motion", [(0.0, 0.0, 0.0), (1.0, -1.5, 0.3)])
@pytest.mark.parametrize("step_deg", [0.2, 1.0, 3.0, 8.0])
@pytest.mark.parametrize("sight_std_m", [0.0, 0.02, 0.3])
def test_steps_are_the_same_to_the_integral_as_to_the_draws(
    exact_shooter, goal, sight_std_m, step_deg, motion
):
    spread = ShooterSpread(
        resolution_rad=np.radians(step_deg), exit_speed_std_m_per_s=0.03, side_std_rad=0.005
    )
    aim = prepare_aim(
        replace(exact_shooter, spread=spread, release_delay_s=0.08, release_delay_std_s=0.01), goal
    )
    positions = aim.positions_m(np.array([3.1, 4.2, 5.3]))
    covs = np.zeros((3, 6, 6))
    covs[:, :3, :3] = pose_covs(goal, positions, sight_std_m, 0.03, 0.01)
    if any(motion):
        covs[:, 3:, 3:] = np.diag([0.05**2, 0.05**2, 0.02**2])
    shots = Shots.at(positions, motions=list(motion), error_covs=covs)
    drawn = simulate_hits(shots, aim=aim, count=4000, seed=6)
    # the drawing itself is known to about 0.008 (one standard error)
    assert np.abs(hit_probability(shots, aim=aim) - drawn.shares).max() < 0.01 + 0.025


def test_backlash_is_drawn_evenly_over_its_width(exact_shooter, goal):
    aim = prepare_aim(replace(exact_shooter, spread=ShooterSpread(backlash_rad=0.2)), goal)
    shots = Shots.straight_ahead([4.0], goal=goal)
    (middle,) = solve(np.array([4.0]), shooter=exact_shooter, height_m=1.6).pivot_rad[0]
    pivots = middle + np.linspace(-0.1, 0.1, 2001)  # all that the play allows, each as likely
    scores = [_scores_with(exact_shooter, goal, pivot) for pivot in pivots]
    assert 0.2 < np.mean(scores) < 0.9
    drawn = simulate_hits(shots, aim=aim, count=40000, seed=8).shares
    assert drawn == pytest.approx(np.mean(scores), abs=0.01)  # 4 standard errors


def _scores_with(shooter, goal, pivot_rad, *, from_m=4.0):
    """Whether a throw straight ahead goes in: by the compiled flight and by hand."""
    flown = fly_ahead(shooter, np.array([pivot_rad]), np.array([[from_m]]), floor_m=0.0)
    height_m = float(flown.points_m[0, 0, 2])
    ahead, _, up = flown.velocities_m_per_s[0, 0]
    room_m = goal.height_m / 2 - shooter.projectile.diameter_m / 2 * np.hypot(1.0, up / ahead)
    return abs(height_m - float(goal.centre_in_world_m[2])) <= room_m


@pytest.mark.parametrize("heading_std", [0.5, 1.0, 3.0])
def test_huge_errors_leave_a_share_not_a_hole(shooter, goal, heading_std):
    aim = prepare_aim(shooter, goal)
    shots = Shots.straight_ahead([2.0, 4.0], goal=goal, heading_std_rad=heading_std)
    shares = hit_probability(shots, aim=aim)
    drawn = simulate_hits(shots, aim=aim, count=4000, seed=1).shares
    assert ((shares >= 0.0) & (shares < 1.0)).all()
    assert np.abs(shares - drawn).max() < 0.25


def test_a_known_error_is_judged_by_itself(shooter, goal):
    aim = prepare_aim(shooter, goal)
    at = aim.positions_m(np.array([4.0, 4.0]))
    shares = hit_probability(Shots.at(at, error_means=[[0, 0, 0.0], [0, 0, 0.2]]), aim=aim)
    assert shares[0] > 0.99
    assert shares[1] < 0.01


def test_luck_is_shared_and_does_not_depend_on_workers_or_on_how_much_is_drawn(shooter, goal):
    aim = prepare_aim(shooter, goal)
    shots = Shots.straight_ahead([2.0, 5.5, 6.5], goal=goal, distance_std_m=0.2)
    one = simulate_hits(shots, aim=aim, count=500, seed=7, workers=1)
    three = simulate_hits(shots, aim=aim, count=500, seed=7, workers=3)
    assert (one.hits == three.hits).all()
    assert (simulate_hits(shots, aim=aim, count=500, seed=8).hits != one.hits).any()
    shares = hit_probability(shots, aim=aim)
    assert (hit_probability(shots, aim=aim, workers=2) == shares).all()
    with pytest.raises(InputError, match="workers: must be 1 or more"):
        hit_probability(shots, aim=aim, workers=0)
    first = simulate_hits(shots, aim=aim, count=200, seed=7).hits
    assert (first <= one.hits).all()
    assert one.bounds().shape == (3, 2)
    assert ((one.bounds()[:, 0] <= one.shares) & (one.shares <= one.bounds()[:, 1])).all()


def test_turning_and_moving_the_world_changes_nothing(shooter, goal):
    turn, shift = 1.1, np.array([-3.0, 5.0])
    c, s = np.cos(turn), np.sin(turn)
    rotation = np.array([[c, -s], [s, c]])
    turned_goal = Goal(
        name="turned",
        centre_in_world_m=np.append(rotation @ goal.xy_in_world_m + shift, 1.6),
        width_m=goal.width_m,
        height_m=goal.height_m,
        facing_rad=goal.facing_rad + turn,
    )
    aim, turned_aim = prepare_aim(shooter, goal), prepare_aim(shooter, turned_goal)
    positions = aim.positions_m(np.array([3.0, 5.5]), approach_rad=0.5)
    full = np.random.default_rng(3).normal(size=(2, 6, 6)) * 0.05
    covs = full @ np.swapaxes(full, -1, -2)
    big = np.eye(6)
    big[:2, :2] = big[3:5, 3:5] = rotation
    motions = np.array([[0.5, -1.0, 0.3]] * 2)
    shots = Shots.at(positions, motions=motions, error_covs=covs)
    turned = Shots.at(
        positions @ rotation.T + shift,
        motions=np.concatenate([motions[:, :2] @ rotation.T, motions[:, 2:]], axis=-1),
        error_covs=big @ covs @ big.T,
    )
    shares = hit_probability(shots, aim=aim)
    assert hit_probability(turned, aim=turned_aim) == pytest.approx(shares, abs=1e-6)


def test_below_the_enough_level_better_vision_adds_less_than_a_hit_in_a_hundred(shooter, goal):
    aim = prepare_aim(shooter, goal)
    enough = enough_distance_std_m(aim, DISTANCES)
    perfect = hit_probability(Shots.straight_ahead(DISTANCES, goal=goal), aim=aim)
    for distance, std, best in zip(DISTANCES, enough, perfect, strict=True):
        for factor, sign in ((0.9, 1), (1.1, -1)):
            shots = Shots.straight_ahead([distance], goal=goal, distance_std_m=factor * std)
            loss = best - hit_probability(shots, aim=aim)[0]
            assert sign * (0.01 - loss) > 0.0
    # the less even the shooter, the less a better estimate is worth where both bind
    uneven = replace(shooter, spread=replace(shooter.spread, exit_speed_std_m_per_s=0.5))
    assert enough_distance_std_m(prepare_aim(uneven, goal), [4.0], loss=0.05) != enough[2]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (
            lambda g: Shots.straight_ahead([3.0], goal=g, distance_std_m=-0.1),
            "distance_std_m: must be 0 or more (got -0.1)",
        ),
        (
            lambda g: Shots.at([[1.0, 2.0]], error_covs=-np.eye(3)),
            "shots: a variance is below 0 (got -1)",
        ),
        (
            lambda g: Shots.at([[1.0, 2.0]], error_means=[0.1, 0.2]),
            "shots: error_means: expected 3 or 6 errors each (got shape (2,))",
        ),
        (
            lambda g: Shots.at([[1.0, 2.0]], error_covs=[0.1, 0.2, 0.3]),
            "shots: error_covs: expected 3 or 6 errors each (got shape (3,))",
        ),
        (lambda g: Shots.at([[1.0, np.nan]]), "shots: positions_m: holds a value that is not"),
    ],
)
def test_bad_shots_are_reported_in_one_line(goal, make, message):
    with pytest.raises(InputError) as caught:
        make(goal)
    assert message in str(caught.value)


def test_a_matrix_that_is_no_covariance_is_reported(shooter, goal):
    wrong = np.array([[1.0, 2.0, 0.0], [2.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    shots = Shots.at([[8.0, 3.3]], error_covs=wrong)
    with pytest.raises(InputError, match="not a covariance"):
        hit_probability(shots, aim=prepare_aim(shooter, goal))


@pytest.mark.parametrize("count", [0, -3])
def test_nothing_to_draw_is_reported(shooter, goal, count):
    shots = Shots.straight_ahead([3.0], goal=goal)
    with pytest.raises(InputError, match="count: must be between 1 and"):
        simulate_hits(shots, aim=prepare_aim(shooter, goal), count=count, seed=0)
