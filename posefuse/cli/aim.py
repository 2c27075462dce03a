"""``posefuse aim RIG``: the pivots for a goal, how much room they leave, and what scores."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from posefuse.cli.folders import default_folder
from posefuse.cli.lengths import Length

if TYPE_CHECKING:
    from posefuse.aim.arcs import Arc
    from posefuse.aim.sheet import ArcSheet
    from posefuse.aim.table import PivotTable
    from posefuse.arena.arena import Goal
    from posefuse.robot.shooter import Shooter
    from posefuse.study.aimed_goal import AimedGoal

__all__ = ["command"]

_FIT = "fit"
_DROPPED_FIRST = ("right by", "left by", "entry", "interpolation")
_DROPPED_LAST = ("its tolerance", "most tolerant", "slope", "long by", "short by")


class _WithFit(click.Command):
    """The table of pivots, or, when the first word is ``fit``, the fit of measured shots."""

    def make_context(
        self,
        info_name: str | None,
        args: list[str],
        parent: click.Context | None = None,
        **extra: Any,  # noqa: ANN401  (click's signature)
    ) -> click.Context:
        """The context of the command that the words ask for."""
        if args[:1] == [_FIT]:
            from posefuse.cli.aim_fit import command as fit

            fitting: click.Context = fit.make_context(
                f"{info_name} {_FIT}", args[1:], parent, **extra
            )
            return fitting
        tabulating: click.Context = super().make_context(info_name, args, parent, **extra)
        return tabulating


@click.command(name="aim", cls=_WithFit)
@click.argument("rig_file", metavar="RIG", type=click.Path(path_type=Path))
@click.option(
    "--arena",
    "arena_file",
    type=click.Path(path_type=Path),
    help="Arena with the goal. Default: the one in fieldlayouts/.",
)
@click.option(
    "--goal",
    "goal_name",
    help="Default: the arena's goal, where it has one or all its openings are the same.",
)
@click.option(
    "--arc",
    "arc_name",
    type=click.Choice(["low", "high", "both"]),
    default="both",
    show_default=True,
)
@click.option(
    "--spacing",
    "spacing_m",
    type=Length(),
    default="25cm",
    show_default=True,
    help="Between the rows of the tables.",
)
@click.option(
    "--clearance",
    "clearance_m",
    type=Length(),
    default="0cm",
    show_default=True,
    help="Least gap between piece and rim.",
)
@click.option(
    "--table",
    "table_file",
    type=click.Path(path_type=Path),
    help="The robot's own table of pivots, to be checked: CSV with distance_m, pivot_deg.",
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
    rig_file: Path,
    arena_file: Path | None,
    goal_name: str | None,
    arc_name: str,
    spacing_m: float,
    clearance_m: float,
    table_file: Path | None,
    out: Path | None,
    length_unit: str,
) -> None:
    """Work out the pivot of a RIG's shooter for each distance to a goal.

    Shows for both arcs the reach, the pivots, the room for a wrong estimate and the hits in 100
    shots; writes tables of pivots for the robot (CSV) and a page with pictures, aim.html, to a new
    folder.

    posefuse aim fit SHOTS.csv --rig RIG finds exit speed, drag and pivot offset from measured
    shots: see posefuse aim fit --help.
    """
    from posefuse.aim.compiled.hit_probability import hit_shares
    from posefuse.cli.first_run import announce_first_run
    from posefuse.cli.targets import rig_with_shooter, target
    from posefuse.files.result_folder import new_folder
    from posefuse.report.aim import write_aim_report, write_pivot_files
    from posefuse.report.page import command_text
    from posefuse.study.aimed_goal import aimed_goal

    if table_file is not None and arc_name == "both":
        raise click.UsageError("--table FILE needs --arc low or --arc high: the arc of its pivots")
    rig, shooter = rig_with_shooter(rig_file)
    arena, goal = target(arena_file, goal_name)
    announce_first_run(hit_shares)
    sheets = _sheets(shooter, goal, arc_name, spacing_m=spacing_m, clearance_m=clearance_m)
    aimed = aimed_goal(
        shooter,
        goal,
        sheets=sheets,
        rig=rig.name,
        arena=arena.name,
        own=None if table_file is None else _own(table_file, sheets[0]),
    )
    out = out or default_folder()
    with new_folder(out) as folder:
        files = write_pivot_files(aimed, folder)
        write_aim_report(
            aimed,
            folder / "aim.html",
            files=files,
            command=command_text("posefuse", "aim", *_words(click.get_current_context())),
            length_unit=length_unit,
        )
    _show(aimed, length_unit)
    click.echo(f"\nWritten to {out}: {', '.join([*files, 'aim.html'])}.")


def _sheets(
    shooter: "Shooter", goal: "Goal", arc_name: str, *, spacing_m: float, clearance_m: float
) -> "tuple[ArcSheet, ...]":
    from posefuse.aim.sheet import arc_sheets, refuse_unreachable

    arcs = _arcs(arc_name)
    sheets = tuple(
        sheet
        for arc in arcs
        for sheet in arc_sheets(
            shooter, goal, arc=arc, spacing_m=spacing_m, clearance_m=clearance_m
        )
    )
    if not sheets:
        refuse_unreachable(shooter, goal, arcs=arcs)
    return sheets


def _arcs(arc_name: str) -> "Sequence[Arc]":
    from posefuse.aim.arcs import Arc

    return tuple(Arc) if arc_name == "both" else (Arc[arc_name.upper()],)


def _own(path: Path, sheet: "ArcSheet") -> "PivotTable":
    from posefuse.aim.load import load_pivot_table

    return load_pivot_table(path, aim=sheet.aim)


def _words(context: click.Context) -> list[str]:
    """The words of the command line as given, but for the folder."""
    words = [str(context.params["rig_file"])]
    for parameter in context.command.params:
        value = context.params.get(parameter.name or "")
        source = context.get_parameter_source(parameter.name or "")
        is_given = source is click.core.ParameterSource.COMMANDLINE
        if isinstance(parameter, click.Option) and is_given and parameter.name != "out":
            word = f"{value:g}m" if isinstance(value, float) else str(value)
            words += [parameter.opts[0], word]
    return words


def _show(aimed: "AimedGoal", length_unit: str) -> None:
    """The tables and what they mean, on standard output."""
    from posefuse.aim.table import CAUTION
    from posefuse.cli.terminal import plain_console, terminal_table
    from posefuse.report.aim import aim_finding, own_table, sheet_table, sheet_title
    from posefuse.report.aim_wording import goal_text, shooter_text

    console = plain_console()
    console.print(f"\n{aimed.rig}: {shooter_text(aimed.shooter, length_unit)}")
    console.print(f"{aimed.arena}: {goal_text(aimed.goal, length_unit)}")
    for sheet in aimed.sheets:
        console.print(f"\n{sheet_title(sheet, length_unit)}")
        headers, rows = sheet_table(sheet, length_unit=length_unit)
        console.print(
            terminal_table(
                headers,
                rows,
                width=console.width,
                dropped_first=_DROPPED_FIRST,
                dropped_last=_DROPPED_LAST,
            )
        )
    if aimed.own is not None:
        console.print("\nThe robot's own table")
        headers, rows = own_table(aimed.own, length_unit=length_unit)
        console.print(terminal_table(headers, rows, width=console.width))
    for sentence in aim_finding(aimed, length_unit):
        console.print(sentence)
    console.print(f"\n{CAUTION}")
