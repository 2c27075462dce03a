"""The first pose: as stated, or from the tags while the robot stands still."""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.errors import InputError
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.gates import chi_square_quantile
from posefuse.fusion.measurements import PoseMeasurements
from posefuse.fusion.settings import NoiseModel
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.recording.recording import Frames, Odometry, Recording

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
    """The start from the tags seen during the standstill before the robot first moves.

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
    sensor = frames.sensor[fixes.frame[taken]]
    pose, cov, is_used = combine_fixes(fixes, taken, sensor=sensor, noise=noise)
    spent = np.zeros(len(frames.sensor), dtype=np.bool_)
    outcome = np.full(len(spent), Outcome.NO_SOLUTION, dtype=np.int64)
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
    fixes: PoseMeasurements, taken: IntArray, *, sensor: IntArray, noise: NoiseModel
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """The pose that most fixes of a standing robot agree on, its covariance, and who agrees.

    From the solution that the others agree with best, information-weighted means over the nearest
    solutions within the 99.9% gate, until the choice no longer changes. The covariance is
    conservative: from one spot the frames of one camera repeat each other's errors, so errors
    average out over cameras but not over frames; the floors do not average out at all; and scatter
    beyond the stated noise widens it.

    Parameters
    ----------
    taken, sensor : (n,) ints
        Which fixes, and the camera of each.
    """
    solutions = _solutions(fixes, taken, noise)
    pose, chosen, is_used = _agreed(solutions)
    rows = np.arange(len(taken))
    weights = solutions.weights[rows, chosen] * is_used[:, None, None]
    shares = np.linalg.inv(weights.sum(axis=0)) @ weights
    roots = shares @ np.linalg.cholesky(solutions.noises[rows, chosen])
    squared = solutions.squared_distances(pose[None])[0][rows, chosen][is_used]
    scatter = squared.sum() / max(3 * (len(squared) - 1), 1)
    cov = np.zeros((3, 3))
    for camera in np.unique(sensor):
        root = roots[sensor == camera].sum(axis=0)
        cov += max(scatter, 1.0) * root @ root.T
    return pose, cov + _floor(noise), is_used


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Solutions:
    """The solutions of a standstill's fixes: two each, the first again where there is only one.

    Parameters
    ----------
    poses, noises, weights : (n, 2, 3), (n, 2, 3, 3), (n, 2, 3, 3) arrays
        Covariances without the floors; inverses of those with them.
    """

    poses: FloatArray
    noises: FloatArray
    weights: FloatArray

    def squared_distances(self, poses: FloatArray) -> FloatArray:
        """Squared Mahalanobis distances (poses, n, 2) of the solutions from poses."""
        off = self.poses[None] - poses[:, None, None]
        off[..., 2] = wrap_angle_rad(off[..., 2])
        squared: FloatArray = np.einsum("pnai,naij,pnaj->pna", off, self.weights, off)
        return squared


def _floor(noise: NoiseModel) -> FloatArray:
    return np.diag([noise.position_floor_m**2] * 2 + [noise.heading_floor_rad**2])


def _solutions(fixes: PoseMeasurements, taken: IntArray, noise: NoiseModel) -> _Solutions:
    pair = np.stack([np.zeros(len(taken), dtype=np.int64), fixes.offered[taken] > 1], axis=-1)
    index = taken[:, None]
    noises: FloatArray = np.zeros((len(taken), 2, 3, 3))
    if (fixes.pixel_vars_px2[taken] > 0.0).all():
        noises += fixes.pixel_vars_px2[index][..., None, None] * fixes.unit_covs[index, pair]
    else:
        noises[..., [0, 1, 2], [0, 1, 2]] = fixes.extra_vars[index][..., [0, 0, 1]]
    weights: FloatArray = np.linalg.inv(noises + _floor(noise)).astype(np.float64)
    return _Solutions(poses=fixes.poses[index, pair], noises=noises, weights=weights)


def _agreed(solutions: _Solutions) -> tuple[FloatArray, IntArray, BoolArray]:
    """The pose agreed on, which solution of each fix is nearest to it, and which fixes agree."""
    gate = chi_square_quantile(_GATE_PROBABILITY, 3)
    rows = np.arange(len(solutions.poses))
    some = np.unique(np.linspace(0, len(rows) - 1, min(_MOST_PIVOTS, len(rows))).astype(int))
    pivots = solutions.poses[some].reshape(-1, 3)
    # a distance counts up to a bound: a pose far from some fixes may still be right
    support = np.minimum(solutions.squared_distances(pivots).min(axis=2), 4.0 * gate).sum(axis=1)
    pose = pivots[np.argmin(support)].copy()
    chosen, agrees = np.zeros(len(rows), dtype=np.int64), np.zeros(len(rows), dtype=np.bool_)
    for widening in (4.0, 2.0, *[1.0] * 8):  # the first pose has a spread of its own
        before = chosen, agrees
        squared = solutions.squared_distances(pose[None])[0]
        chosen = np.argmin(squared, axis=1)
        nearest = squared[rows, chosen]
        agrees = nearest <= max(widening * gate, nearest.min())
        if widening == 1.0 and all(map(np.array_equal, before, (chosen, agrees))):
            break
        weights = solutions.weights[rows, chosen] * agrees[:, None, None]
        off = solutions.poses[rows, chosen] - pose
        off[:, 2] = wrap_angle_rad(off[:, 2])
        pulled = np.einsum("nij,nj->i", weights, off)
        pose = pose + np.linalg.solve(weights.sum(axis=0), pulled)
    pose[2] = wrap_angle_rad(pose[2])
    return pose, chosen, agrees
