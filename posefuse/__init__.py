"""Choose camera mounts, tune the pose filter and prove the distance to the goal.

The names here are what a beginner needs; each is loaded when it is first used.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from posefuse.arena.arena import Arena, Goal
    from posefuse.arena.load import load_arena
    from posefuse.errors import FileError, InputError, PosefuseError
    from posefuse.fusion.estimate import Estimate
    from posefuse.fusion.fuse import fuse
    from posefuse.fusion.load import load_settings
    from posefuse.fusion.settings import FilterSettings
    from posefuse.geometry.plane import PlanePose
    from posefuse.geometry.space import SpacePose
    from posefuse.motion.course import Course
    from posefuse.motion.load import load_course
    from posefuse.recording.folder import read_recording, write_recording
    from posefuse.recording.recording import Recording
    from posefuse.robot.load import load_rig
    from posefuse.robot.rig import Rig
    from posefuse.scoring.score import score
    from posefuse.scoring.scorecard import Scorecard
    from posefuse.simulation.scene import Scene, prepare_scene
    from posefuse.simulation.simulate import simulate
    from posefuse.study.compare import compare
    from posefuse.study.comparison import Comparison
    from posefuse.study.load import load_study
    from posefuse.study.study import Study
    from posefuse.study.trial import plan_scene

_HOMES = {
    "Comparison": "posefuse.study.comparison",
    "Course": "posefuse.motion.course",
    "Estimate": "posefuse.fusion.estimate",
    "Arena": "posefuse.arena.arena",
    "FileError": "posefuse.errors",
    "FilterSettings": "posefuse.fusion.settings",
    "Goal": "posefuse.arena.arena",
    "InputError": "posefuse.errors",
    "PlanePose": "posefuse.geometry.plane",
    "SpacePose": "posefuse.geometry.space",
    "PosefuseError": "posefuse.errors",
    "Recording": "posefuse.recording.recording",
    "Rig": "posefuse.robot.rig",
    "Scene": "posefuse.simulation.scene",
    "Scorecard": "posefuse.scoring.scorecard",
    "Study": "posefuse.study.study",
    "compare": "posefuse.study.compare",
    "fuse": "posefuse.fusion.fuse",
    "load_course": "posefuse.motion.load",
    "load_arena": "posefuse.arena.load",
    "load_rig": "posefuse.robot.load",
    "load_settings": "posefuse.fusion.load",
    "load_study": "posefuse.study.load",
    "plan_scene": "posefuse.study.trial",
    "prepare_scene": "posefuse.simulation.scene",
    "read_recording": "posefuse.recording.folder",
    "score": "posefuse.scoring.score",
    "simulate": "posefuse.simulation.simulate",
    "write_recording": "posefuse.recording.folder",
}

__all__ = [
    "Arena",
    "Comparison",
    "Course",
    "Estimate",
    "FileError",
    "FilterSettings",
    "Goal",
    "InputError",
    "PlanePose",
    "PosefuseError",
    "Recording",
    "Rig",
    "Scene",
    "Scorecard",
    "SpacePose",
    "Study",
    "compare",
    "fuse",
    "load_arena",
    "load_course",
    "load_rig",
    "load_settings",
    "load_study",
    "plan_scene",
    "prepare_scene",
    "read_recording",
    "score",
    "simulate",
    "write_recording",
]


def __getattr__(name: str) -> Any:  # noqa: ANN401
    if name not in _HOMES:
        raise AttributeError(f"module 'posefuse' has no attribute {name!r}")
    thing = getattr(import_module(_HOMES[name]), name)
    globals()[name] = thing
    return thing


def __dir__() -> list[str]:
    return sorted(__all__)
