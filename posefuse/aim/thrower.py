"""Shooter and goal as the compiled kernels take them: plain numbers in named tuples."""

import math
from typing import NamedTuple

import numpy as np

from posefuse.aim.law import FlightLaw, LawTable, flight_law, law_table
from posefuse.arena.arena import Goal
from posefuse.checks import not_negative
from posefuse.errors import InputError
from posefuse.robot.shooter import Shooter

__all__ = ["Opening", "Thrower", "opening_of", "table_for", "thrower_of"]

ROBOT_SPEED_M_PER_S = 8.0
"""Speed of the robot that the sampled flight law leaves room for."""


class Thrower(NamedTuple):
    """Where the piece leaves, and how fast.

    Parameters
    ----------
    axis_forward_m, axis_up_m, left_m
        The pivot's axis in the robot.
    arm_along_m, arm_above_m
        From the axis to the release, along the pivot and square to it.
    """

    axis_forward_m: float
    axis_up_m: float
    left_m: float
    arm_along_m: float
    arm_above_m: float
    speed_m_per_s: float
    pivot_low_rad: float
    pivot_high_rad: float
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
        Radius of the piece and the wanted clearance.
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
        delay_s=shooter.release_delay_s,
    )


def opening_of(goal: Goal, shooter: Shooter, *, clearance_m: float = 0.0) -> Opening:
    """The goal in numbers, for the shooter's piece.

    Parameters
    ----------
    clearance_m
        What must be left between the piece and the rim.

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


def table_for(shooter: Shooter, law: FlightLaw | None = None) -> LawTable:
    """The shooter's flight law, sampled up to the fastest that its piece may get."""
    law = law or flight_law(shooter)
    spread = 6.0 * shooter.spread.exit_speed_std_m_per_s
    fastest = shooter.exit_speed_m_per_s + spread + ROBOT_SPEED_M_PER_S
    fall_m = float(np.abs(shooter.release_in_robot_m).max()) + 5.0
    return law_table(
        law, top_speed_m_per_s=math.sqrt(fastest**2 + 2.0 * law.gravity_m_per_s2 * fall_m)
    )
