"""Estimate minus truth at odometry rows: all of them, or those of the shots."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from posefuse.aim.pivot import pivot_error_rad
from posefuse.arena.arena import Goal
from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.estimate import Estimate
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.recording.recording import Truth
from posefuse.robot.shooter import Shooter

__all__ = ["InstantErrors", "instant_errors", "nees_of", "truth_at"]

TRUTH_GAP_S = 1.0
"""Longest gap between two true poses that is bridged by a straight line."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InstantErrors:
    """Errors at some odometry rows; nan where a thing is not known.

    Parameters
    ----------
    rows : (n,) ints
        Odometry rows.
    goals
        The goal of each instant; a single one stands for all, none for none.
    true_poses : (n, 3) array
        x_m, y_m, heading_rad unwrapped; nan where the truth is not known.
    errors : (n, 3) array
        Estimate minus truth in x_m, y_m, heading_rad.
    distance_error_m, bearing_error_rad, pivot_error_rad : (n,) arrays
        To the goal; the bearing is its direction in the robot frame.
    nees : (n,) array
        Normalised estimation error squared, with ``dof`` degrees of freedom: 2 (x, y) without a
        true heading; nan where the covariance is not positive definite.
    """

    rows: IntArray
    stamps_s: FloatArray
    goals: tuple[str, ...]
    true_poses: FloatArray
    errors: FloatArray
    true_distance_m: FloatArray
    distance_error_m: FloatArray
    bearing_error_rad: FloatArray
    pivot_error_rad: FloatArray
    nees: FloatArray
    dof: int

    @property
    def position_error_m(self) -> FloatArray:
        """Length of each position error, (n,)."""
        return np.hypot(self.errors[:, 0], self.errors[:, 1])


def instant_errors(
    rows: IntArray,
    *,
    estimate: Estimate,
    truth: Truth | None,
    goals: Sequence[Goal] = (),
    shooter: Shooter | None = None,
) -> InstantErrors:
    """Errors at the given odometry rows, with the estimate as it stood there.

    Parameters
    ----------
    goals
        One for each row, one for all, or none.
    """
    has_heading = truth is None or truth.has_heading
    true_poses = (
        truth_at(truth, estimate.stamps_s)[rows]
        if truth is not None
        else np.full((len(rows), 3), np.nan)
    )
    poses = estimate.poses[rows]
    errors = poses - true_poses
    errors[:, 2] = wrap_angle_rad(errors[:, 2]) if has_heading else np.nan
    unknown = np.full(len(rows), np.nan)
    true_distance = distance_error = bearing_error = pivot_error = unknown
    if goals:
        goal_xy = np.array([goal.xy_in_world_m for goal in goals])
        distance, bearing = _seen_from(poses, goal_xy)
        true_distance, true_bearing = _seen_from(true_poses, goal_xy)
        distance_error = distance - true_distance
        bearing_error = (
            wrap_angle_rad(bearing - true_bearing - errors[:, 2]) if has_heading else unknown
        )
        if shooter is not None:
            pivot_error = _pivot_errors(distance, true_distance, goals=goals, shooter=shooter)
    dof = 3 if has_heading else 2
    return InstantErrors(
        rows=rows,
        stamps_s=estimate.stamps_s[rows],
        goals=tuple(goal.name for goal in goals),
        true_poses=true_poses,
        errors=errors,
        true_distance_m=true_distance,
        distance_error_m=distance_error,
        bearing_error_rad=bearing_error,
        pivot_error_rad=pivot_error,
        nees=nees_of(errors[:, :dof], estimate.covs[rows]),
        dof=dof,
    )


def truth_at(truth: Truth, stamps_s: FloatArray) -> FloatArray:
    """True poses (n, 3): linear between those recorded, the heading unwrapped first.

    nan before the first and after the last of them, and in a gap of more than 1 s.
    """
    if np.array_equal(truth.stamps_s, stamps_s):
        return truth.poses
    after = np.searchsorted(truth.stamps_s, stamps_s, side="left")
    upper = np.minimum(after, len(truth.stamps_s) - 1)
    lower = np.maximum(upper - 1, 0)
    is_met = truth.stamps_s[upper] == stamps_s
    is_between = (after > 0) & (after < len(truth.stamps_s))
    is_near = truth.stamps_s[upper] - truth.stamps_s[lower] <= TRUTH_GAP_S
    x, y, heading = truth.poses.T
    columns = [np.interp(stamps_s, truth.stamps_s, column) for column in (x, y, np.unwrap(heading))]
    is_known = is_met | (is_between & is_near)
    return np.where(is_known[:, None], np.stack(columns, axis=-1), np.nan)


def _seen_from(poses: FloatArray, goal_xy_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Distance to the goals, and their direction in the world."""
    dx, dy = (goal_xy_m - poses[:, :2]).T
    return np.sqrt(dx**2 + dy**2), np.arctan2(dy, dx)  # np.hypot takes six times as long


def _pivot_errors(
    estimated_m: FloatArray, true_m: FloatArray, *, goals: Sequence[Goal], shooter: Shooter
) -> FloatArray:
    if len(goals) == 1:
        return pivot_error_rad(estimated_m, true_m, shooter=shooter, goal=goals[0])
    errors = np.full(len(estimated_m), np.nan)
    for goal in {goal.name: goal for goal in goals}.values():
        its_own = np.array([other.name == goal.name for other in goals])
        errors[its_own] = pivot_error_rad(
            estimated_m[its_own], true_m[its_own], shooter=shooter, goal=goal
        )
    return errors


def nees_of(errors: FloatArray, covs: FloatArray) -> FloatArray:
    """``e' P^-1 e`` for errors (n, 2 or 3) and covariances (n, 3, 3), by LDL' written out.

    With two error columns the covariance of x and y alone is taken. nan where the covariance is not
    positive definite. Method: Golub and Van Loan, Matrix Computations, 4th ed. 2013, sec. 4.1.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        d1 = covs[:, 0, 0]
        l21 = covs[:, 1, 0] / d1
        d2 = covs[:, 1, 1] - l21 * covs[:, 1, 0]
        y2 = errors[:, 1] - l21 * errors[:, 0]
        total = errors[:, 0] ** 2 / d1 + y2**2 / d2
        is_definite = (d1 > 0.0) & (d2 > 0.0)
        if errors.shape[1] == 3:
            l31 = covs[:, 2, 0] / d1
            l32 = (covs[:, 2, 1] - l31 * covs[:, 1, 0]) / d2
            d3 = covs[:, 2, 2] - l31 * covs[:, 2, 0] - l32**2 * d2
            total += (errors[:, 2] - l31 * errors[:, 0] - l32 * y2) ** 2 / d3
            is_definite &= d3 > 0.0
    return np.where(is_definite, total, np.nan)
