"""The first pose: as stated, or from the tags while the robot stands still."""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.errors import InputError
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.gates import chi_square_quantile
from posefuse.fusion.measurements import PoseMeasurements
from posefuse.fusion.settings import NoiseModel
from posefuse.geometry import wrap_angle_rad
from posefuse.recording import Frames, Odometry, Recording

__all__ = ["Start", "combine_fixes", "standstill_end", "start_from_tags", "stated_start"]

_STILL_M_PER_S = 0.05
_STILL_RAD_PER_S = 0.05
_LONGEST_S = 2.0
_GATE_PROBABILITY = 0.999
_MOST_PIVOTS = 40


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Start:
    """Where the filter starts.

    Parameters
    ----------
    row
        The odometry row at which this pose holds.
    pose, cov : (3,), (3, 3) arrays
        x_m, y_m, heading_rad and their covariance.
    spent : (frames,) bools
        Frames that went into it, or were refused for it; the filter must not meet them again.
    outcome : (frames,) ints
        ``Outcome`` of each frame spent.
    """

    row: int
    pose: FloatArray
    cov: FloatArray
    spent: BoolArray
    outcome: IntArray


def stated_start(recording: Recording) -> Start:
    """The start that the recording states.

    Raises
    ------
    InputError
        It states none.
    """
    if recording.start is None:
        raise InputError(
            f"start: recording {recording.name!r} states no start pose; state one,"
            " or let the filter take it from the tags (start_from = 'tags')"
        )
    frame_count = len(recording.frames.sensor)
    return Start(
        row=0,
        pose=recording.start.world_from_robot.values,
        cov=recording.start.cov,
        spent=np.zeros(frame_count, dtype=np.bool_),
        outcome=np.full(frame_count, Outcome.FUSED, dtype=np.int64),
    )


def start_from_tags(
    odometry: Odometry, frames: Frames, *, fixes: PoseMeasurements, noise: NoiseModel
) -> Start:
    """The start told by the tags in the standstill before the robot first moves.

    Uses the frames that arrive during the standstill (its first two seconds from the first tag on);
    the pose holds from the last of these rows on. Frames that arrive later are left to the filter.

    Raises
    ------
    InputError
        No tag was solved while the robot stood still.
    """
    stamps = odometry.stamps_s
    end_s = stamps[standstill_end(odometry)]
    captured_s, arrived_s = frames.captured_at_s[fixes.frame], frames.arrived_at_s[fixes.frame]
    is_early = (captured_s >= stamps[0]) & (arrived_s <= end_s)
    is_solved = is_early & (fixes.offered > 0)
    if not is_solved.any():
        raise InputError(
            "start_from 'tags': no tag was seen while the robot stood still"
            f" (the first {end_s - stamps[0]:.3g} s); state the start pose instead"
        )
    end_s = min(end_s, arrived_s[is_solved].min() + _LONGEST_S)
    row = int(np.searchsorted(stamps, end_s, side="left"))
    is_early &= arrived_s <= stamps[row]
    taken = np.flatnonzero(is_early & is_solved)
    pose, cov, is_used = combine_fixes(fixes, taken, noise=noise)
    spent = np.zeros(len(frames.sensor), dtype=np.bool_)
    outcome = np.full(len(spent), Outcome.NO_ANSWER, dtype=np.int64)
    spent[fixes.frame[is_early]] = True
    outcome[fixes.frame[taken]] = np.where(is_used, Outcome.FUSED, Outcome.GATED)
    return Start(row=row, pose=pose, cov=cov, spent=spent, outcome=outcome)


def standstill_end(odometry: Odometry) -> int:
    """The last row before the robot first moves; 0 where it moves at once.

    Still is slower than 0.05 m/s and 0.05 rad/s from row to row.
    """
    time_s = np.diff(odometry.stamps_s)
    twists = odometry.twists[1:]
    travel_m, turn_rad = np.hypot(twists[:, 0], twists[:, 1]), np.abs(twists[:, 2])
    moves = (travel_m > _STILL_M_PER_S * time_s) | (turn_rad > _STILL_RAD_PER_S * time_s)
    return int(np.argmax(moves)) if moves.any() else len(moves)


