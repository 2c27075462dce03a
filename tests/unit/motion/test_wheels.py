"""Odometry wheel by wheel: exact without noise, and each error as it is stated."""

from dataclasses import replace

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.geometry.plane import PlanePose, arc_motion
from posefuse.motion.course import Bump
from posefuse.motion.path import TruePath
from posefuse.motion.planned import planned_path
from posefuse.motion.wheels import odometry_rows, prepare_wheels, twist_slopes
from posefuse.robot.drivetrain import Gyro, Wheel

KINDS = ["swerve", "mecanum", "differential"]


@pytest.fixture
def facing_path(limits, waypoint) -> TruePath:
    """A path that wheels which cannot steer can drive."""
    places = (waypoint(1, 1), waypoint(4, 1.5), waypoint(4, 4, pause_s=0.3), waypoint(1, 3))
    return planned_path(places, limits=limits, duration_s=12.0)[0]


def built(drive, fraction: float = 0.0, *, bias: float = 0.0, scale: float = 0.0) -> np.ndarray:
    """Constants of the build: all wheels too large by a fraction, and the gyro's."""
    return np.array([*[fraction] * len(drive.wheels), 0.0, bias, scale])


def rows_of(path, drive, bumps=(), *, trial=0, fraction=0.0, ideal=False):
    return odometry_rows(
        path,
        drive,
        bumps,
        seed=7,
        trial=trial,
        constants=built(drive, fraction),
        ideal=ideal,
    )


def chained(rows) -> np.ndarray:
    pose = PlanePose(rows.true_poses[0])
    for twist in rows.twists[1:]:
        pose = pose @ arc_motion(twist)
    return pose.values


@pytest.mark.parametrize("ideal", [True, False])
@pytest.mark.parametrize("kind", KINDS)
def test_without_errors_the_wheels_read_the_truth(
    kind, ideal, winding_path, facing_path, drivetrain
) -> None:
    can_steer = kind != "differential"
    rows = rows_of(winding_path if can_steer else facing_path, drivetrain(kind), ideal=ideal)
    within = 1e-9 if can_steer else 1e-3  # a rounded corner is driven a little sideways
    np.testing.assert_allclose(chained(rows), rows.true_poses[-1], atol=within)
    assert not rows.twists[0].any()


@pytest.mark.parametrize("kind", KINDS)
def test_ideal_switches_every_error_off(kind, facing_path, drivetrain) -> None:
    drive = drivetrain(
        kind,
        encoder_counts_per_turn=100,
        steering_std_rad=0.1,
        slip_per_m_per_s2=0.1,
        travel_std_m_per_sqrt_m=0.1,
        gyro=Gyro(bias_rad_per_s=0.1),
    )
    bumps = [Bump(at_s=2.0, duration_s=1.0, slip_m=0.3)]
    rows = rows_of(facing_path, drive, bumps, fraction=0.1, ideal=True)
    np.testing.assert_allclose(chained(rows), rows.true_poses[-1], atol=1e-3)
    assert not rows.step_covs.any()


def test_stamps_are_the_rows_of_the_path(winding_path, drivetrain) -> None:
    rows = rows_of(winding_path, drivetrain(rate_hz=40.0))
    np.testing.assert_allclose(rows.stamps_s, np.arange(481) / 40.0, atol=1e-12)
    np.testing.assert_allclose(rows.true_poses, winding_path.poses(rows.stamps_s).values)
    assert rows.twists.shape == (481, 3)
    assert rows.step_covs.shape == (481, 3, 3)


def test_epoch_stamps(winding_path, drivetrain) -> None:
    """The same path on a clock of epoch seconds gives the same odometry, to the clock's grain."""
    knots = winding_path.spline.x
    later = TruePath.through(knots + 1.7e9, winding_path.poses(knots).values)
    read, expected = rows_of(later, drivetrain()), rows_of(winding_path, drivetrain())
    assert len(read.stamps_s) == len(expected.stamps_s)
    np.testing.assert_allclose(read.twists, expected.twists, atol=1e-5)


