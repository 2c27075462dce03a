"""``posefuse replay RECORDING``: the filter on a recorded run."""

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from posefuse.cli.folders import default_folder

if TYPE_CHECKING:
    from posefuse.fusion.estimate import Estimate
    from posefuse.fusion.settings import FilterSettings
    from posefuse.recording.folder import StoredRecording
    from posefuse.recording.recording import Recording
    from posefuse.scoring.results import ScoreRow
    from posefuse.scoring.scorecard import Scorecard

__all__ = ["command"]


@click.command(name="replay")
@click.argument("folder", metavar="RECORDING", type=click.Path(path_type=Path))
@click.option(
    "--settings",
    "settings_file",
    type=click.Path(path_type=Path),
    help="Filter file. Default: solved poses of tags, or ranges as they are.",
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
def command(folder: Path, settings_file: Path | None, out: Path | None, length_unit: str) -> None:
    """Run the filter on the RECORDING in a folder, and score it.

    Shows the scores and writes results.json, scorecard.csv, estimate.csv and report.html to a new
    folder. Without a true path in the recording there are no errors to tell; without shots the
    whole course is scored alone.
    """
    from posefuse.cli.first_run import announce_first_run
    from posefuse.files.result_folder import new_folder
    from posefuse.fusion.compiled.filter import run_filter
    from posefuse.fusion.fuse import fuse
    from posefuse.fusion.load import load_settings
    from posefuse.recording.folder import read_recording

    stored = read_recording(folder)
    recording = stored.recording
    settings = load_settings(settings_file) if settings_file is not None else _default(recording)
    out = out or default_folder()
    announce_first_run(run_filter)
    with new_folder(out) as new:
        estimate = fuse(recording, rig=stored.rig, arena=stored.arena, settings=settings)
        card, rows = _scored(stored, estimate)
        _write(
            new,
            stored=stored,
            source=folder,
            settings=settings,
            settings_file=settings_file,
            estimate=estimate,
            card=card,
            rows=rows,
            length_unit=length_unit,
        )
    _show(stored, card, rows, length_unit=length_unit)
    click.echo(f"\nWritten to {out}: open {out / 'report.html'} in a browser.")


def _scored(stored: "StoredRecording", estimate: "Estimate") -> "tuple[Scorecard, list[ScoreRow]]":
    from posefuse.scoring.results import score_rows
    from posefuse.scoring.score import score
    from posefuse.scoring.trajectory import trajectory_scores

    truth = stored.recording.truth
    card = score(
        stored.recording,
        estimate=estimate,
        truth=truth,
        arena=stored.arena,
        goal=stored.goal,
        shooter=stored.rig.body.shooter,
    )
    path = trajectory_scores(estimate=estimate, truth=truth) if truth is not None else None
    return card, score_rows(card, path)


def _write(
    new: Path,
    *,
    stored: "StoredRecording",
    source: Path,
    settings: "FilterSettings",
    settings_file: Path | None,
    estimate: "Estimate",
    card: "Scorecard",
    rows: "list[ScoreRow]",
    length_unit: str,
) -> None:
    from posefuse.report.replay import write_replay_report
    from posefuse.scoring.results import write_run_results

    write_run_results(
        new,
        stored=stored,
        source=source,
        settings=settings,
        estimate=estimate,
        card=card,
        rows=rows,
    )
    write_replay_report(
        stored,
        new / "report.html",
        estimate=estimate,
        card=card,
        settings=settings,
        settings_file=settings_file,
        source=source,
        length_unit=length_unit,
    )


def _default(recording: "Recording") -> "FilterSettings":
    """Settings that fit what the recording holds."""
    from posefuse.fusion.settings import (
        FilterSettings,
        Measurement,
        NoiseKind,
        NoiseModel,
        StartFrom,
    )
    from posefuse.recording.recording import SightingKind

    kind = recording.sightings.kind
    if kind is SightingKind.CORNERS:
        stated = recording.start is not None
        return FilterSettings(start_from=StartFrom.STATED if stated else StartFrom.TAGS)
    return FilterSettings(
        measurement=Measurement(kind.value), noise=NoiseModel(kind=NoiseKind.FIXED)
    )


def _show(
    stored: "StoredRecording",
    card: "Scorecard",
    rows: "list[ScoreRow]",
    *,
    length_unit: str,
) -> None:
    """The scores, what became of the measurements, and what it all means, on standard output."""
    from posefuse.cli.terminal import plain_console, terminal_table
    from posefuse.report.comparison_tables import outcome_table, scorecard_table
    from posefuse.report.replay import replay_finding
    from posefuse.report.wording import length_with_unit

    console = plain_console()
    console.print(f"\n{stored.recording.name}")
    for headers, lines in (scorecard_table(card, length_unit=length_unit), outcome_table(card)):
        console.print(terminal_table(headers, lines, width=console.width))
    console.print(replay_finding(card, length_unit))
    known = {(row.span, row.figure): row for row in rows}
    rms = known.get(("shots", "distance_rms_m"))
    if rms is not None and math.isfinite(rms.low):
        low, high = (length_with_unit(value, length_unit) for value in (rms.low, rms.high))
        console.print(f"95 % interval of the RMS at the shots: {low} to {high}.")
    aligned = known.get(("run", "aligned_position_rms_m"))
    if aligned is not None:
        length = length_with_unit(aligned.value, length_unit)
        console.print(
            f"Laid on the true path by one turn and shift, {length} of the position RMS remain.",
        )
