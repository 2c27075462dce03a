"""Wheels against printed and worked cases of others."""

import math

import numpy as np
import pytest

from posefuse.geometry.plane import PlanePose, arc_motion, arc_twist
from posefuse.motion.kinematics import body_matrix, wheel_matrix
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind, Wheel


def drivetrain(kind: DrivetrainKind, places: list[tuple[float, float]], radius_m: float = 0.05):
    return Drivetrain(
        kind=kind,
        wheels=tuple(Wheel(position_in_robot_m=place) for place in places),
        wheel_radius_m=radius_m,
        rate_hz=50.0,
        speed_m_per_s=4.0,
        acceleration_m_per_s2=4.0,
        turn_rate_rad_per_s=6.0,
    )


def mecanum(half_length_m: float, half_width_m: float, radius_m: float) -> Drivetrain:
    x, y = half_length_m, half_width_m
    return drivetrain(DrivetrainKind.MECANUM, [(x, y), (x, -y), (-x, -y), (-x, y)], radius_m)


def differential(track_m: float) -> Drivetrain:
    places = [(0.0, track_m / 2.0), (0.0, -track_m / 2.0)]
    return drivetrain(DrivetrainKind.DIFFERENTIAL, places)


def test_mecanum_printed_case() -> None:
    """ros2_controllers, mecanum_drive_controller/test/test_mecanum_drive_controller.cpp: radius
    0.5, sum of half length and half width 1, body (10, 5, 3) -> fl 4, fr 36, rr 16, rl 24.
    """
    drive = mecanum(0.5, 0.5, 0.5)
    rates = wheel_matrix(drive) @ [10.0, 5.0, 3.0] / drive.wheel_radius_m
    np.testing.assert_allclose(rates, [4.0, 36.0, 16.0, 24.0], atol=1e-12)
    body = body_matrix(drive) @ rates * drive.wheel_radius_m
    np.testing.assert_allclose(body, [10.0, 5.0, 3.0], atol=1e-12)


YOUBOT = mecanum(0.235, 0.15, 0.0475)


def test_mecanum_matrix_of_a_known_robot() -> None:
    """Lynch and Park, Modern Robotics, 2017, ch. 13 (matrix read in a published solution of the
    book's project): r/4 [[-1/(l+w), 1/(l+w), 1/(l+w), -1/(l+w)], [1, 1, 1, 1], [-1, 1, -1, 1]].
    """
    r, k = 0.0475, 0.235 + 0.15
    turn = np.array([-1.0, 1.0, 1.0, -1.0]) / k
    expected = r / 4.0 * np.array([np.ones(4), [-1.0, 1.0, -1.0, 1.0], turn])
    np.testing.assert_allclose(body_matrix(YOUBOT) * r, expected, atol=1e-15)


@pytest.mark.parametrize(
    ("rates", "phi_x_y"),
    [
        ((10.0, 10.0, 10.0, 10.0), (0.0, 0.475, 0.0)),
        ((-10.0, 10.0, -10.0, 10.0), (0.0, 0.0, 0.475)),
        ((-10.0, 10.0, 10.0, -10.0), (1.2337662, 0.0, 0.0)),
        ((10.0, 20.0, 15.0, 5.0), (0.61688312, 0.55680199, 0.17740269)),
    ],
)
@pytest.mark.parametrize("steps", [1, 100])
def test_one_second_of_mecanum_driving(rates, phi_x_y, steps) -> None:
    """The same robot, one second at these wheel rates; worked with the book's formulas, the same in
    one exact arc or a hundred.
    """
    twist = body_matrix(YOUBOT) @ np.array(rates) * YOUBOT.wheel_radius_m
    pose = PlanePose.identity()
    for _ in range(steps):
        pose = pose @ arc_motion(twist / steps)
    np.testing.assert_allclose(pose.values[[2, 0, 1]], phi_x_y, atol=6e-9)