def test_encoder_carries_its_remainder(winding_path, drivetrain) -> None:
    """However coarse the counts, a wheel's whole travel is never off by more than half of one."""
    drive = drivetrain("mecanum", encoder_counts_per_turn=64)
    run = prepare_wheels(winding_path, drive, ())
    read = run._encoded_m(0, 0, built(drive))
    count_m = 2.0 * np.pi * 0.05 / 64
    off = np.cumsum(read, axis=1) - np.cumsum(run.rolled_m, axis=1)
    assert 0.3 * count_m < np.abs(off).max() <= 0.5 * count_m * (1.0 + 1e-9)
    np.testing.assert_allclose(read / count_m, np.rint(read / count_m), atol=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_a_larger_wheel_reads_less(kind, facing_path, drivetrain) -> None:
    plain = rows_of(facing_path, drivetrain(kind))
    large = rows_of(facing_path, drivetrain(kind), fraction=0.02)
    np.testing.assert_allclose(large.twists, plain.twists / 1.02, atol=1e-12)


@pytest.mark.parametrize("kind", ["swerve", "differential"])
def test_wheels_over_read_as_they_are_sped_up_and_under_read_as_they_brake(
    kind, facing_path, winding_path, drivetrain
) -> None:
    """By the acceleration along the way of each wheel over the floor, found by differences."""
    path = facing_path if kind == "differential" else winding_path
    drive = drivetrain(kind, slip_per_m_per_s2=0.01)
    run = prepare_wheels(path, drive, ())
    middle = (run.stamps_s[1:] + run.stamps_s[:-1]) / 2.0
    acceleration = path.accelerations(middle)[:, :2]
    for wheel, rolled, factors in zip(drive.wheels, run.rolled_m, run.slip_factors, strict=True):
        is_fast = np.abs(rolled) > 0.2 / 50.0  # a slow wheel's direction turns within a step
        before, after = (
            path.poses(middle[is_fast] + dt).transform(wheel.position_in_robot_m)
            for dt in (-1e-4, 1e-4)
        )
        way = (after - before) / np.linalg.norm(after - before, axis=1, keepdims=True)
        along = np.einsum("si,si->s", way, acceleration[is_fast])
        off = factors[is_fast] - 1.0 - 0.01 * along
        assert np.abs(off).max() < 0.01 * 0.5
        assert np.abs(off).mean() < 0.01 * 0.05
        assert along.min() < -1.0
        assert along.max() > 1.0


def test_mecanum_wheels_slip_by_what_their_rollers_make_of_the_acceleration(
    winding_path, drivetrain
) -> None:
    run = prepare_wheels(winding_path, drivetrain("mecanum", slip_per_m_per_s2=0.01), ())
    middle = (run.stamps_s[1:] + run.stamps_s[:-1]) / 2.0
    heading = winding_path.poses(middle).heading_rad
    x, y = winding_path.accelerations(middle)[:, :2].T
    forward, left = (
        x * np.cos(heading) + y * np.sin(heading),
        y * np.cos(heading) - x * np.sin(heading),
    )
    # front left, front right, rear right, rear left
    for rolled, factors, rollers in zip(
        run.rolled_m, run.slip_factors, [-1.0, 1.0, -1.0, 1.0], strict=True
    ):
        expected = 1.0 + 0.01 * np.sign(rolled) * (forward + rollers * left)
        np.testing.assert_allclose(factors, expected, atol=1e-12)


def test_while_it_stands_nothing_but_the_gyro_moves(winding_path, drivetrain) -> None:
    drive = drivetrain(travel_std_m_per_sqrt_m=0.01, steering_std_rad=0.01)
    rows = rows_of(winding_path, drive)
    standing = rows.stamps_s < 1.0
    assert np.abs(rows.twists[standing]).max() < 1e-9


def pooled(path, drive, bumps, trials: int, wanted: slice) -> np.ndarray:
    """Mean over rows and trials of whitened errors squared: the unit matrix if the rows are right.

    Only directions in which a row's covariance says something are taken.
    """
    run = prepare_wheels(path, drive, bumps)
    truth = run.rows(seed=1, trial=0, constants=built(drive), ideal=True).twists
    values, vectors = np.linalg.eigh(run.step_covs[wanted])
    known = values > 1e-14
    scale = np.where(known, 1.0 / np.sqrt(np.where(known, values, 1.0)), 0.0)
    whitened = []
    for trial in range(trials):
        rows = run.rows(seed=1, trial=trial, constants=built(drive))
        off = (rows.twists - truth)[wanted]
        whitened.append(scale * np.einsum("rij,ri->rj", vectors, off))
    stacked = np.array(whitened)
    return np.einsum("tri,trj->ij", stacked, stacked) / (trials * known.sum(axis=0).max())


@pytest.mark.parametrize("gyro", [None, Gyro(noise_rad_per_sqrt_s=0.002)])
@pytest.mark.parametrize("kind", KINDS)
def test_step_covariance_is_that_of_many_trials(kind, gyro, winding_path, drivetrain) -> None:
    drive = drivetrain(kind, travel_std_m_per_sqrt_m=0.02, steering_std_rad=0.01, gyro=gyro)
    moving = slice(70, 190)
    covariance = pooled(winding_path, drive, (), 300, moving)
    wanted = np.eye(3) if kind != "differential" else np.diag([0.0, 1.0, 1.0])
    # 300 trials x 120 rows: a standard error of 0.0075 for a variance
    np.testing.assert_allclose(covariance, wanted, atol=0.04)


@pytest.mark.parametrize("kind", KINDS)
def test_bumps_have_the_spread_stated(kind, winding_path, drivetrain) -> None:
    drive = drivetrain(kind)
    bumps = [
        Bump(at_s=2.01, duration_s=0.33, slip_m=0.05),
        Bump(at_s=4.0, duration_s=0.1, slip_m=0.02),
    ]
    run = prepare_wheels(winding_path, drive, bumps)
    assert np.sum(run.bump_std_m**2) == pytest.approx(0.05**2 + 0.02**2)
    rows = np.flatnonzero(run.bump_std_m) + 1
    assert run.stamps_s[rows].min() == pytest.approx(2.02)
    assert run.stamps_s[rows].max() == pytest.approx(4.10)
    whole = np.array([run._encoded_m(3, k, built(drive)).sum(axis=1) for k in range(2000)])
    off = whole - run.rolled_m.sum(axis=1)
    spread = off.std(axis=0) / np.hypot(0.05, 0.02)
    np.testing.assert_allclose(spread, 1.0, atol=0.07)  # 4 standard errors


def gyro_errors(path, drive, trials: int) -> np.ndarray:
    """How far the gyro's heading is off at each row, (trials, rows)."""
    run, draws = prepare_wheels(path, drive, ()), np.random.default_rng(5)
    off = []
    for trial in range(trials):
        bias, scale = draws.standard_normal(2)
        constants = built(
            drive,
            bias=bias * drive.gyro.bias_rad_per_s,
            scale=scale * drive.gyro.scale_fraction,
        )
        turns = run.rows(seed=5, trial=trial, constants=constants).twists[:, 2]
        off.append(np.cumsum(turns) - (run.true_poses[:, 2] - run.true_poses[0, 2]))
    return np.array(off)


@pytest.mark.parametrize(
    ("gyro", "after_12_s"),
    [
        (Gyro(bias_rad_per_s=0.01), 0.12),
        (Gyro(noise_rad_per_sqrt_s=0.01), 0.01 * np.sqrt(12.0)),
        (Gyro(drift_rad_per_s_per_sqrt_s=0.01), 0.01 * np.sqrt(12.0**3 / 3.0)),
        (Gyro(scale_fraction=0.01), None),
    ],
)
def test_gyro_errors_grow_as_textbooks_say(gyro, after_12_s, winding_path, drivetrain) -> None:
    """Bias t, angle random walk sqrt(t), rate random walk sqrt(t^3 / 3) (IEEE Std 952; integrals of
    white noise), scale times the turn.
    """
    off = gyro_errors(winding_path, drivetrain(gyro=gyro), 400)
    turned = float(np.ptp(winding_path.poses([0.0, 12.0]).heading_rad))
    expected = 0.01 * turned if after_12_s is None else after_12_s
    assert off[:, -1].std() == pytest.approx(expected, rel=0.15)  # 4 standard errors
    assert abs(off[:, -1].mean()) < 0.2 * expected


def test_same_bits_again_and_other_bits_in_another_trial(winding_path, drivetrain) -> None:
    drive = drivetrain(
        travel_std_m_per_sqrt_m=0.02, steering_std_rad=0.01, gyro=Gyro(noise_rad_per_sqrt_s=0.01)
    )
    one, again, other = (rows_of(winding_path, drive, trial=k).twists for k in (0, 0, 1))
    np.testing.assert_array_equal(one, again)
    assert (one[100:] != other[100:]).any()


def test_each_source_has_a_stream_of_its_own(winding_path, drivetrain) -> None:
    """Switching one error off leaves the draws of the others as they were."""
    gyro = Gyro(noise_rad_per_sqrt_s=0.01, drift_rad_per_s_per_sqrt_s=0.01)
    both = rows_of(winding_path, drivetrain(travel_std_m_per_sqrt_m=0.02, gyro=gyro)).twists
    travel = rows_of(winding_path, drivetrain(travel_std_m_per_sqrt_m=0.02)).twists
    turning = rows_of(winding_path, drivetrain(gyro=gyro)).twists
    np.testing.assert_array_equal(both[:, :2], travel[:, :2])
    np.testing.assert_array_equal(both[:, 2], turning[:, 2])


def test_wheels_that_do_not_determine_the_motion_are_refused(winding_path, drivetrain) -> None:
    here = tuple(Wheel(position_in_robot_m=[0.1, 0.1]) for _ in range(4))
    with pytest.raises(
        InputError, match=r"swerve wheels at .* do not determine the robot's motion"
    ):
        rows_of(winding_path, drivetrain(wheels=here))
    with pytest.raises(InputError, match="differential wheels at"):
        rows_of(winding_path, drivetrain("differential", wheels=here[:2]))


def test_a_path_of_less_than_one_step_is_refused(drivetrain) -> None:
    path = TruePath.through([0.0, 0.01], [[0, 0, 0], [0.1, 0, 0]])
    with pytest.raises(InputError, match=r"one odometry step, 0\.02 s, .* \(got 0\.01 s\)"):
        rows_of(path, drivetrain())


def test_constants_are_one_a_wheel_and_three_more(winding_path, drivetrain) -> None:
    with pytest.raises(InputError, match=r"odometry constants: shape \(3,\) given"):
        prepare_wheels(winding_path, drivetrain(), ()).rows(seed=0, trial=0, constants=np.zeros(3))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("has_gyro", [True, False])
def test_slopes_by_constants_are_those_of_the_wheels(
    kind, has_gyro, facing_path, drivetrain
) -> None:
    """Central differences of the simulated twists, and the same from the twists alone."""
    gyro = Gyro(bias_rad_per_s=0.01) if has_gyro else None
    drive = drivetrain(kind, gyro=gyro, slip_per_m_per_s2=0.01)
    run = prepare_wheels(facing_path, drive, ())
    slopes, slip = run.constant_slopes()
    still = run.rows(seed=0, trial=0).twists[1:]
    np.testing.assert_allclose(
        still - run.true_twists, slip, atol=1e-3 if kind == KINDS[2] else 1e-12
    )
    step = 1e-6
    for place in range(len(drive.wheels) + 3):
        constants = np.zeros(len(drive.wheels) + 3)
        constants[place] = step
        high = run.rows(seed=0, trial=0, constants=constants).twists[1:]
        low = run.rows(seed=0, trial=0, constants=-constants).twists[1:]
        np.testing.assert_allclose(slopes[:, :, place], (high - low) / (2.0 * step), atol=1e-8)
    known = [place for place in range(len(drive.wheels) + 3) if place != len(drive.wheels)]
    without_slip = prepare_wheels(facing_path, replace(drive, slip_per_m_per_s2=0.0), ())
    of_twists = twist_slopes(drive, without_slip.true_twists, np.diff(run.stamps_s))
    expected, _ = without_slip.constant_slopes()
    np.testing.assert_allclose(of_twists[:, :, known], expected[:, :, known], atol=1e-12)
