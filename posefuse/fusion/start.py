"""The first pose: as stated, or from the tags while the robot stands still."""

from dataclasses import dataclass

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.errors import InputError
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.settings import FilterSettings
from posefuse.fusion.standstill import combine_fixes
from posefuse.fusion.two_answers import carried, mean_views, offering_both, which_answer
from posefuse.fusion.weighing import solve_sightings, weigh_fixes
from posefuse.recording.recording import Odometry, Recording
from posefuse.robot.rig import Rig

__all__ = ["Start", "standstill_end", "start_from_tags", "stated_start"]

_STILL_M_PER_S = 0.05
_STILL_RAD_PER_S = 0.05
_LONGEST_S = 2.0


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
    recording: Recording, *, rig: Rig, arena: Arena, settings: FilterSettings
) -> Start:
    """The start from the tags seen during the standstill before the robot first moves.

    Uses the frames that arrive during the standstill (its first two seconds from the first tag on),
    each carried to the last of these rows by the odometry, taken as exact over so short a way: a
    robot may creep. Frames that arrive later are left to the filter. Where the tags fit two poses,
    ``which_answer`` decides.

    Raises
    ------
    InputError
        No tag was solved while the robot stood still; what was seen fits two poses; a tag or camera
        that the arena or the rig does not have.
    """
    odometry, frames, noise = recording.odometry, recording.frames, settings.noise
    stamps = odometry.stamps_s
    end_s = stamps[standstill_end(odometry)]
    solved = solve_sightings(recording, rig=rig, arena=arena, until_s=float(end_s))
    fixes = weigh_fixes(solved, offering_both(settings))
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
    fixes = carried(fixes, captured_s, odometry=odometry, row=row)
    _, _, agrees = combine_fixes(fixes, taken, sensor=sensor, noise=noise)
    views = mean_views(recording, frames=fixes.frame[taken[agrees]])
    near = which_answer(views, rig=rig, arena=arena, settings=settings, row=row)
    pose, cov, is_used = combine_fixes(fixes, taken, sensor=sensor, noise=noise, near=near)
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