def test_four_steered_wheels() -> None:
    """v_i = v + w x l_i (ros2_controllers, doc/mobile_robot_kinematics.rst); case worked by that
    formula: wheelbase 0.6, track 0.5, body (1.2, -0.4, 0.8).
    """
    places = [(0.3, 0.25), (0.3, -0.25), (-0.3, 0.25), (-0.3, -0.25)]
    drive = drivetrain(DrivetrainKind.SWERVE, places)
    travel = (wheel_matrix(drive) @ [1.2, -0.4, 0.8]).reshape(4, 2)
    speeds = np.hypot(travel[:, 0], travel[:, 1])
    angles = np.degrees(np.arctan2(travel[:, 1], travel[:, 0]))
    np.testing.assert_allclose(speeds, [1.012719, 1.409113, 1.187266, 1.539351], atol=5e-7)
    np.testing.assert_allclose(angles, [-9.090277, -6.519802, -32.619243, -24.567171], atol=5e-7)


def test_back_from_four_steered_wheels() -> None:
    """For wheels around the middle least squares is the mean velocity and
    sum(l x v) / sum |l|^2 (the same page).
    """
    places = np.array([(0.3, 0.25), (0.3, -0.25), (-0.3, 0.25), (-0.3, -0.25)])
    drive = drivetrain(DrivetrainKind.SWERVE, [tuple(p) for p in places])
    travel = np.random.default_rng(4).normal(size=(4, 2))
    turn = (places[:, 0] * travel[:, 1] - places[:, 1] * travel[:, 0]).sum() / (places**2).sum()
    expected = [*travel.mean(axis=0), turn]
    np.testing.assert_allclose(body_matrix(drive) @ travel.ravel(), expected, atol=1e-14)


def test_differential() -> None:
    """v = (right + left) / 2, w = (right - left) / track (the same page)."""
    twist = body_matrix(differential(0.4)) @ [0.9, 1.1]
    np.testing.assert_allclose(twist, [1.0, 0.0, 0.5], atol=1e-15)


SIDE_M = 4.0


def driven_square(*, counter_clockwise: bool, wheelbase_error: float, diameter_ratio: float):
    """Where a robot ends (mm) that drives a square by its odometry, which errs."""
    told, true = differential(0.34), differential(0.34 * wheelbase_error)
    left, right = 2.0 / (diameter_ratio + 1.0), 2.0 / (1.0 / diameter_ratio + 1.0)
    turn = math.pi / 2.0 if counter_clockwise else -math.pi / 2.0
    pose = PlanePose.identity()
    for twist in [(SIDE_M, 0.0, 0.0), (0.0, 0.0, turn)] * 4:
        rolled = wheel_matrix(told) @ twist * [left, right]
        pose = pose @ arc_motion(body_matrix(true) @ rolled)
    return 1000.0 * pose.xy_m


@pytest.mark.parametrize(
    ("wheelbase_error", "diameter_ratio", "ccw_mm", "cw_mm"),
    [
        (1.01, 1.0, (-122.42, 128.27), (-122.42, -128.27)),
        (1.0, 1.002, (194.34, -176.86), (-181.06, -198.95)),
        (1.01, 1.002, (62.94, -60.08), (-293.59, -337.81)),
    ],
)
def test_square_path(wheelbase_error, diameter_ratio, ccw_mm, cw_mm) -> None:
    """The square test of J. Borenstein and L. Feng, "Measurement and correction of systematic
    odometry errors in mobile robots", IEEE Trans. Robotics and Automation 12(6), 869-880, 1996;
    return errors worked with their formulas for side 4 m and wheelbase 0.34 m. A wheelbase error
    alone shows as mirror images, clockwise against counter-clockwise.
    """
    errors = {"wheelbase_error": wheelbase_error, "diameter_ratio": diameter_ratio}
    np.testing.assert_allclose(driven_square(counter_clockwise=True, **errors), ccw_mm, atol=0.006)
    np.testing.assert_allclose(driven_square(counter_clockwise=False, **errors), cw_mm, atol=0.006)


def test_arc_of_a_quarter_circle() -> None:
    """Radius 2 m driven through 90 degrees: the end lies at (2, 2), whatever the formula."""
    twist = arc_twist(PlanePose([2.0, 2.0, math.pi / 2.0]))
    np.testing.assert_allclose(twist, [math.pi, 0.0, math.pi / 2.0], atol=1e-12)
