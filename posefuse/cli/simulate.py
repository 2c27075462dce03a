"""``posefuse simulate STUDY``: writes what the robot would record."""

import os
import re
from pathlib import Path

import click

from posefuse.cli.folders import default_folder
from posefuse.errors import InputError

__all__ = ["command"]


@click.command(name="simulate")
@click.argument("study_file", metavar="STUDY", type=click.Path(path_type=Path))
@click.option("--plan", "plan_names", multiple=True, help="Only this plan (may be repeated).")
@click.option("--course", "course_names", multiple=True, help="Only this course (may be repeated).")
@click.option("--trials", type=click.IntRange(min=1), default=1, show_default=True)
@click.option("--seed", type=click.IntRange(min=0), help="Default: the study's own.")
@click.option(
    "--sightings",
    type=click.Choice(["corners", "images"]),
    help="Draw corners from the detectors' response, or render images and detect. Default: the "
    "study's own.",
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="New folder. Default: results/ and a time stamp."
)
def command(
    study_file: Path,
    plan_names: tuple[str, ...],
    course_names: tuple[str, ...],
    trials: int,
    seed: int | None,
    sightings: str | None,
    out: Path | None,
) -> None:
    """Write what the robot of a STUDY would record: a folder a plan, course and trial.

    Each folder holds copies of the rig's and the arena's files, so that it can be sent whole.
    """
    from posefuse.cli.first_run import announce_first_run
    from posefuse.cli.kinds import refuse_other_kinds
    from posefuse.cli.sightings import with_sightings
    from posefuse.files.result_folder import new_folder
    from posefuse.recording.folder import StoredRecording, write_recording
    from posefuse.sensing.compiled.visibility import mark_views
    from posefuse.simulation.simulate import simulate
    from posefuse.study.load import load_study
    from posefuse.study.trial import plan_scene

    refuse_other_kinds(study_file, "study")
    study = with_sightings(load_study(study_file), sightings)
    plans = [study.plan(name) for name in plan_names] or list(study.plans)
    courses = [study.course(name) for name in course_names] or list(study.courses)
    seed = study.seed if seed is None else seed
    out = out or default_folder()
    written = []
    announce_first_run(mark_views)
    with new_folder(out) as folder:
        for plan, course in [(plan, course) for plan in plans for course in courses]:
            scene = plan_scene(study, plan, course)
            for trial in range(trials):
                name = _folder_name(plan.name, course.name, f"trial {trial}")
                stored = StoredRecording(
                    recording=simulate(scene, seed=seed, trial=trial, workers=os.cpu_count() or 1),
                    rig=plan.rig,
                    arena=study.arena,
                    rig_path=_file_of(plan.name, plan.rig_path),
                    arena_path=_file_of(study.arena.name, study.arena_path),
                    camera_path=plan.camera_path,
                    goal=study.goal.name,
                    clock=f"seconds into the course, simulated from {study_file.name}",
                )
                write_recording(stored, folder / name)
                written.append(out / name)
    for place in written:
        click.echo(str(place))
    count = len(written)
    what = f"{count} recordings. Replay one" if count > 1 else "1 recording. Replay it"
    click.echo(f"{what} with: posefuse replay {written[0]}")


def _file_of(name: str, path: Path | None) -> Path:
    """The file something was read from; a study from a file knows it of all its parts."""
    if path is None:
        raise InputError(f"{name!r} was not read from a file: it cannot be copied")
    return path


def _folder_name(*parts: str) -> str:
    """The parts as one folder name that every system takes."""
    return "-".join(re.sub(r"[^a-z0-9]+", "_", part.lower()).strip("_") for part in parts)
