"""A shooter, its goal and its flights as the compiled kernels take them: named tuples of numbers.

Kernels that ask for ``aim`` take ``AimArrays``.
"""

import math
from typing import NamedTuple

import numpy as np

from posefuse.aim.flight_law import FlightLaw, flight_law
from posefuse.arena.arena import Goal
from posefuse.checks import FloatArray, not_negative, positive
from posefuse.errors import InputError
from posefuse.robot.shooter import Shooter

__all__ = [
    "AimArrays",
    "Crossing",
    "CurveTable",
    "LawTable",
    "Opening",
    "PieceState",
    "Plane",
    "RobotState",
    "ShotArrays",
    "Throw",
    "Thrower",
    "law_table",
    "opening_of",
    "shooter_law_table",
    "thrower_of",
]

LAW_ROWS = 1024
LONGEST_STEP_S = 0.04
TURN_PER_STEP = 0.15
"""Share of its speed that a piece may lose (or turn by, in radians) in one step of the flight."""
ROBOT_SPEED_M_PER_S = 8.0
"""Speed of the robot that the sampled flight law leaves room for."""
MOST_SPREAD = 6.0  # standard deviations of the exit speed that it leaves room for
FALL_BELOW_M = 5.0  # and how far below the robot's middle a piece may fall


class LawTable(NamedTuple):
    """A flight law, sampled.

    Parameters
    ----------
    rates_per_s : (n,) array
        Drag rates at speeds evenly spaced from 0; straight lines between them and beyond the last.
    rows_per_m_per_s
        Rows of the table for each m/s.
    step_s
        Time step of the flight.
    """

    rates_per_s: FloatArray
    rows_per_m_per_s: float
    lift_per_s: float
    gravity_m_per_s2: float
    step_s: float


class CurveTable(NamedTuple):
    """Pivots at rising distances, with a cubic between each two.

    Parameters
    ----------
    distances_m, pivots_rad : (n,) arrays
    slopes : (n - 1, 2) array
        Slope in rad/m at both ends of each span; the secant's twice makes the span straight.
    """

    distances_m: FloatArray
    pivots_rad: FloatArray
    slopes: FloatArray


class Thrower(NamedTuple):
    """Where the piece leaves, and how fast.

    Parameters
    ----------
    axis_forward_m, axis_up_m, left_m
        The pivot's axis in the robot.
    arm_along_m, arm_above_m
        From the axis to the release, along the pivot and square to it.
    step_rad
        Between two pivots that can be set, counted from the lowest; 0: any can.
    """

    axis_forward_m: float
    axis_up_m: float
    left_m: float
    arm_along_m: float
    arm_above_m: float
    speed_m_per_s: float
    pivot_low_rad: float
    pivot_high_rad: float
    step_rad: float
    delay_s: float


class Opening(NamedTuple):
    """A goal's opening, and how far the piece's middle must stay from its rim.

    Parameters
    ----------
    x_m, y_m, z_m
        Middle of the opening in the world.
    nx, ny, nz
        Normal of its front; (rx, ry) is its right and (ux, uy, uz) its up for who looks at it.
    rim_m
        Radius of the piece plus the clearance.
    """

    x_m: float
    y_m: float
    z_m: float
    nx: float
    ny: float
    nz: float
    rx: float
    ry: float
    ux: float
    uy: float
    uz: float
    half_width_m: float
    half_height_m: float
    rim_m: float


class AimArrays(NamedTuple):
    """Everything that decides where a shot goes, but for the robot's state and the errors."""

    thrower: Thrower
    opening: Opening
    curve: CurveTable
    law: LawTable


class RobotState(NamedTuple):
    """A robot's place and motion in the world; w is its turn rate in rad/s."""

    x_m: float
    y_m: float
    vx: float
    vy: float
    w: float


class Throw(NamedTuple):
    """How a piece is thrown; side is its direction's deviation from the heading, to the left."""

    heading_rad: float
    pivot_rad: float
    speed_m_per_s: float
    side_rad: float


class PieceState(NamedTuple):
    """A piece in flight: place in m and velocity in m/s."""

    x: float
    y: float
    z: float
    vx: float
    vy: float
    vz: float


class Plane(NamedTuple):
    """A plane that a piece flies to: a point of it in m, and the unit normal of its front."""

    x: float
    y: float
    z: float
    nx: float
    ny: float
    nz: float


