"""Compiles the later half of a first ``compare`` in a process of its own, beside the first half.

Numba compiles one function at a time in one process, for a minute on the first run. The trials
begin with seeing and solving; meanwhile a second process fuses, scores and reports a run that needs
neither, a robot at rest that sees nothing, and leaves what it compiled in the cache that both
share. It hands over nothing else: without it, or after a fault of it, the first run only takes
longer.
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from posefuse.recording.recording import Recording
    from posefuse.study.comparison import Comparison
    from posefuse.study.study import Study

__all__ = ["compiling_ahead", "report_of_a_rest"]

_ROW_S = 0.1
_KNOWN_TO_M, _KNOWN_TO_RAD = 0.01, 0.01


@contextmanager
def compiling_ahead(study_file: Path) -> Iterator[None]:
    """A second process that compiles, as long as this lasts; none where nothing is to be gained."""
    from posefuse.compiling import is_cached
    from posefuse.fusion.compiled.filter import run_filter
    from posefuse.sensing.compiled.render import draw_light

    if (os.cpu_count() or 1) < 2 or (is_cached(run_filter) and is_cached(draw_light)):
        yield
        return
    with subprocess.Popen(
        [sys.executable, "-P", "-m", "posefuse.cli.compile_ahead", str(study_file)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as helper:
        try:
            yield
        finally:
            helper.terminate()


def report_of_a_rest(study: "Study", folder: Path) -> None:
    """Writes the report of one plan whose robot rests where the first course starts, unseeing."""
    from posefuse.report.comparison import write_comparison_report
    from posefuse.study.findings import findings_of

    findings = findings_of(_compared_at_rest(study))
    write_comparison_report(findings, folder / "report.html")


def _compared_at_rest(study: "Study") -> "Comparison":
    """The first plan on the first course, at rest: scored, with its bound."""
    from dataclasses import replace

    import numpy as np

    from posefuse.fusion.bound import posterior_bound
    from posefuse.fusion.fuse import fuse
    from posefuse.fusion.settings import FilterSettings
    from posefuse.scoring.score import score
    from posefuse.study.comparison import Comparison, PlanTrials
    from posefuse.study.ranking import rank_plans

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
    trials = (PlanTrials(plan=plan.name, course=course.name, cards=(card,), first=recording),)
    return Comparison(
        study=small,
        trials=1,
        seed=study.seed,
        plan_trials=trials,
        ranking=rank_plans(small, trials, seed=study.seed),
        warnings=(),
    )


def _rest(study: "Study") -> "Recording":
    """A recording as long as the first course, with its shots and without a frame."""
    import numpy as np

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


if __name__ == "__main__":
    from posefuse.cli.garbage import collect_garbage_seldom
    from posefuse.study.load import load_study

    collect_garbage_seldom()
    with TemporaryDirectory() as name:
        report_of_a_rest(load_study(Path(sys.argv[1])), Path(name))
