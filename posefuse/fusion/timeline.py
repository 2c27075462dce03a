"""Which row each frame belongs to and when it is known: the order of events of both filters."""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.compiled.filter import arcs, locate
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.settings import FilterSettings, LateFrames, ProcessNoise
from posefuse.geometry.plane import PlanePose, arc_motion
from posefuse.recording.recording import Frames, Odometry

__all__ = ["Timeline", "make_timeline", "odometry_poses", "rows_at_or_before", "step_variances"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Timeline:
    """The run as the filter's program meets it, one turn of its loop for each odometry row.

    At each row the state is carried on by the row's motion; then every frame that has arrived since
    the row before is put where it belongs, and what follows it is replayed.

    Parameters
    ----------
    motions : (rows, 5) array
        dx_m, dy_m, turn_rad from the row before, in the robot's frame there; cosine and sine of the
        turn.
    step_vars : (rows, 2) array
        Variance that each step adds to x and to y (m^2), and to the heading (rad^2).
    first_row
        Row at which the filter starts.
    frame_row, frame_arrival : (frames,) ints
        Row whose state a frame corrects; row at which it is known.
    offsets : (frames, 5) array
        The same from the robot at ``frame_row`` to the robot at the capture.
    outcome : (frames,) ints
        ``Outcome.FUSED`` where the frame takes part; else why it does not.
    """

    stamps_s: FloatArray
    motions: FloatArray
    step_vars: FloatArray
    first_row: int
    frame_row: IntArray
    frame_arrival: IntArray
    offsets: FloatArray
    outcome: IntArray


def make_timeline(
    odometry: Odometry, frames: Frames, *, settings: FilterSettings, first_row: int = 0
) -> Timeline:
    """The order of events of one run.

    A frame belongs to the odometry row nearest to its capture (the later of two equally near). A
    fixed motion leads from that row to the capture: a share of the twist between the two rows
    around it. A frame stamped later than it arrived (its clock runs ahead) waits until the odometry
    has reached its stamp. Frames captured before ``first_row`` belong to that row, and the motion
    leads back along the odometry.

    Whether a frame comes too late is decided by its age at arrival, ``arrived_at_s`` less
    ``captured_at_s``, never by the row at which the filter then gets to it.

    Parameters
    ----------
    first_row
        Row at which the filter starts.
    """
    stamps, twists = odometry.stamps_s, odometry.twists
    captured, last = frames.captured_at_s, len(stamps) - 1
    before = np.clip(rows_at_or_before(stamps, captured), 0, last - 1)
    share = (captured - stamps[before]) / (stamps[before + 1] - stamps[before])
    is_later = share >= 0.5
    row = before + is_later
    arrival = _rows_at_or_after(stamps, frames.arrived_at_s)
    arrival = np.maximum(arrival, np.maximum(before + (share > 0.0), first_row))
    outcome = np.full(len(row), Outcome.FUSED, dtype=np.int64)
    is_outside = (captured < stamps[0]) | (captured > stamps[last]) | (arrival > last)
    late, age_s = settings.late_frames, frames.arrived_at_s - captured
    if late is LateFrames.REINSERT:
        outcome[age_s > settings.history_s] = Outcome.TOO_LATE
        offsets = _motions(twists, before + 1, share - is_later)
        if (is_early := row < first_row).any():
            offsets[is_early] = _motions_back(odometry, first_row, captured[is_early])
        row = np.maximum(row, first_row)
    else:
        if late is LateFrames.DROP:
            outcome[age_s > settings.drop_older_than_s] = Outcome.TOO_LATE
        row, offsets = arrival, _motions(twists, before, np.zeros(len(row)))
    outcome[is_outside] = Outcome.OUTSIDE_RUN
    return Timeline(
        stamps_s=stamps,
        motions=_motions(twists, np.arange(last + 1), np.ones(last + 1)),
        step_vars=step_variances(odometry, settings.process),
        first_row=first_row,
        frame_row=row,
        frame_arrival=arrival,
        offsets=offsets,
        outcome=outcome,
    )


def step_variances(odometry: Odometry, process: ProcessNoise) -> FloatArray:
    """Variance (rows, 2) that each step adds to x and to y alike, and to the heading."""
    twists = odometry.twists
    time_s = np.diff(odometry.stamps_s, prepend=odometry.stamps_s[0])
    travel_m = np.hypot(twists[:, 0], twists[:, 1])
    turn_rad = np.abs(twists[:, 2])
    variances = np.empty((len(twists), 2))
    variances[:, 0] = (
        process.position_m_per_sqrt_m**2 * travel_m + process.position_m_per_sqrt_s**2 * time_s
    )
    variances[:, 1] = (
        process.heading_rad_per_sqrt_rad**2 * turn_rad
        + process.heading_rad_per_sqrt_m**2 * travel_m
        + process.heading_rad_per_sqrt_s**2 * time_s
    )
    return variances


def _motions(twists: FloatArray, row: IntArray, share: FloatArray) -> FloatArray:
    """Motions (n, 5) of shares of the rows' twists: see ``Timeline.motions``."""
    motions = np.empty((len(row), 5))
    arcs(twists, row, share, motions)
    return motions


def _motions_back(odometry: Odometry, row: int, times_s: FloatArray) -> FloatArray:
    """Motions (n, 5) from the robot at a row to the robot at earlier times, by the odometry."""
    ends = np.append(times_s, odometry.stamps_s[row])
    poses = PlanePose(odometry_poses(odometry, ends))
    back = (PlanePose(poses.values[-1]).inverse() @ PlanePose(poses.values[:-1])).values
    return np.column_stack([back, np.cos(back[:, 2]), np.sin(back[:, 2])])


def odometry_poses(odometry: Odometry, times_s: FloatArray) -> FloatArray:
    """Where the odometry alone puts the robot at times (n,) of the run, (n, 3).

    x_m, y_m, heading_rad in the robot's own frame at the first row; between two rows a share of the
    twist.
    """
    stamps, last = odometry.stamps_s, len(odometry.stamps_s) - 1
    before = np.clip(rows_at_or_before(stamps, times_s), 0, last - 1)
    steps = arc_motion(odometry.twists[: before.max(initial=0) + 1])
    headings = np.cumsum(steps.heading_rad)
    turned = PlanePose(np.stack([0.0 * headings, 0.0 * headings, headings - steps.heading_rad], -1))
    path = np.column_stack([np.cumsum(turned.transform(steps.xy_m), axis=0), headings])
    share = (times_s - stamps[before]) / (stamps[before + 1] - stamps[before])
    onward = arc_motion(share[:, None] * odometry.twists[before + 1])
    return (PlanePose(path[before]) @ onward).values


def rows_at_or_before(stamps_s: FloatArray, times_s: FloatArray) -> IntArray:
    """For each time the last row stamped at or before it; -1 where it lies before them all."""
    rows = np.empty(len(times_s), dtype=np.int64)
    locate(stamps_s, times_s, rows)
    return rows


def _rows_at_or_after(stamps_s: FloatArray, times_s: FloatArray) -> IntArray:
    """For each time the first row stamped at or after it; the row count where there is none."""
    before = rows_at_or_before(stamps_s, times_s)
    after: IntArray = before + (stamps_s[np.maximum(before, 0)] != times_s)
    return after
