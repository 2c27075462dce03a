"""One run with everything that its pictures show."""

import math
from dataclasses import dataclass

import numpy as np

from posefuse.arena.arena import Arena, Goal
from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.fusion.estimate import Estimate
from posefuse.recording.recording import Recording
from posefuse.robot.rig import Rig
from posefuse.scoring.instants import InstantErrors, instant_errors
from posefuse.scoring.score import shot_rows
from posefuse.study.consistency import NisSample, nis_sample

__all__ = ["PicturedTrial", "pictured_trial"]

_MARKS_WITHOUT_SHOTS = 16


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PicturedTrial:
    """One run, its estimate, and the errors of the latter.

    Parameters
    ----------
    title
        Whose run it is.
    goal
        The goal of a run without shots; ``None``: it has no distance.
    course
        Errors at every odometry row, to the goal of the next shot; after the last shot its goal
        stays. nan without a truth.
    marks
        Errors at the shots, to their own goals; of a run without shots at instants spread evenly,
        without a distance.
    distance_std_m : (rows,) array
        The filter's own spread of the distance of ``course``; empty without a goal.
    nis
        ``None`` when nothing reached the gate.
    """

    title: str
    recording: Recording
    estimate: Estimate
    arena: Arena
    rig: Rig
    goal: Goal | None
    course: InstantErrors
    marks: InstantErrors
    distance_std_m: FloatArray
    nis: NisSample | None

    @property
    def t_s(self) -> FloatArray:
        """The odometry's stamps, from the first one on."""
        return np.asarray(self.estimate.stamps_s - self.estimate.stamps_s[0])

    @property
    def has_shots(self) -> bool:
        """Whether the marks are shots."""
        return bool(self.recording.shots is not None and len(self.recording.shots.goals))

    @property
    def has_distance(self) -> bool:
        """Whether there is a goal to which the distance is estimated."""
        return len(self.course.goals) > 0

    @property
    def distance_rms_m(self) -> float:
        """RMS of the distance error over the whole course; nan where no truth is known."""
        known = self.course.distance_error_m[self._is_known]
        return math.sqrt(float(np.mean(known**2))) if len(known) else math.nan

    @property
    def share_within_two_sigma(self) -> float:
        """Share of the course on which the error is within twice the filter's own spread."""
        errors, is_known = self.course.distance_error_m, self._is_known
        if not is_known.any():
            return math.nan
        return float(np.mean(np.abs(errors[is_known]) <= 2.0 * self.distance_std_m[is_known]))

    @property
    def worst_mark(self) -> int | None:
        """The mark with the largest distance error; ``None`` where none is known."""
        sizes = np.abs(self.marks.distance_error_m)
        return int(np.nanargmax(sizes)) if np.isfinite(sizes).any() else None

    @property
    def _is_known(self) -> BoolArray:
        return np.asarray(np.isfinite(self.course.distance_error_m))


def pictured_trial(
    recording: Recording,
    *,
    estimate: Estimate,
    title: str,
    arena: Arena,
    rig: Rig,
    goal: Goal | None,
) -> PicturedTrial:
    """The run with its errors worked out."""
    rows, shots = np.arange(len(estimate.stamps_s)), shot_rows(recording)
    shot_goals = (
        [arena.goal(name) for name in recording.shots.goals] if recording.shots is not None else []
    )
    ahead = _goals_ahead(shot_goals or ([] if goal is None else [goal]), shots, rows)
    marked = shots if len(shots) else _spread_evenly(len(rows))
    return PicturedTrial(
        title=title,
        recording=recording,
        estimate=estimate,
        arena=arena,
        rig=rig,
        goal=goal,
        course=instant_errors(rows, estimate=estimate, truth=recording.truth, goals=ahead),
        marks=instant_errors(marked, estimate=estimate, truth=recording.truth, goals=shot_goals),
        distance_std_m=_distance_std_m(estimate, ahead),
        nis=nis_sample(estimate),
    )


def _goals_ahead(goals: list[Goal], shots: IntArray, rows: IntArray) -> list[Goal]:
    """The goal of the next shot at every odometry row; after the last one it stays."""
    if not goals:
        return []
    coming = np.searchsorted(shots, rows)
    return [goals[place] for place in np.minimum(coming, len(goals) - 1)]


def _spread_evenly(rows: int) -> IntArray:
    return np.unique(np.linspace(0, rows - 1, _MARKS_WITHOUT_SHOTS).astype(np.int64))


def _distance_std_m(estimate: Estimate, goals: list[Goal]) -> FloatArray:
    """The filter's own spread of the distance to the goal of each row, (rows,)."""
    if not goals:
        return np.zeros(0)
    toward = np.array([goal.xy_in_world_m for goal in goals]) - estimate.poses[:, :2]
    toward /= np.maximum(np.hypot(*toward.T), 1e-9)[:, None]
    variance = np.einsum("ni,nij,nj->n", toward, estimate.covs[:, :2, :2], toward)
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)))
