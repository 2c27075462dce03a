"""Where wheels and gyro with one known error lead, against figures worked with pen and paper.

A body that moves forward by f while it turns by w has gone along an arc of radius f / w: to
(f / w sin w, f / w (1 - cos w)) from where it started, in its own first frame.
"""

import math

import numpy as np
import pytest

from posefuse.geometry.plane import PlanePose, arc_motion
from posefuse.motion.path import TruePath
from posefuse.motion.wheels import prepare_wheels
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind, Gyro, Wheel

SEED = 4
PLACES = {
    DrivetrainKind.DIFFERENTIAL: [(0.0, 0.3), (0.0, -0.3)],
    DrivetrainKind.SWERVE: [(0.25, 0.3), (0.25, -0.3), (-0.25, -0.3), (-0.25, 0.3)],
}


def drivetrain(kind: DrivetrainKind = DrivetrainKind.DIFFERENTIAL, **given: object) -> Drivetrain:
    return Drivetrain(
        kind=kind,
        wheels=tuple(Wheel(position_in_robot_m=place) for place in PLACES[kind]),
        wheel_radius_m=0.05,
        speed_m_per_s=4.0,
        acceleration_m_per_s2=4.0,
        turn_rate_rad_per_s=6.0,
        **{"rate_hz": 50.0, **given},
    )


def straight(length_m: float, duration_s: float) -> TruePath:
    t = np.linspace(0.0, duration_s, 101)
    return TruePath.through(t, np.stack([length_m * t / duration_s, 0.0 * t, 0.0 * t], axis=-1))


def half_circle(
    radius_m: float,
    speed_m_per_s: float,
    *,
    turns: bool = True,
    gaining_m_per_s2: float = 0.0,
) -> TruePath:
    """To the left, from the origin along x; the robot faces along it, or keeps its heading."""
    angle = np.linspace(0.0, math.pi, 2001)
    x, y = radius_m * np.sin(angle), radius_m * (1.0 - np.cos(angle))
    heading = angle if turns else 0.0 * angle
    way_m, a = angle * radius_m, gaining_m_per_s2
    # s = v t + a t^2 / 2, solved for t without loss for small a
    t = 2.0 * way_m / (speed_m_per_s + np.sqrt(speed_m_per_s**2 + 2.0 * a * way_m))
    return TruePath.through(t, np.stack([x, y, heading], axis=-1))


EVEN_ROWS_HZ = 160.0 / math.pi
"""Odometry rows that end where a half circle does."""


def reckoned(
    path: TruePath, drive: Drivetrain, fractions=None, *, bias: float = 0.0, scale: float = 0.0
) -> np.ndarray:
    """The last pose by odometry alone, from the origin."""
    fractions = np.zeros(len(drive.wheels)) if fractions is None else np.array(fractions)
    rows = prepare_wheels(path, drive, ()).rows(
        seed=SEED, trial=0, constants=np.array([*fractions, 0.0, bias, scale])
    )
    pose = PlanePose.identity()
    for twist in rows.twists[1:]:
        pose = pose @ arc_motion(twist)
    return pose.values


def test_a_left_wheel_one_hundredth_too_large() -> None:
    """4 m straight on, wheels 0.6 m apart. The left wheel turns less: it reads 4 / 1.01 = 3.960396
    m, the right one 4 m. So the robot seems to have gone forward (3.960396 + 4) / 2 = 3.980198 m
    and turned left by (4 - 3.960396) / 0.6 = 0.066007 rad: an arc of radius 60.3 m.
    """
    found = reckoned(straight(4.0, 4.0), drivetrain(), [0.01, 0.0])
    np.testing.assert_allclose(found, [3.977309, 0.131312, 0.066007], atol=2e-6)
    mirrored = reckoned(straight(4.0, 4.0), drivetrain(), [0.0, 0.01])
    np.testing.assert_allclose(mirrored, [3.977309, -0.131312, -0.066007], atol=2e-6)


def test_one_of_four_steered_wheels_one_hundredth_too_large() -> None:
    """5 m straight on with the front left wheel at (0.25, 0.3) 1 % too large: it reads 49.505 mm
    short. By least squares over four wheels at these places the robot goes forward by a quarter of
    that less, 4.987624 m, and turns by 0.3 / (4 (0.25^2 + 0.3^2)) = 0.491803 of it in rad, 0.024347
    rad to the left, since the left side has gone less far.
    """
    fractions = [0.01, 0.0, 0.0, 0.0]
    found = reckoned(straight(5.0, 5.0), drivetrain(DrivetrainKind.SWERVE), fractions)
    np.testing.assert_allclose(found, [4.987131, 0.060713, 0.024347], atol=2e-6)


