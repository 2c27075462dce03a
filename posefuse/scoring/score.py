"""From a recording and its estimate to a Scorecard.

Every score uses the estimate as it stood at that instant: with what had arrived by then.
"""

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.checks import BoolArray, FloatArray, IntArray, frozen_array
from posefuse.errors import InputError
from posefuse.fusion.estimate import Estimate, Outcome
from posefuse.recording.recording import Recording, Truth
from posefuse.robot.shooter import Shooter
from posefuse.scoring.instants import InstantErrors, instant_errors, truth_at
from posefuse.scoring.run_intervals import run_intervals
from posefuse.scoring.scorecard import ErrorFigures, Nees, Nis, Scorecard, SpanScores
from posefuse.scoring.shot_hits import ShotHits, can_miss, shot_hits
from posefuse.statistics.chi_square import chi_square_average_interval
from posefuse.statistics.correlated import correlated_mean_interval

__all__ = ["NO_UPDATE_AFTER_S", "score", "seconds_since_update", "shot_rows"]

NO_UPDATE_AFTER_S = 0.5
"""An instant counts as without an update when no fused sighting that had arrived is younger."""
_STAMP_SLACK_S = 1e-6  # epoch stamps hold no more


def score(
    recording: Recording,
    *,
    estimate: Estimate,
    truth: Truth | None,
    arena: Arena,
    goal: str | None = None,
    shooter: Shooter | None = None,
    bound_covs: FloatArray | None = None,
    with_intervals: bool = False,
) -> Scorecard:
    """The run's scores at its shots and over the whole course.

    A shot is scored at the last odometry row that is not after it, with the truth at that row.

    Parameters
    ----------
    truth
        ``None``: only what needs none is scored.
    goal
        Name of the goal to which the whole course is scored; ``None`` leaves its distance out.
        Shots are scored to their own goals.
    bound_covs : (rows, 3, 3) array
        The bound's covariance of (x, y, heading) at every odometry row.
    with_intervals
        Whether to work out how sure this single run is of its figures: some 10 ms, which trials of
        a comparison do without.

    Raises
    ------
    InputError
        The estimate or the bound is not of this recording, or a goal is not in the arena.
    """
    _check_same_run(recording, estimate, bound_covs)
    course = instant_errors(
        np.arange(len(estimate.stamps_s)),
        estimate=estimate,
        truth=truth,
        goals=(arena.goal(goal),) if goal is not None else (),
        shooter=shooter,
    )
    since_update_s = seconds_since_update(recording, estimate, estimate.stamps_s)
    shots = None
    if recording.shots is not None and len(recording.shots.goals):
        shots = instant_errors(
            shot_rows(recording),
            estimate=estimate,
            truth=truth,
            goals=[arena.goal(name) for name in recording.shots.goals],
            shooter=shooter,
        )
    spans = [
        _span(
            errors,
            is_stale=since_update_s[errors.rows] > NO_UPDATE_AFTER_S,
            arena=arena,
            shooter=shooter,
            bound=bound_covs,
            with_intervals=with_intervals,
        )
        for errors in (course, shots)
        if errors is not None
    ]
    return Scorecard(
        name=recording.name,
        goal=goal,
        at_shots=spans[1] if shots is not None else None,
        whole_course=spans[0],
        shots=shots,
        shots_since_update_s=since_update_s[shots.rows] if shots is not None else None,
        hits=_hits(shots, recording, estimate=estimate, truth=truth, arena=arena, shooter=shooter),
        nis=_nis(estimate, with_intervals=with_intervals),
        outcomes=estimate.counts(),
        dropped_frame_count=recording.dropped_frame_count,
    )


def _hits(
    shots: InstantErrors | None,
    recording: Recording,
    *,
    estimate: Estimate,
    truth: Truth | None,
    arena: Arena,
    shooter: Shooter | None,
) -> ShotHits | None:
    if shots is None or truth is None or not truth.has_heading:
        return None
    if shooter is None or not can_miss(shooter):
        return None
    return shot_hits(
        shots,
        goals=[arena.goal(name) for name in shots.goals],
        estimate=estimate,
        odometry=recording.odometry,
        true_poses=truth_at(truth, estimate.stamps_s),
        shooter=shooter,
    )


def shot_rows(recording: Recording) -> IntArray:
    """The odometry row at which each shot is scored: the last one that is not after it.

    Raises
    ------
    InputError
        A shot lies outside the odometry's span.
    """
    shots_s = recording.shots.stamps_s if recording.shots is not None else np.zeros(0)
    stamps_s = recording.odometry.stamps_s
    outside = (shots_s < stamps_s[0] - _STAMP_SLACK_S) | (shots_s > stamps_s[-1] + _STAMP_SLACK_S)
    if outside.any():
        raise InputError(
            f"shot at {shots_s[np.argmax(outside)]!r} s: must lie within the odometry "
            f"({stamps_s[0]!r} to {stamps_s[-1]!r} s)"
        )
    rows = np.searchsorted(stamps_s, shots_s + _STAMP_SLACK_S, side="right") - 1
    return np.asarray(rows, dtype=np.int64)


