"""Courses from files."""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TypeVar

import numpy as np

from posefuse.files.references import referenced
from posefuse.files.toml_file import Faults, all_faults_of, load_toml
from posefuse.files.trajectory_file import headings_rad, read_trajectory
from posefuse.motion.course import Course, Shot
from posefuse.motion.path import TruePath
from posefuse.motion.planned import planned_path
from posefuse.motion.schema import CourseFile
from posefuse.motion.waypoints import Waypoint

__all__ = ["course_sources", "load_course"]

_PLANNED_KEYS = ("duration_s", "limits", "waypoint")
_FREE_KEYS = ("repeat", "still_s")

T = TypeVar("T")


def load_course(path: Path | str) -> Course:
    """The course a file describes: planned from its waypoints, or a recorded trajectory.

    A planned course runs from 0 to its ``duration_s``. A trajectory keeps the stamps of its file,
    epoch seconds too; shots, bumps and all else then name their instants on that clock.

    Raises
    ------
    FileError
        With one line for each fault, of this file or of the trajectory it names.
    """
    path = Path(path)
    file = load_toml(path, CourseFile)
    with all_faults_of(path) as faults:
        _refuse_mixture(faults, file)
        waypoints = _each(faults, "waypoint", [entry.waypoint for entry in file.waypoint])
        lifts = _each(faults, "lift", [entry.lift for entry in file.lift])
        traffic = _each(faults, "traffic", [entry.traffic for entry in file.traffic])
        bumps = _each(faults, "bump", [entry.bump for entry in file.bump])
        faults.stop_if_any()
        true_path, shots = _path(faults, path, file, waypoints)
        shots = (*shots, *(entry.shot() for entry in file.shot))
        return Course(
            name=file.name,
            path=true_path,
            shots=tuple(sorted(shots, key=lambda shot: shot.at_s)),
            bumps=bumps,
            knocks=tuple(entry.knock() for entry in file.knock),
            lifts=lifts,
            traffic=traffic,
        )


def course_sources(path: Path) -> tuple[Path, ...]:
    """The files a course is read from: its own, and the trajectory it names."""
    name = load_toml(path, CourseFile).trajectory
    return (path,) if name is None else (path, path.parent / name)


def _refuse_mixture(faults: Faults, file: CourseFile) -> None:
    given = file.model_fields_set
    if file.trajectory is None:
        for key in _PLANNED_KEYS:
            if key not in given:
                faults.add(f"missing: give {', '.join(_PLANNED_KEYS)}, or a trajectory", key)
        return
    for key in (*_PLANNED_KEYS, *_FREE_KEYS):
        if key in given:
            faults.add("has no meaning beside a trajectory: leave one of them out", key)


def _each(faults: Faults, kind: str, makers: Iterable[Callable[[], T]]) -> tuple[T, ...]:
    """What each entry of the file makes; faults are noted at their entry."""
    made: list[T] = []
    for index, maker in enumerate(makers):
        with faults.at(kind, index):
            made.append(maker())
    return tuple(made)


def _path(
    faults: Faults, path: Path, file: CourseFile, waypoints: tuple[Waypoint, ...]
) -> tuple[TruePath, tuple[Shot, ...]]:
    if file.limits is not None and file.duration_s is not None:
        return planned_path(
            waypoints,
            limits=file.limits.limits(),
            duration_s=file.duration_s,
            repeats=file.repeat is not False,
            still_s=1.0 if file.still_s is None else file.still_s,
        )
    made: list[TruePath] = []
    with faults.at("trajectory"):
        stamps, positions, quaternions = read_trajectory(referenced(path, file.trajectory or ""))
        poses = np.column_stack([positions[:, :2], headings_rad(quaternions)])
        made.append(TruePath.through(stamps, poses))
    faults.stop_if_any()
    return made[0], ()
