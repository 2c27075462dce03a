"""``posefuse aim fit SHOTS.csv``: exit speed, drag and pivot offset from measured shots."""

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from posefuse.cli.lengths import Length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from posefuse.aim.fit import ShotFit
    from posefuse.aim.next_shots import NextShots
    from posefuse.aim.sheet import ArcSheet

__all__ = ["command"]

_FREE = ("exit_speed", "drag", "pivot_offset")


@click.command(name="fit")
@click.argument("shots_file", metavar="SHOTS.csv", type=click.Path(path_type=Path))
@click.option(
    "--rig",
    "rig_file",
    type=click.Path(path_type=Path),
    required=True,
    help="Rig whose shooter threw: where the piece leaves, its mass and size.",
)
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
    "--arc", "arc_name", type=click.Choice(["low", "high"]), default="low", show_default=True
)
@click.option(
    "--free",
    "free",
    type=click.Choice(_FREE),
    multiple=True,
    help="What to find; may be given several times. Default: all three.",
)
@click.option("--next", "count", type=click.IntRange(1, 20), default=3, show_default=True)
@click.option(
    "--from", "nearest_m", type=Length(), help="Nearest distance shot from. Default: the reach's."
)
@click.option(
    "--to", "farthest_m", type=Length(), help="Farthest distance shot from. Default: the reach's."
)
@click.option(
    "--spacing",
    "spacing_m",
    type=Length(),
    default="25cm",
    show_default=True,
    help="Of the distances among which the next are chosen.",
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
    shots_file: Path,
    rig_file: Path,
    arena_file: Path | None,
    goal_name: str | None,
    arc_name: str,
    free: tuple[str, ...],
    count: int,
    nearest_m: float | None,
    farthest_m: float | None,
    spacing_m: float,
    length_unit: str,
) -> None:
    """Find exit speed, drag and pivot offset from measured shots, and what to measure next.

    SHOTS.csv has a line for each shot, with the columns pivot_deg, distance_m, height_m: the piece
    was at that height at that level distance from the robot's middle. A fourth column, measured,
    names which of the two was measured: distance (where it came down to the height, such as 0 for
    the floor; taken where the column is missing) or height (where it hit a wall at the distance).
    """
    from posefuse.aim.arcs import Arc
    from posefuse.aim.compiled.hit_probability import hit_shares
    from posefuse.aim.fit import Fitted, fit_shots
    from posefuse.aim.load import load_measured_shots
    from posefuse.aim.next_shots import next_distances
    from posefuse.aim.sheet import arc_sheets, refuse_unreachable
    from posefuse.cli.first_run import announce_first_run
    from posefuse.cli.targets import rig_with_shooter, target

    shots = load_measured_shots(shots_file)
    _rig, shooter = rig_with_shooter(rig_file)
    _arena, goal = target(arena_file, goal_name)
    arc = Arc[arc_name.upper()]
    announce_first_run(hit_shares)
    fit = fit_shots(shots, shooter=shooter, free=[Fitted(name) for name in free or _FREE])
    sheets = arc_sheets(fit.shooter, goal, arc=arc, spacing_m=spacing_m)
    if not sheets:
        refuse_unreachable(fit.shooter, goal, arcs=(arc,))
    distances = _between(sheets, nearest_m, farthest_m)
    following = next_distances(fit, goal=goal, distances_m=distances, arc=arc, count=count)
    _show(fit, following, shot_count=len(shots.pivots_rad), length_unit=length_unit)


def _between(
    sheets: "Sequence[ArcSheet]", nearest_m: float | None, farthest_m: float | None
) -> list[float]:
    """The distances within reach from the nearest to the farthest asked for."""
    reached = [d for sheet in sheets for d in sheet.table.distances_m.tolist()]
    low_m = 0.0 if nearest_m is None else nearest_m
    high_m = math.inf if farthest_m is None else farthest_m
    distances = [d for d in reached if low_m <= d <= high_m]
    if not distances:
        raise click.UsageError(
            f"--from, --to: no distance in between is within reach ({min(reached):.2f} to "
            f"{max(reached):.2f} m)"
        )
    return distances


def _show(fit: "ShotFit", following: "NextShots", *, shot_count: int, length_unit: str) -> None:
    from posefuse.aim.table import CAUTION
    from posefuse.cli.terminal import plain_console, terminal_table
    from posefuse.report.aim_fit import file_lines, fit_table, next_sentence, next_table
    from posefuse.report.wording import length_with_unit

    console = plain_console()
    scatter = length_with_unit(fit.residual_std_m, length_unit)
    console.print(f"\n{shot_count} shots, which scatter by {scatter} (1 sigma) about the fit")
    console.print(terminal_table(*fit_table(fit), width=console.width))
    console.print("Into the robot file:")
    for line in file_lines(fit):
        console.print(f"  {line}")
    console.print("\nMeasure next where the piece comes down on the floor:")
    console.print(
        terminal_table(*next_table(following, length_unit=length_unit), width=console.width)
    )
    console.print(next_sentence(following))
    console.print(f"\n{CAUTION}")
