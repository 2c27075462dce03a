"""How far each wheel rolls along a path, and what slip and bumps do to what it reads."""

from collections.abc import Sequence

import numpy as np

from posefuse.checks import FloatArray
from posefuse.motion.course import Bump
from posefuse.motion.kinematics import wheel_matrix
from posefuse.motion.path import TruePath
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind

__all__ = ["bump_std_m", "rolled_by", "slip_factors"]

_STANDING_M = 1e-9
"""Travel in one row below which a steered wheel keeps its direction."""


def rolled_by(drivetrain: Drivetrain, twists: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What each rim rolls (wheels, steps), and the directions of steered wheels."""
    travel = np.einsum("ij,sj->is", wheel_matrix(drivetrain), twists)
    if drivetrain.kind is not DrivetrainKind.SWERVE:
        return travel, np.zeros((2, 0, len(twists)))
    x, y = travel[0::2], travel[1::2]
    rolls = np.hypot(x, y) >= _STANDING_M
    # a standing wheel keeps the direction it rolled in last; before that it points forward
    latest = np.maximum.accumulate(np.where(rolls, np.arange(len(twists)), -1), axis=1)
    wheel = np.arange(len(x))[:, None]
    angle = np.where(latest >= 0, np.arctan2(y, x)[wheel, latest], 0.0)
    directions = np.stack([np.cos(angle), np.sin(angle)])
    return x * directions[0] + y * directions[1], directions


def slip_factors(
    path: TruePath,
    drivetrain: Drivetrain,
    at_s: FloatArray,
    rolled_m: FloatArray,
    directions: FloatArray,
) -> FloatArray:
    """What the encoders read for each metre rolled, (wheels, steps).

    A tyre that drives or brakes turns faster or slower than it goes over the floor, by a share
    proportional to the force along the wheel: the longitudinal slip ``(w r - v) / v`` of the linear
    range (R. Rajamani, Vehicle Dynamics and Control, 2nd ed. 2012, sec. 4.2). Taken for force is
    the robot's acceleration (not that of its turn), as it speeds up the wheel's rim: a robot that
    brakes under-reads, and one that goes round a bend at an even speed does not slip along it.
    """
    heading = path.poses(at_s).heading_rad
    x, y = path.accelerations(at_s)[:, :2].T
    c, s = np.cos(heading), np.sin(heading)
    in_robot = np.stack([c * x + s * y, c * y - s * x])
    speeding_up = np.einsum("ij,js->is", wheel_matrix(drivetrain)[:, :2], in_robot)
    if drivetrain.kind is DrivetrainKind.SWERVE:
        speeding_up = speeding_up[0::2] * directions[0] + speeding_up[1::2] * directions[1]
    factors: FloatArray = 1.0 + drivetrain.slip_per_m_per_s2 * np.sign(rolled_m) * speeding_up
    return factors


def bump_std_m(stamps_s: FloatArray, bumps: Sequence[Bump]) -> FloatArray:
    """Spread that bumps add to each wheel in each step: their variances spread over their time."""
    variance = np.zeros(len(stamps_s) - 1)
    for bump in bumps:
        ends = np.clip(stamps_s, bump.at_s, bump.at_s + bump.duration_s)
        variance += bump.slip_m**2 * np.diff(ends) / bump.duration_s
    return np.sqrt(variance)