def combine_fixes(
    fixes: PoseMeasurements, taken: IntArray, *, noise: NoiseModel
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """The pose that most fixes of a standing robot agree on, its covariance, and who agrees.

    From the answer that the others agree with best, information-weighted means over the nearest
    answers within the 99.9% gate, until the choice stands. The corners' noise averages out in the
    covariance, the floors do not: they stand for errors that repeat from frame to frame. Scatter
    beyond the stated noise widens it.

    Parameters
    ----------
    taken : (n,) ints
        Which fixes.
    """
    poses = fixes.poses[taken]
    count = np.where(fixes.offered[taken] > 1, 2, 1)
    noises = np.array([[fixes.cov(i, answer) for answer in (0, 1)] for i in taken])
    floor = np.diag([noise.position_floor_m**2] * 2 + [noise.heading_floor_rad**2])
    covs = noises
    if (fixes.pixel_vars_px2[taken] > 0.0).all():  # then ``cov`` holds the floors already
        noises = noises - floor
    else:
        covs = noises + floor
    # an answer not offered must not spoil the inversion
    covs = np.where((np.arange(2) < count[:, None])[..., None, None], covs, np.eye(3))
    weights = np.linalg.inv(covs)
    gate = chi_square_quantile(_GATE_PROBABILITY, 3)
    pose = _best_pivot(poses, weights, count, gate)
    rows, answer, is_used = np.arange(len(taken)), np.zeros(0), np.zeros(len(taken), np.bool_)
    mean_weights = weights[:, 0]
    for widening in (4.0, 2.0, *[1.0] * 8):
        misfit = _misfits(pose[None], poses, weights, count)[0]
        chosen = np.argmin(misfit, axis=1)
        agrees = misfit[rows, chosen] <= widening * gate
        if widening == 1.0 and np.array_equal(agrees, is_used) and np.array_equal(chosen, answer):
            break
        if not agrees.any():
            agrees[np.argmin(misfit[rows, chosen])] = True
        answer, is_used = chosen, agrees
        mean_weights = weights[rows, answer] * is_used[:, None, None]
        pose = pose + _mean_step(pose, poses[rows, answer], mean_weights)
    shares = np.linalg.inv(mean_weights.sum(axis=0)) @ mean_weights
    cov = np.einsum("nij,njk,nlk->il", shares, noises[rows, answer], shares)
    misfit = _misfits(pose[None], poses, weights, count)[0]
    scatter = misfit[rows, answer][is_used].sum() / max(3 * (int(is_used.sum()) - 1), 1)
    pose[2] = wrap_angle_rad(pose[2])
    return pose, cov * max(scatter, 1.0) + floor, is_used


def _best_pivot(poses: FloatArray, weights: FloatArray, count: IntArray, gate: float) -> FloatArray:
    """The answer with the smallest sum of the others' misfits, each cut off at the gate."""
    some = np.unique(np.linspace(0, len(poses) - 1, min(_MOST_PIVOTS, len(poses))).astype(int))
    pivots = np.concatenate([poses[some, 0], poses[some[count[some] > 1], 1]])
    misfit = _misfits(pivots, poses, weights, count).min(axis=2)
    best: FloatArray = pivots[np.argmin(np.minimum(misfit, 4.0 * gate).sum(axis=1))]
    return best


def _misfits(
    pivots: FloatArray, poses: FloatArray, weights: FloatArray, count: IntArray
) -> FloatArray:
    """Squared distances (pivots, n, 2) in spreads of the answers; inf where there is none."""
    off = poses[None] - pivots[:, None, None]
    off[..., 2] = wrap_angle_rad(off[..., 2])
    squared: FloatArray = np.einsum("pnai,naij,pnaj->pna", off, weights, off, optimize=False)
    squared[:, count < 2, 1] = np.inf
    return squared


def _mean_step(pose: FloatArray, poses: FloatArray, weights: FloatArray) -> FloatArray:
    """From a pose to the weighted mean of poses near it."""
    off = poses - pose
    off[:, 2] = wrap_angle_rad(off[:, 2])
    step: FloatArray = np.linalg.solve(weights.sum(axis=0), np.einsum("nij,nj->i", weights, off))
    return step
