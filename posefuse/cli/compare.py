"""``posefuse compare STUDY``: ranks the plans of a study."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from posefuse.cli.folders import default_folder

if TYPE_CHECKING:
    from posefuse.study.comparison import Comparison
    from posefuse.study.findings import Findings
    from posefuse.study.study import Study

__all__ = ["command"]

_DROPPED_FIRST = (
    "pivot",
    "distance error 95th",
    "hits: difference",
    "no recent update",
    "probability of being",
    "attainable",
)
_DROPPED_LAST = ("forecast", "NEES", "hits per 100")
"""Columns that a narrow terminal leaves out; the report holds them all."""
_NAME_WIDTH = 14


@click.command(name="compare")
@click.argument("study_file", metavar="STUDY", type=click.Path(path_type=Path))
@click.option("--trials", type=click.IntRange(min=1), help="Default: the study's own.")
@click.option("--seed", type=click.IntRange(min=0), help="Default: the study's own.")
@click.option(
    "--sightings",
    type=click.Choice(["corners", "images"]),
    help="Draw corners from the detectors' response, or render images and detect. Default: the "
    "study's own.",
)
@click.option(
    "--workers", type=click.IntRange(min=1), help="Threads. Default: one for each processor."
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="New folder. Default: results/ and a time stamp."
)
@click.option(
    "--unit",
    "length_unit",
    type=click.Choice(["m", "cm", "mm", "in"]),
    default="cm",
    show_default=True,
    help="Unit of the lengths shown.",
)
def command(
    study_file: Path,
    trials: int | None,
    seed: int | None,
    sightings: str | None,
    workers: int | None,
    out: Path | None,
    length_unit: str,
) -> None:
    """Run every plan of a STUDY on every course with identical random draws, and rank them.

    Shows the ranked table and writes results.json, results.csv and report.html to a new folder.
    """
    from posefuse.cli.compile_ahead import compiling_ahead
    from posefuse.cli.first_run import announce_first_run
    from posefuse.cli.kinds import refuse_other_kinds
    from posefuse.cli.sightings import with_sightings
    from posefuse.files.result_folder import new_folder
    from posefuse.rendering.tag_pictures import load_opencv
    from posefuse.report.comparison import write_comparison_report
    from posefuse.report.files import write_comparison_results
    from posefuse.sensing.compiled.visibility import mark_views
    from posefuse.study.findings import findings_of
    from posefuse.study.load import load_study

    refuse_other_kinds(study_file, "study")
    load_opencv()  # the report needs it, after all the trials
    study = with_sightings(load_study(study_file), sightings)
    out = out or default_folder()
    announce_first_run(mark_views)
    with new_folder(out) as folder, compiling_ahead(study_file):
        comparison = _compared(study, trials=trials, seed=seed, workers=workers)
        _show(comparison, length_unit)
        findings = findings_of(comparison, workers=workers)
        _show_decision(findings, length_unit)
        write_comparison_results(findings, folder)
        write_comparison_report(findings, folder / "report.html", length_unit=length_unit)
    click.echo(f"\nWritten to {out}: open {out / 'report.html'} in a browser.")


def _compared(
    study: "Study", *, trials: int | None, seed: int | None, workers: int | None
) -> "Comparison":
    """The comparison, with a progress bar on standard error."""
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    from posefuse.cli.terminal import plain_console
    from posefuse.simulation.scene import SightingSource
    from posefuse.study.compare import compare

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        TimeRemainingColumn(),
    )
    console = plain_console(stderr=True)
    if study.sightings is SightingSource.IMAGES:
        frames = (trials or study.trials) * study.frames_per_trial()
        console.print(f"Images: {frames:,} frames to render and search.")
    with Progress(*columns, console=console) as progress:
        bar = progress.add_task("trials", total=None)
        return compare(
            study,
            trials=trials,
            seed=seed,
            workers=workers,
            on_progress=lambda done, whole: progress.update(bar, completed=done, total=whole),
        )


def _show(comparison: "Comparison", length_unit: str) -> None:
    """The ranked table, the warnings and what the table means, on standard output."""
    from posefuse.cli.terminal import plain_console, terminal_table
    from posefuse.report.hits_section import terminal_sentences
    from posefuse.report.tables import comparison_table

    console = plain_console()
    headers, rows = comparison_table(comparison, length_unit=length_unit)
    console.print(
        f"\n{comparison.study.name}\n{comparison.trials} trials on each course", highlight=False
    )
    table = terminal_table(
        headers,
        rows,
        width=console.width,
        dropped_first=_DROPPED_FIRST,
        name_width=_NAME_WIDTH,
        dropped_last=_DROPPED_LAST,
    )
    console.print(table)
    console.print(
        "RMS over all shots, 95 % intervals in brackets; differences are paired, trial by trial, "
        "and their intervals hold together."
    )
    for sentence in terminal_sentences(comparison):
        console.print(sentence)
    for warning in comparison.warnings:
        console.print(f"Warning: {warning}", style="yellow")


def _show_decision(findings: "Findings", length_unit: str) -> None:
    """What to do, as the report opens with it."""
    from posefuse.cli.terminal import plain_console
    from posefuse.report.decision_wording import decision_lines, headline

    console = plain_console()
    console.print(f"\n{headline(findings.decision)}", style="bold")
    for label, text in decision_lines(findings.decision, length_unit):
        console.print(f"{label}: {text}")
