"""``posefuse check FILE...``: validates files and says what they hold."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import click

from posefuse.errors import FileError, PosefuseError
from posefuse.files.toml_file import read_toml
from posefuse.files.unit_keys import spellings

__all__ = ["command", "kind_of"]

_MARKS: Mapping[str, frozenset[str]] = {
    "layout": frozenset({"tag", "goal", "obstacle", "beacon", "tag_family", "tag_edge_m"}),
    "robot": frozenset({"drivetrain", "gyro", "shooter", "box", "lean_deg_per_m_per_s2"}),
    "camera": frozenset(
        {"detector", "timing", "width_px", "height_px", "field_of_view_deg", "focal_px"}
    ),
    "rig": frozenset({"mount", "ranger", "robot"}),
    "course": frozenset(
        {"waypoint", "trajectory", "limits", "shot", "bump", "knock", "lift", "traffic"}
    )
    | {"duration_s", "repeat"},
    "study": frozenset({"plan", "layout", "courses", "trials", "seed", "as_built", "start"}),
    "filter": frozenset(
        {"measurement", "process", "noise", "gate_probability", "late_frames", "history_s"}
    )
    | {"drop_older_than_s", "ambiguous", "ambiguity_ratio", "start_from"},
}
"""Top-level keys that tell one kind of file from the others."""


@click.command(name="check")
@click.argument(
    "paths", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
def command(paths: tuple[Path, ...]) -> None:
    """Validate files and say what they hold.

    A FILE is a field layout, a robot, camera, rig, course, filter or study file, or the folder of a
    recording. Every fault is told with its file and line; the exit status is 2 when there is one.
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


def kind_of(path: Path) -> str:
    """What a file is, by its keys: a kind of TOML file, or ``recording``.

    Raises
    ------
    FileError
        It cannot be told.
    """
    if path.is_dir():
        if (path / "recording.toml").is_file():
            return "recording"
        raise FileError(path, "a folder, but no recording: it holds no recording.toml")
    if path.suffix == ".csv":
        raise FileError(path, "a table: name the folder of the recording it belongs to")
    data = read_toml(path)
    if path.name == "recording.toml":
        return "recording"
    hits = {kind: _hits(data, marks) for kind, marks in _MARKS.items()}
    best = max(hits, key=lambda kind: hits[kind])
    if hits[best] == 0:
        kinds = ", ".join(_MARKS)
        raise FileError(
            path,
            f"cannot tell what this is; its keys fit none of: {kinds} (got {', '.join(data)})",
        )
    return best


def _hits(data: Mapping[str, Any], marks: frozenset[str]) -> int:
    return sum(any(spelling in data for spelling in spellings(mark)) for mark in marks)
