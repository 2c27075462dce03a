"""Two paths of the same run compared: aligned as a whole, and piece by piece.

Absolute and relative trajectory error: Sturm, Engelhard, Endres, Burgard, Cremers, "A benchmark for
the evaluation of RGB-D SLAM systems", IROS 2012.
"""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.fusion.estimate import Estimate
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.geometry.plane import PlanePose
from posefuse.recording.recording import Truth
from posefuse.scoring.instants import truth_at

__all__ = ["Alignment", "TrajectoryScores", "align", "relative_errors", "trajectory_scores"]

PIECE_S = 1.0
"""Length of the pieces whose motion is compared."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Alignment:
    """A turn, a shift and a scale: ``target = scale * rotation @ source + shift_m``."""

    rotation: FloatArray
    shift_m: FloatArray
    scale: float

    def apply(self, source_m: FloatArray) -> FloatArray:
        """Points (n, d) of the source, aligned with the target."""
        return self.scale * source_m @ self.rotation.T + self.shift_m


@dataclass(frozen=True, slots=True, kw_only=True)
class TrajectoryScores:
    """What remains of the position error when the whole path is aligned by one turn and shift.

    A large ``turn_rad`` or ``shift_m`` says that truth and arena are not given in one frame.

    Parameters
    ----------
    aligned_position_rms_m
        Absolute trajectory error.
    turn_rad, shift_m
        How the estimate is turned, and how far its middle is moved, to fit the truth best.
    piece_position_rms_m, piece_heading_rms_rad
        Relative error over pieces of one second; ``None`` without a true heading, or without a
        piece that long.
    """

    aligned_position_rms_m: float
    turn_rad: float
    shift_m: float
    piece_position_rms_m: float | None
    piece_heading_rms_rad: float | None


def align(source_m: FloatArray, target_m: FloatArray, *, with_scale: bool = False) -> Alignment:
    """The turn and shift (and scale) that align points (n, d) with others: least square error.

    S. Umeyama, IEEE Trans. Pattern Analysis and Machine Intelligence 13(4), 376-380, 1991,
    eqs. 40-42; never a mirror image.

    Raises
    ------
    InputError
        Fewer than two points, or unlike shapes.
    """
    if source_m.shape != target_m.shape or source_m.ndim != 2 or len(source_m) < 2:
        raise InputError(
            f"alignment: two sets of 2 points or more wanted, of one shape (got {source_m.shape} "
            f"and {target_m.shape})"
        )
    middle, aim = source_m.mean(axis=0), target_m.mean(axis=0)
    spread = (target_m - aim).T @ (source_m - middle) / len(source_m)
    left, stretch, right = np.linalg.svd(spread)
    signs = np.ones(len(stretch))
    signs[-1] = np.sign(np.linalg.det(left) * np.linalg.det(right))
    rotation = left @ np.diag(signs) @ right
    variance = ((source_m - middle) ** 2).sum() / len(source_m)
    scale = float(stretch @ signs / variance) if with_scale else 1.0
    return Alignment(rotation=rotation, shift_m=aim - scale * rotation @ middle, scale=scale)


def relative_errors(*, estimated: PlanePose, truth: PlanePose, step: int) -> FloatArray:
    """Error (n - step, 3) of the motion over each piece of ``step`` poses.

    x_m, y_m, heading_rad in the frame of the piece's true end.
    """

    def motion(poses: PlanePose) -> PlanePose:
        return PlanePose(poses.values[:-step]).inverse() @ PlanePose(poses.values[step:])

    return (motion(truth).inverse() @ motion(estimated)).wrapped().values


def trajectory_scores(*, estimate: Estimate, truth: Truth) -> TrajectoryScores | None:
    """Absolute and relative trajectory errors at the rows where the truth is known.

    ``None`` when it is known at fewer than two.
    """
    true_poses = truth_at(truth, estimate.stamps_s)
    rows = np.flatnonzero(np.isfinite(true_poses[:, 0]))
    if len(rows) < 2:
        return None
    estimated, true_poses = estimate.poses[rows], true_poses[rows]
    alignment = align(estimated[:, :2], true_poses[:, :2])
    laid_m = alignment.apply(estimated[:, :2])
    step = round(PIECE_S / float(np.median(np.diff(estimate.stamps_s[rows]))))
    pieces = np.zeros((0, 3))
    if truth.has_heading and 0 < step < len(rows):
        # a piece that spans a stretch without truth would be longer than the others
        whole = rows[step:] - rows[:-step] == step
        errors = relative_errors(
            estimated=PlanePose(estimated), truth=PlanePose(true_poses), step=step
        )
        pieces = errors[whole]
    moved_m = alignment.apply(estimated[:, :2].mean(axis=0)) - estimated[:, :2].mean(axis=0)
    return TrajectoryScores(
        aligned_position_rms_m=_rms(laid_m - true_poses[:, :2]),
        turn_rad=float(
            wrap_angle_rad(np.arctan2(alignment.rotation[1, 0], alignment.rotation[0, 0]))
        ),
        shift_m=float(np.hypot(*moved_m)),
        piece_position_rms_m=_rms(pieces[:, :2]) if len(pieces) else None,
        piece_heading_rms_rad=_rms(pieces[:, 2:]) if len(pieces) else None,
    )


def _rms(rows: FloatArray) -> float:
    """Root mean square of the rows' lengths."""
    return float(np.sqrt((rows**2).sum(axis=1).mean()))