def test_slip_in_a_bend() -> None:
    """Half a circle of 1.5 m from 1.2 m/s on, gaining 0.96 m/s^2 along it, so that wheels that slip
    0.03125 for each m/s^2 read 3 % too much. The turn is 1.03 times half a turn, 185.4 degrees, on
    the same radius: the end is (1.5 sin 185.4 deg, 1.5 (1 - cos 185.4 deg)) instead of (0, 3). At
    an even speed the tyres bend to the side, and read right.
    """
    drive = drivetrain(slip_per_m_per_s2=0.03125, rate_hz=EVEN_ROWS_HZ)
    even = reckoned(half_circle(1.5, 1.2), drive)
    np.testing.assert_allclose(even, [0.0, 3.0, math.pi], atol=1e-4)
    drive = drivetrain(slip_per_m_per_s2=0.03125, rate_hz=1000.0)
    gaining = reckoned(half_circle(1.5, 1.2, gaining_m_per_s2=0.96), drive)
    np.testing.assert_allclose(gaining, [-0.141162, 2.993343, math.radians(185.4)], atol=5e-3)


def test_slip_without_turning() -> None:
    """The same way with the heading kept: a half circle 3 % wider, 3.09 m across."""
    drive = drivetrain(DrivetrainKind.SWERVE, slip_per_m_per_s2=0.03125, rate_hz=1000.0)
    found = reckoned(half_circle(1.5, 1.2, turns=False, gaining_m_per_s2=0.96), drive)
    np.testing.assert_allclose(found, [0.0, 3.09, 0.0], atol=5e-3)


@pytest.mark.parametrize("kind", PLACES)
def test_braking_takes_back_what_speeding_up_read_too_much(kind: DrivetrainKind) -> None:
    """From rest at 2 m/s^2 for 1 s, then to rest again: 1 m read as 1.02 m, and 1 m as 0.98 m.
    Backward the same, so that a robot that reverses over-reads backward.
    """
    t = np.linspace(0.0, 2.0, 2001)
    way = np.where(t < 1.0, t**2, 2.0 - (2.0 - t) ** 2)
    drive = drivetrain(kind, slip_per_m_per_s2=0.01, rate_hz=500.0)
    for side in (1.0, -1.0):
        path = TruePath.through(t, np.stack([side * way, 0.0 * t, 0.0 * t], axis=-1))
        rows = prepare_wheels(path, drive, ()).rows(seed=SEED, trial=0)
        halves = rows.twists[1:501, 0].sum(), rows.twists[501:, 0].sum()
        np.testing.assert_allclose(halves, [1.02 * side, 0.98 * side], atol=1e-4)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_a_gyro_that_is_off_by_a_hundredth_of_a_radian_a_second(side: float) -> None:
    """10 m straight on in 10 s with a bias of 0.01 rad/s: it seems to turn by 0.1 rad, on a circle
    of radius 100 m, and ends 100 sin 0.1 = 9.983342 m ahead and 100 (1 - cos 0.1) = 0.499583 m
    aside; standing still for 5 s it turns by 0.05 rad.
    """
    drive = drivetrain(gyro=Gyro())
    found = reckoned(straight(10.0, 10.0), drive, bias=0.01 * side)
    np.testing.assert_allclose(found, [9.983342, side * 0.499583, side * 0.1], atol=1e-6)
    standing = reckoned(straight(0.0, 5.0), drive, bias=0.01 * side)
    np.testing.assert_allclose(standing, [0.0, 0.0, side * 0.05], atol=1e-12)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_a_gyro_that_reads_turns_wrong_by_a_hundredth(side: float) -> None:
    """Half a circle of 2 m, 2 pi m along. Read 1 % too far the turn is 181.8 degrees, on an arc of
    radius 2 / 1.01 m; read 1 % short 178.2 degrees, on one of 2 / 0.99 m.
    """
    drive = drivetrain(gyro=Gyro(), rate_hz=EVEN_ROWS_HZ)
    too_far = [-0.062200, 3.959419, math.radians(181.8)]
    short = [0.063456, 4.039407, math.radians(178.2)]
    found = reckoned(half_circle(2.0, 1.0), drive, scale=0.01 * side)
    np.testing.assert_allclose(found, too_far if side > 0.0 else short, atol=1e-5)
