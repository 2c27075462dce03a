"""A trial of a robot that rests and sees nothing: it calls what follows the sightings of any trial.

Numba compiles one function at a time in one process, for a minute on a first run. The trials begin
with seeing and solving. Meanwhile a second process can compile the rest of a trial here, which
needs neither, and leave it where the trials find it.
"""

from dataclasses import replace

import numpy as np

from posefuse.fusion.bound import posterior_bound
from posefuse.fusion.fuse import fuse
from posefuse.fusion.settings import FilterSettings
from posefuse.recording.recording import (
    Frames,
    Odometry,
    Recording,
    Shots,
    SightingKind,
    Sightings,
    StartPose,
    Truth,
)
from posefuse.scoring.score import score
from posefuse.study.comparison import Comparison, PlanTrials
from posefuse.study.ranking import rank_plans
from posefuse.study.study import Study

__all__ = ["compare_at_rest"]

_ROW_S = 0.1
_KNOWN_TO_M, _KNOWN_TO_RAD = 0.01, 0.01


def compare_at_rest(study: Study) -> Comparison:
    """The study's first plan where its first course starts, fused, scored and ranked.

    The filter has its default settings, since those of the study may need sightings.
    """
    plan, course = study.plans[0], study.courses[0]
    settings = FilterSettings()
    recording = _rest(study)
    rows = len(recording.odometry.stamps_s)
    card = score(
        recording,
        estimate=fuse(recording, rig=plan.rig, arena=study.arena, settings=settings),
        truth=recording.truth,
        goal=study.goal.name,
        arena=study.arena,
        shooter=plan.rig.body.shooter,
        bound_covs=posterior_bound(
            recording,
            frame_information=np.zeros((0, 3, 3)),
            step_covs=np.tile(1e-6 * np.eye(3), (rows, 1, 1)),
        ),
    )
    small = replace(study, plans=(replace(plan, settings=settings),), courses=(course,), trials=1)
    trials = (
        PlanTrials(
            plan=plan.name, course=course.name, cards=(card,), first=recording, outlook=None
        ),
    )
    return Comparison(
        study=small,
        trials=1,
        seed=study.seed,
        plan_trials=trials,
        ranking=rank_plans(small, trials),
        warnings=(),
    )


def _rest(study: Study) -> Recording:
    """A recording as long as the first course, with its shots and without a frame."""
    course = study.courses[0]
    pose = course.path.poses(course.path.start_s)
    stamps_s = np.arange(course.path.start_s, course.path.end_s + _ROW_S, _ROW_S)
    none = np.empty(0, dtype=np.int64)
    return Recording(
        name="at rest",
        sensor_names=study.plans[0].rig.sensor_names,
        odometry=Odometry(stamps_s=stamps_s, twists=np.zeros((len(stamps_s), 3))),
        frames=Frames(sensor=none, captured_at_s=np.empty(0), arrived_at_s=np.empty(0)),
        sightings=Sightings(
            kind=SightingKind.CORNERS, frame=none, id=none, values=np.empty((0, 8))
        ),
        start=StartPose(
            world_from_robot=pose, cov=np.diag([_KNOWN_TO_M, _KNOWN_TO_M, _KNOWN_TO_RAD]) ** 2
        ),
        truth=Truth(stamps_s=stamps_s, poses=np.tile(pose.values, (len(stamps_s), 1))),
        shots=Shots(
            stamps_s=np.array([shot.at_s for shot in course.shots]),
            goals=tuple(shot.goal for shot in course.shots),
        ),
    )
