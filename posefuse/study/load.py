"""Reading a study file with everything it names."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from posefuse.arena.arena import Arena
from posefuse.arena.load import load_arena
from posefuse.errors import FileError, InputError
from posefuse.files.references import referenced
from posefuse.files.toml_file import Faults, all_faults_of, load_toml
from posefuse.fusion.load import load_settings, settings_from_table
from posefuse.fusion.schema import FilterTable
from posefuse.fusion.settings import FilterSettings
from posefuse.motion.checks import check_course
from posefuse.motion.course import Course
from posefuse.motion.load import load_course
from posefuse.robot.load import load_camera, load_rig
from posefuse.robot.rig import Rig
from posefuse.study.schema import PlanTable, StudyTable
from posefuse.study.study import Plan, Study

__all__ = ["load_study"]

T = TypeVar("T")


def load_study(path: Path | str) -> Study:
    """The study with its arena, rigs, courses and filter settings.

    Raises
    ------
    FileError
        One line for each fault in the study file or in a file it names.
    """
    path = Path(path)
    table = load_toml(path, StudyTable)
    folder = path.parent
    with all_faults_of(path) as faults:
        arena = _loaded(faults, load_arena, path, table.arena, "arena")
        courses = [
            _loaded(faults, load_course, path, name, "courses", i)
            for i, name in enumerate(table.courses)
        ]
        rigs = [_rig(faults, path, row, i) for i, row in enumerate(table.plan)]
        settings = [
            _settings(faults, path, table if row.filter is None else row, i)
            for i, row in enumerate(table.plan)
        ]
        faults.stop_if_any()
    plans = [
        Plan(
            name=row.name,
            rig=rig,
            settings=chosen,
            rig_path=folder / row.rig,
            camera_path=None if row.camera is None else folder / row.camera,
        )
        for row, rig, chosen in zip(table.plan, _all(rigs), _all(settings), strict=True)
    ]
    with all_faults_of(path) as faults:
        (known_arena,) = _all([arena])
        with faults.at("goal"):
            known_arena.goal(table.goal)
        _check_courses(faults, known_arena, plans, _all(courses))
        faults.stop_if_any()
        return Study(
            name=table.name,
            arena=known_arena,
            goal=known_arena.goal(table.goal),
            plans=tuple(plans),
            courses=tuple(_first(course, table.course_duration_s) for course in _all(courses)),
            spreads=table.as_built.spreads,
            start_std=table.start.start_std if table.start else None,
            trials=table.trials,
            seed=table.seed,
            sightings=table.sightings,
            path=path,
            arena_path=folder / table.arena,
        )


def _first(course: Course, duration_s: float | None) -> Course:
    return course if duration_s is None else course.first(duration_s)


def _loaded(
    faults: Faults, load: Callable[[Path], T], path: Path, name: str, *key: str | int
) -> T | None:
    """What ``load`` makes of the file a study names, or ``None`` once the fault is noted."""
    try:
        return load(referenced(path, name))
    except InputError as error:
        faults.add(str(error), *key)
    except FileError as error:
        faults.found.append(error)
    return None


def _all(things: Sequence[T | None]) -> list[T]:
    """The things themselves: none is missing once the faults have been raised."""
    return [thing for thing in things if thing is not None]


def _rig(faults: Faults, path: Path, row: PlanTable, place: int) -> Rig | None:
    """The rig of a plan, with the plan's camera on all its mounts where it names one."""
    rig = _loaded(faults, load_rig, path, row.rig, "plan", place, "rig")
    if row.camera is None:
        return rig
    camera = _loaded(faults, load_camera, path, row.camera, "plan", place, "camera")
    if rig is None or camera is None:
        return None
    try:
        return rig.with_camera(camera)
    except InputError as error:
        faults.add(str(error), "plan", place, "camera")
        return None


def _settings(
    faults: Faults, path: Path, table: StudyTable | PlanTable, place: int
) -> FilterSettings | None:
    """The filter settings of a plan: its own, or the study's."""
    key = ("plan", place, "filter") if isinstance(table, PlanTable) else ("filter",)
    if isinstance(table.filter, str):
        return _loaded(faults, load_settings, path, table.filter, *key)
    try:
        return settings_from_table(table.filter or FilterTable())
    except InputError as error:
        faults.add(str(error), *key)
        return None


def _check_courses(faults: Faults, arena: Arena, plans: list[Plan], courses: list[Course]) -> None:
    """Notes every course that a plan's robot cannot drive in this arena, once for each robot."""
    known: set[str] = set()
    for place, course in enumerate(courses):
        for plan in plans:
            try:
                check_course(course, arena=arena, rig=plan.rig)
            except InputError as error:
                if str(error) not in known:
                    known.add(str(error))
                    faults.add(f"{course.name}: {error}", "courses", place)