def seconds_since_update(recording: Recording, estimate: Estimate, at_s: FloatArray) -> FloatArray:
    """Age (n,) of the newest fused sighting that had arrived by ``at_s``, by its capture stamp.

    Infinite before the first.
    """
    innovations = estimate.innovations
    is_fused = np.zeros(len(recording.frames.captured_at_s), dtype=np.bool_)
    is_fused[innovations.frame[innovations.outcome == Outcome.FUSED]] = True
    frames = np.flatnonzero(is_fused)
    arrived = recording.frames.arrived_at_s[frames]
    order = np.argsort(arrived, kind="stable")
    newest = np.maximum.accumulate(recording.frames.captured_at_s[frames][order])
    known = np.searchsorted(arrived[order], at_s, side="right")
    return np.asarray(at_s - np.concatenate([[-np.inf], newest])[known])


def _check_same_run(
    recording: Recording, estimate: Estimate, bound_covs: FloatArray | None
) -> None:
    rows = len(recording.odometry.stamps_s)
    if not np.array_equal(recording.odometry.stamps_s, estimate.stamps_s):
        raise InputError(
            f"estimate: its {len(estimate.stamps_s)} stamps are not those of the odometry of "
            f"{recording.name!r} ({rows} rows)"
        )
    if bound_covs is not None:
        frozen_array("bound covariances", bound_covs, (rows, 3, 3))


def _span(
    instants: InstantErrors,
    *,
    is_stale: BoolArray,
    arena: Arena,
    shooter: Shooter | None,
    bound: FloatArray | None,
    with_intervals: bool,
) -> SpanScores:
    scored = np.isfinite(instants.errors[:, 0])
    pivot = instants.pivot_error_rad[scored]
    has_aim = bool(instants.goals) and shooter is not None
    position2 = instants.errors[scored, 0] ** 2 + instants.errors[scored, 1] ** 2
    return SpanScores(
        count=len(instants.rows),
        scored_count=int(scored.sum()),
        distance_m=_figures(instants.distance_error_m[scored]),
        bearing_rad=_figures(instants.bearing_error_rad[scored]),
        pivot_rad=_figures(pivot),
        unreachable_count=int(np.isnan(pivot).sum()) if has_aim else None,
        heading_rad=_figures(instants.errors[scored, 2]),
        position_rms_m=float(np.sqrt(position2.mean())) if scored.any() else None,
        nees=_nees(instants.nees[scored], dof=instants.dof),
        no_update_count=int(is_stale.sum()),
        distance_bound_rms_m=_bound_rms(instants, scored=scored, arena=arena, bound=bound),
        intervals=run_intervals(instants, is_stale=is_stale) if with_intervals else {},
    )


def _figures(errors: FloatArray) -> ErrorFigures | None:
    known = errors[np.isfinite(errors)]
    if not len(known):
        return None
    return ErrorFigures(
        bias=float(known.mean()),
        rms=float(np.sqrt((known**2).mean())),
        p95=_percentile_95(np.abs(known)),
    )


def _percentile_95(values: FloatArray) -> float:
    """As ``np.percentile`` has it, without its overhead."""
    below, part = divmod(0.95 * (len(values) - 1), 1.0)
    low = int(below)
    high = min(low + 1, len(values) - 1)
    ordered = np.partition(values, (low, high))
    return float(ordered[low] + part * (ordered[high] - ordered[low]))


def _nees(values: FloatArray, *, dof: int) -> Nees | None:
    known = values[np.isfinite(values)]
    if not len(known):
        return None
    low, high = chi_square_average_interval(dof, 1)
    return Nees(
        mean=float(known.mean()),
        dof=dof,
        count=len(known),
        inside_share=float(((known >= low) & (known <= high)).mean()),
    )


def _bound_rms(
    instants: InstantErrors,
    *,
    scored: BoolArray,
    arena: Arena,
    bound: FloatArray | None,
) -> float | None:
    """Root mean square of the distance's spread: ``u' P u``, u the level direction to the goal."""
    if bound is None or not instants.goals or not scored.any():
        return None
    goal_xy = np.array([arena.goal(name).xy_in_world_m for name in instants.goals])
    dx, dy = (goal_xy - instants.true_poses[:, :2])[scored].T
    xx, xy, yy = bound.reshape(-1, 9)[instants.rows[scored]][:, [0, 1, 4]].T
    along2 = dx**2 * xx + 2.0 * dx * dy * xy + dy**2 * yy
    return float(np.sqrt((along2 / (dx**2 + dy**2)).mean()))


def _nis(estimate: Estimate, *, with_intervals: bool) -> tuple[Nis, ...]:
    innovations = estimate.innovations
    judged = np.isfinite(innovations.nis)
    scores = []
    for dof in np.flatnonzero(np.bincount(innovations.dof[judged])):
        own = judged & (innovations.dof == dof)
        nis = innovations.nis[own]
        scores.append(
            Nis(
                mean=float(nis.mean()),
                dof=int(dof),
                count=len(nis),
                gated_share=float((innovations.outcome[own] == Outcome.GATED).mean()),
                interval=correlated_mean_interval(nis) if with_intervals else None,
            )
        )
    return tuple(scores)
