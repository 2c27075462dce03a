"""The one trial of a comparison that is shown in detail."""

from posefuse.fusion.fuse import fuse
from posefuse.study.camera_views import CameraViews
from posefuse.study.comparison import Comparison
from posefuse.study.pictured_trial import PicturedTrial, pictured_trial
from posefuse.study.strip import Strip, instants_of, look
from posefuse.study.trial import plan_scene

__all__ = ["shown_strip", "shown_trial"]

_STRIP_INSTANTS = 2
_STRIP_WIDE_PX = 800
"""Of the images that stand side by side, all together."""


def shown_trial(comparison: Comparison, plan_name: str, course: str) -> PicturedTrial:
    """A plan's first trial on a course, with what is to be drawn of it."""
    study = comparison.study
    plan = study.plan(plan_name)
    recording = comparison.trials_of(plan.name, course).first
    return pictured_trial(
        recording,
        estimate=fuse(recording, rig=plan.rig, arena=study.arena, settings=plan.settings),
        title=f"{plan.name}, {course}, first trial",
        arena=study.arena,
        rig=plan.rig,
        goal=study.goal,
    )


def shown_strip(comparison: Comparison, plan_name: str, course_name: str, workers: int) -> Strip:
    """What the cameras of a plan see at the first shots of that trial."""
    study = comparison.study
    plan, course = study.plan(plan_name), study.course(course_name)
    mounts = len(plan.rig.mounts)
    side_by_side = 1 if mounts == 1 else 2 if mounts <= 4 else 3  # as a page shows them
    return look(
        CameraViews(plan_scene(study, plan, course), seed=comparison.seed, trial=0),
        instants_of(course, most=_STRIP_INSTANTS),
        title=f"{plan.name}, {course.name}, first trial",
        workers=workers,
        least_wide_px=_STRIP_WIDE_PX // side_by_side,
    )
