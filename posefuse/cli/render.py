"""``posefuse render STUDY``: shows what the cameras of a plan see."""

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from posefuse.cli.folders import default_folder
from posefuse.errors import InputError

if TYPE_CHECKING:
    from posefuse.motion.course import Course
    from posefuse.study.camera_views import CameraViews
    from posefuse.study.drive import Drive
    from posefuse.study.strip import Instant
    from posefuse.study.study import Plan, Study

__all__ = ["command"]

_RATES_HZ = {".mp4": 15.0, ".gif": 10.0}
_DOTS_PER_IN = {".mp4": 100.0, ".gif": 75.0}
_SHOWN_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Movie:
    """The movie asked for."""

    path: Path
    from_s: float
    to_s: float

    @property
    def rate_hz(self) -> float:
        """Frames per second."""
        return _RATES_HZ[self.path.suffix.lower()]


@click.command(name="render")
@click.argument("study_file", metavar="STUDY", type=click.Path(path_type=Path))
@click.option("--plan", "plan_name", help="Default: the study's first.")
@click.option("--course", "course_name", help="Default: the study's first.")
@click.option(
    "--at",
    "at_s",
    type=float,
    multiple=True,
    metavar="SECONDS",
    help="An instant of the strip (may be repeated). Default: the first three shots.",
)
@click.option("--trial", type=click.IntRange(min=0), default=0, show_default=True)
@click.option("--seed", type=click.IntRange(min=0), help="Default: the study's own.")
@click.option(
    "--movie",
    "movie_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Make a movie, too, .mp4 or .gif: in the new folder, unless FILE names one.",
)
@click.option(
    "--from", "from_s", type=float, metavar="SECONDS", help="Where the movie starts. Default: 0."
)
@click.option(
    "--for",
    "for_s",
    type=click.FloatRange(min=0.0, min_open=True),
    metavar="SECONDS",
    help=f"How much of the course it shows. Default: {_SHOWN_S:g}.",
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="New folder. Default: results/ and a time stamp."
)
def command(
    study_file: Path,
    plan_name: str | None,
    course_name: str | None,
    at_s: tuple[float, ...],
    trial: int,
    seed: int | None,
    movie_path: Path | None,
    from_s: float | None,
    for_s: float | None,
    out: Path | None,
) -> None:
    """Show what the cameras of one plan of a STUDY see, and which tags are found in it.

    Writes strip.png: a row for each instant, a column for each camera. The movie shows the court
    from above with the filter's estimate beside the cameras' images.
    """
    from posefuse.cli.first_run import announce_first_run
    from posefuse.cli.kinds import refuse_other_kinds
    from posefuse.files.result_folder import new_folder
    from posefuse.rendering.compiled.render import draw_light
    from posefuse.report.camera_strip import strip_finding, write_strip
    from posefuse.study.camera_views import CameraViews
    from posefuse.study.load import load_study
    from posefuse.study.strip import look
    from posefuse.study.trial import plan_scene

    refuse_other_kinds(study_file, "study")
    study = load_study(study_file)
    plan = study.plan(plan_name) if plan_name is not None else study.plans[0]
    course = study.course(course_name) if course_name is not None else study.courses[0]
    instants = _instants(course, at_s)
    movie = _movie(course, movie_path, from_s, for_s)
    seed = study.seed if seed is None else seed
    title = f"{plan.name}, {course.name}, trial {trial}, seed {seed}"
    out = out or default_folder()
    announce_first_run(draw_light)
    with new_folder(out) as folder:
        views = CameraViews(plan_scene(study, plan, course), seed=seed, trial=trial)
        strip = look(views, instants, title=title, workers=os.cpu_count() or 1)
        write_strip(strip, folder / "strip.png")
        click.echo(f"{strip_finding(strip)} ({title}).")
        if movie is not None:
            drive = _drive(study, plan, course, views, movie, title)
            _write_movie(drive, movie, folder)
    click.echo(f"Written: {out / 'strip.png'}")
    if movie is not None:
        place = movie.path if _names_folder(movie.path) else out / movie.path
        click.echo(f"Written: {place} ({movie.from_s:g} to {movie.to_s:g} s of the course)")


