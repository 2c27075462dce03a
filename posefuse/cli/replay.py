"""``posefuse replay RECORDING``: the filter on a recorded run."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from posefuse.cli.folders import default_folder

if TYPE_CHECKING:
    from posefuse.study.replay import Replay

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
    folder; with a filter that estimates the build, also build.csv. Without a true path in the
    recording no error is known; without shots the whole course is scored alone.
    """
    from posefuse.cli.first_run import announce_first_run
    from posefuse.files.result_folder import new_folder
    from posefuse.fusion.compiled.filter import run_filter
    from posefuse.fusion.load import load_settings
    from posefuse.recording.folder import read_recording
    from posefuse.report.files import write_replay_results
    from posefuse.report.replay import write_replay_report
    from posefuse.study.replay import replay

    stored = read_recording(folder)
    settings = None if settings_file is None else load_settings(settings_file)
    out = out or default_folder()
    announce_first_run(run_filter)
    with new_folder(out) as new:
        replayed = replay(stored, settings=settings)
        write_replay_results(replayed, new, source=folder)
        write_replay_report(
            replayed,
            new / "report.html",
            source=folder,
            settings_file=settings_file,
            length_unit=length_unit,
        )
    _show(replayed, length_unit)
    click.echo(f"\nWritten to {out}: open {out / 'report.html'} in a browser.")


def _show(replayed: "Replay", length_unit: str) -> None:
    """The scores, what became of the measurements, and what it all means, on standard output."""
    from posefuse.cli.terminal import plain_console, terminal_table
    from posefuse.report.replay import build_sentence, replay_finding
    from posefuse.report.tables import build_table, outcome_table, scores_table
    from posefuse.report.wording import length_with_unit

    console = plain_console()
    console.print(f"\n{replayed.trial.title}")
    tables = [scores_table(replayed, length_unit=length_unit), outcome_table(replayed)]
    if replayed.build:
        tables.append(build_table(replayed))
    for table in tables:
        console.print(terminal_table(table.headers, table.rows, width=console.width))
    console.print(replay_finding(replayed, length_unit))
    if replayed.build:
        console.print(build_sentence(replayed))
    aligned = replayed.row("run", "aligned_position_rms_m")
    if aligned is not None:
        length = length_with_unit(aligned.value, length_unit)
        console.print(
            f"Aligned with the true path by one turn and shift, {length} of the position RMS "
            "remain."
        )
