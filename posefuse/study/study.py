"""A study: rival plans on shared courses, with identical random draws for all of them."""

from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from posefuse.arena.arena import Arena, Goal
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import InputError
from posefuse.fusion.settings import FilterSettings
from posefuse.motion.course import Course
from posefuse.robot.rig import Rig
from posefuse.simulation.scene import SightingSource

__all__ = ["Plan", "Study"]

T = TypeVar("T", "Plan", "Course")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """One rival: a rig and the filter settings it is run with.

    Parameters
    ----------
    rig_path
        The rig's file, where it was read from one.
    camera_path
        The file of the camera that every mount carries in place of what the rig's file says.
    """

    name: str
    rig: Rig
    settings: FilterSettings
    rig_path: Path | None = None
    camera_path: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Study:
    """What is compared, on what, how often.

    Parameters
    ----------
    goal
        The goal whose distance is scored along the whole course; shots name their own.
    spreads
        Build errors that are drawn anew in each trial.
    start_std : (3,) array or None
        Error of the stated start pose: x_m, y_m, heading_rad; ``None``: no start is stated.
    sightings
        Whether corners are drawn from the detectors' response, or found in rendered images.
    path, arena_path
        The study's and the arena's file, where they were read from files.
    """

    name: str
    arena: Arena
    goal: Goal
    plans: tuple[Plan, ...]
    courses: tuple[Course, ...]
    spreads: BuildSpreads
    start_std: FloatArray | None
    trials: int
    seed: int
    sightings: SightingSource = SightingSource.CORNERS
    path: Path | None = None
    arena_path: Path | None = None

    def __post_init__(self) -> None:
        if self.start_std is not None:
            object.__setattr__(self, "start_std", frozen_array("start_std", self.start_std, (3,)))
        for what, names in (
            ("plan", [plan.name for plan in self.plans]),
            ("course", [course.name for course in self.courses]),
        ):
            if not names:
                raise InputError(f"{what}: a study needs one or more (got none)")
            for name in names:
                if names.count(name) > 1:
                    raise InputError(f"{what} {name!r}: the name is used {names.count(name)} times")
        if self.trials < 1:
            raise InputError(f"trials: must be 1 or more (got {self.trials})")
        if self.seed < 0:
            raise InputError(f"seed: must be 0 or more (got {self.seed})")

    def frames_per_trial(self) -> int:
        """Frames that the cameras of all plans take on all courses, about."""
        rate_hz = sum(m.camera.timing.frame_rate_hz for plan in self.plans for m in plan.rig.mounts)
        driven_s = sum(course.path.end_s - course.path.start_s for course in self.courses)
        return round(rate_hz * driven_s)

    def plan(self, name: str) -> Plan:
        """The plan of that name."""
        return _named("plan", name, self.plans)

    def course(self, name: str) -> Course:
        """The course of that name."""
        return _named("course", name, self.courses)


def _named(what: str, name: str, things: tuple[T, ...]) -> T:
    for thing in things:
        if thing.name == name:
            return thing
    raise InputError(f"{what}: none is named {name!r} (have: {', '.join(t.name for t in things)})")