def _instants(course: "Course", at_s: tuple[float, ...]) -> "tuple[Instant, ...]":
    """When the strip looks: the instants asked for, or the course's own."""
    from posefuse.study.strip import Instant, instants_of

    for instant_s in at_s:
        _refuse_outside(course, "--at", instant_s)
    return tuple(Instant(at_s=instant_s) for instant_s in sorted(at_s)) or instants_of(course)


def _refuse_outside(course: "Course", option: str, at_s: float) -> None:
    start_s, end_s = course.path.start_s, course.path.end_s
    if not start_s <= at_s <= end_s:
        raise InputError(
            f"{option}: must be between {start_s:g} and {end_s:g} s, within the course "
            f"{course.name!r} (got {at_s:g})"
        )


def _movie(
    course: "Course", path: Path | None, from_s: float | None, for_s: float | None
) -> _Movie | None:
    """The movie asked for, cut off where the course ends."""
    from posefuse.files.movie_file import check_movie_path, check_movie_suffix

    if path is None:
        for option, value in (("--from", from_s), ("--for", for_s)):
            if value is not None:
                raise InputError(f"{option}: goes with --movie, which is not given")
        return None
    if _names_folder(path):
        check_movie_path(path)
    else:
        check_movie_suffix(path)
    from_s = course.path.start_s if from_s is None else from_s
    _refuse_outside(course, "--from", from_s)
    to_s = min(from_s + (_SHOWN_S if for_s is None else for_s), course.path.end_s)
    return _Movie(path=path, from_s=from_s, to_s=to_s)


def _names_folder(path: Path) -> bool:
    return path.parent != Path()


def _drive(
    study: "Study",
    plan: "Plan",
    course: "Course",
    views: "CameraViews",
    movie: _Movie,
    title: str,
) -> "Drive":
    """The trial's drive until the movie ends, fused."""
    import numpy as np

    from posefuse.cli.terminal import plain_console
    from posefuse.simulation.scene import SightingSource
    from posefuse.study.drive import drive_of
    from posefuse.study.trial import plan_scene

    scene = plan_scene(study, plan, course.first(movie.to_s - course.path.start_s))
    if study.sightings is SightingSource.IMAGES:
        frames = f"{scene.views.frame_count:,} frames to render and search"
        plain_console(stderr=True).print(f"Images for the filter: {frames}.")
    count = max(1, round((movie.to_s - movie.from_s) * movie.rate_hz))
    return drive_of(
        study,
        plan,
        scene,
        views=views,
        moments_s=movie.from_s + np.arange(count) / movie.rate_hz,
        title=title,
        workers=os.cpu_count() or 1,
    )


def _write_movie(drive: "Drive", movie: _Movie, folder: Path) -> None:
    """Writes the movie with a progress bar on standard error, and puts it where it was named."""
    from rich.progress import track

    from posefuse.cli.terminal import plain_console
    from posefuse.files.movie_file import check_movie_path, write_movie
    from posefuse.report.movie import drive_pictures

    suffix = movie.path.suffix.lower()

    def pictures() -> Iterator:  # type: ignore[type-arg]
        yield from track(
            drive_pictures(drive, workers=os.cpu_count() or 1, dots_per_inch=_DOTS_PER_IN[suffix]),
            description="frames",
            total=len(drive.moments_s),
            console=plain_console(stderr=True),
        )

    whole = folder / movie.path.name
    write_movie(whole, pictures(), frames_per_s=movie.rate_hz)
    if _names_folder(movie.path):
        check_movie_path(movie.path)
        shutil.move(whole, movie.path)
