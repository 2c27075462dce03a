"""From the body's motion to the wheels' and back."""

import numpy as np

from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind

__all__ = ["body_matrix", "wheel_matrix"]

_ROLLERS = np.array([-1.0, 1.0, -1.0, 1.0])
"""Front left, front right, rear right, rear left: what a metre to the left adds to the rolling."""


def wheel_matrix(drivetrain: Drivetrain) -> FloatArray:
    """Travel of the wheels for a body twist (forward_m, left_m, turn_rad): the matrix (rows, 3).

    Steered wheels take two rows each, forward and left at the place of the wheel; mecanum and
    differential wheels one row each, the metres their rim rolls. Sources: steered and differential
    wheels, Siegwart, Nourbakhsh, Scaramuzza, Introduction to Autonomous Mobile Robots, 2nd ed.
    2011, sec. 3.2 (from memory); mecanum wheels with rollers at 45 degrees, Lynch and Park, Modern
    Robotics, 2017, sec. 13.2.

    Raises
    ------
    InputError
        Wheels that do not determine the motion, such as all in one place.
    """
    x, y = np.array([wheel.position_in_robot_m for wheel in drivetrain.wheels]).T
    one, zero = np.ones_like(x), np.zeros_like(x)
    if drivetrain.kind is DrivetrainKind.SWERVE:
        forward, left = np.stack([one, zero, -y], axis=-1), np.stack([zero, one, x], axis=-1)
        matrix = np.stack([forward, left], axis=1).reshape(-1, 3)
    elif drivetrain.kind is DrivetrainKind.MECANUM:
        matrix = np.stack([one, _ROLLERS, _ROLLERS * x - y], axis=-1)
    else:
        matrix = np.stack([one, zero, -y], axis=-1)
    wanted = 2 if drivetrain.kind is DrivetrainKind.DIFFERENTIAL else 3
    if np.linalg.matrix_rank(matrix, tol=1e-6) < wanted:
        raise InputError(
            f"wheels: {drivetrain.kind} wheels at {np.stack([x, y], axis=-1).tolist()} do not "
            f"determine the robot's motion: they stand too much in one place"
        )
    return matrix


def body_matrix(drivetrain: Drivetrain) -> FloatArray:
    """The body twist that fits the wheels' travel best in least squares: the matrix (3, rows).

    Differential wheels know of no motion to the left: it is zero.
    """
    return np.asarray(np.linalg.pinv(wheel_matrix(drivetrain)), dtype=np.float64)