class Crossing(NamedTuple):
    """Where a piece's middle crosses a goal's plane; all nan where it does not.

    Parameters
    ----------
    right_m, up_m
        From the middle of the opening.
    right_limit_m, up_limit_m
        Within these the piece goes in: half the opening less what the piece needs.
    """

    right_m: float
    up_m: float
    right_limit_m: float
    up_limit_m: float


class ShotArrays(NamedTuple):
    """Shots, one row each.

    Parameters
    ----------
    states : (n, 5) array
        True x, y, vx, vy, w of the robot as the piece leaves.
    means, roots : (n, 6), (n, 6, 6) arrays
        Of the estimate's error; ``root root'`` is its covariance.
    """

    states: FloatArray
    means: FloatArray
    roots: FloatArray


def thrower_of(shooter: Shooter) -> Thrower:
    """The shooter in numbers."""
    along, above = shooter.arm_m
    forward, left, up = (float(value) for value in shooter.release_in_robot_m)
    return Thrower(
        axis_forward_m=forward - along,
        axis_up_m=up - above,
        left_m=left,
        arm_along_m=along,
        arm_above_m=above,
        speed_m_per_s=shooter.exit_speed_m_per_s,
        pivot_low_rad=shooter.pivot_low_rad,
        pivot_high_rad=shooter.pivot_high_rad,
        step_rad=shooter.spread.resolution_rad,
        delay_s=shooter.release_delay_s,
    )


def opening_of(goal: Goal, shooter: Shooter, *, clearance_m: float = 0.0) -> Opening:
    """The goal in numbers, for the shooter's piece.

    Parameters
    ----------
    clearance_m
        Least gap between the piece and the rim.

    Raises
    ------
    InputError
        The piece does not fit through the opening even when it comes straight at it.
    """
    diameter = shooter.projectile.diameter_m if shooter.projectile else 0.0
    needed = diameter + 2.0 * not_negative("clearance_m", clearance_m)
    if needed >= min(goal.width_m, goal.height_m):
        raise InputError(
            f"goal {goal.name}: the opening of {goal.width_m:g} by {goal.height_m:g} m is too "
            f"small for the piece, which needs more than {needed:g} m"
        )
    x, y, z = (float(value) for value in goal.centre_in_world_m)
    cf, sf = math.cos(goal.facing_rad), math.sin(goal.facing_rad)
    ct, st = math.cos(goal.tilt_rad), math.sin(goal.tilt_rad)
    return Opening(
        x_m=x,
        y_m=y,
        z_m=z,
        nx=cf * ct,
        ny=sf * ct,
        nz=st,
        rx=-sf,
        ry=cf,
        ux=-cf * st,
        uy=-sf * st,
        uz=ct,
        half_width_m=goal.width_m / 2.0,
        half_height_m=goal.height_m / 2.0,
        rim_m=needed / 2.0,
    )


def law_table(law: FlightLaw, *, top_speed_m_per_s: float) -> LawTable:
    """The law sampled up to a speed, with a time step short enough for it."""
    step = positive("top_speed_m_per_s", top_speed_m_per_s) / (LAW_ROWS - 1)
    speeds: FloatArray = np.arange(LAW_ROWS) * np.float64(step)
    rates = np.ascontiguousarray(law.drag_rate(speeds), dtype=np.float64)
    fastest_per_s = max(float(rates.max()), abs(law.lift_per_s), TURN_PER_STEP / LONGEST_STEP_S)
    rates.setflags(write=False)
    return LawTable(
        rates_per_s=rates,
        rows_per_m_per_s=1.0 / step,
        lift_per_s=law.lift_per_s,
        gravity_m_per_s2=law.gravity_m_per_s2,
        step_s=TURN_PER_STEP / fastest_per_s,
    )


def shooter_law_table(shooter: Shooter) -> LawTable:
    """The shooter's flight law, sampled up to the fastest that its piece may get."""
    law = flight_law(shooter)
    spread = MOST_SPREAD * shooter.spread.exit_speed_std_m_per_s
    fastest = shooter.exit_speed_m_per_s + spread + ROBOT_SPEED_M_PER_S
    fall_m = float(np.abs(shooter.release_in_robot_m).max()) + FALL_BELOW_M
    return law_table(
        law, top_speed_m_per_s=math.sqrt(fastest**2 + 2.0 * law.gravity_m_per_s2 * fall_m)
    )
