"""``posefuse check FILE...``: validates files and says what they hold."""

from collections.abc import Callable
from pathlib import Path

import click

from posefuse.cli.kinds import kind_of
from posefuse.errors import PosefuseError

__all__ = ["command"]


@click.command(name="check")
@click.argument(
    "paths", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
def command(paths: tuple[Path, ...]) -> None:
    """Validate files and say what they hold.

    A FILE is an arena, a robot, camera, rig, course, filter or study file, or the folder of a
    recording. Every fault is shown with its file and line; the exit status is 2 when there is one.
    """
    faults = 0
    for path in paths:
        try:
            lines = _described(path)
        except PosefuseError as error:
            click.echo(str(error), err=True)
            faults += 1
        else:
            click.echo("\n  ".join([f"{path}: {lines[0]}", *lines[1:]]))
    if faults:
        click.get_current_context().exit(2)


def _described(path: Path) -> list[str]:
    from posefuse.cli import descriptions

    kind = kind_of(path)
    if kind == "recording":
        return descriptions.recording(path.parent if path.is_file() else path)
    name = "filter_settings" if kind == "filter" else kind
    describe: Callable[[Path], list[str]] = getattr(descriptions, name)
    return describe(path)
