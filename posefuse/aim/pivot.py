"""The pivot for a distance to a goal, and how a distance error changes it."""

import numpy as np
from numpy.typing import ArrayLike

from posefuse.aim.arcs import arc_curves, pivots_on, within_range
from posefuse.aim.ballistics import launch_angles_rad
from posefuse.aim.flight_law import flight_law
from posefuse.arena.arena import Goal
from posefuse.checks import FloatArray
from posefuse.robot.shooter import Drag, Shooter

__all__ = ["arc_pivots_rad", "pivot_error_rad", "pivot_rad"]


def pivot_rad(distance_m: ArrayLike, *, shooter: Shooter, goal: Goal) -> FloatArray:
    """The pivot that hits the middle of the opening, the robot facing the goal.

    The low arc where it lies in the pivot's range, else the high arc where that does; nan where
    neither does or the exit speed is too low.

    Parameters
    ----------
    distance_m
        Level distance from the middle of the robot to the middle of the opening, as the scores
        use it. The release point's place on the robot is taken off here.
    """
    low, high = arc_pivots_rad(distance_m, shooter=shooter, goal=goal)
    chosen = np.where(within_range(low, shooter), low, high)
    return np.where(within_range(chosen, shooter), chosen, np.nan)


def pivot_error_rad(
    estimated_m: ArrayLike, true_m: ArrayLike, *, shooter: Shooter, goal: Goal
) -> FloatArray:
    """Pivot set for the estimated distance minus the one right for the true distance.

    Both on the arc that the estimate picks, so that a change of arc at the end of the pivot's range
    does not pass for an error. nan where the estimate finds no pivot in the range or the true
    distance is out of reach.
    """
    picked = pivot_rad(estimated_m, shooter=shooter, goal=goal)
    low, _ = arc_pivots_rad(estimated_m, shooter=shooter, goal=goal)
    true_low, true_high = arc_pivots_rad(true_m, shooter=shooter, goal=goal)
    return picked - np.where(picked == low, true_low, true_high)


def arc_pivots_rad(
    distance_m: ArrayLike, *, shooter: Shooter, goal: Goal
) -> tuple[FloatArray, FloatArray]:
    """The low and the high pivot for each distance, in the pivot's range or not; nan beyond reach.

    In closed form where nothing but gravity acts and the release stays in its place, else from the
    curves of the compiled solver.
    """
    height = float(goal.centre_in_world_m[2])
    if _is_free_of_air(shooter) and shooter.arm_m == (0.0, 0.0):
        forward, left, up = shooter.release_in_robot_m
        across2 = np.asarray(distance_m, dtype=np.float64) ** 2 - left**2
        return launch_angles_rad(
            np.sqrt(np.maximum(across2, 0.0)) - forward,
            rise_m=height - up,
            speed_m_per_s=shooter.exit_speed_m_per_s,
        )
    low, high = arc_curves(shooter, height)
    return pivots_on(low, distance_m), pivots_on(high, distance_m)


def _is_free_of_air(shooter: Shooter) -> bool:
    piece = shooter.projectile
    return piece is None or (piece.drag is Drag.NONE and flight_law(shooter).lift_per_s == 0.0)
