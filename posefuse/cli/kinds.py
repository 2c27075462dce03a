"""What kind of file a path is, by the keys it holds."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from posefuse.errors import FileError
from posefuse.files.toml_file import read_toml
from posefuse.files.unit_keys import spellings

__all__ = ["kind_of", "refuse_other_kinds"]

_MARKS: Mapping[str, frozenset[str]] = {
    "arena": frozenset({"tag", "goal", "obstacle", "beacon", "tag_family", "tag_edge_m"}),
    "robot": frozenset({"drivetrain", "gyro", "shooter", "box", "lean_deg_per_m_per_s2"}),
    "camera": frozenset(
        {"detector", "timing", "width_px", "height_px", "field_of_view_deg", "focal_px"}
    ),
    "response": frozenset({"edges_px", "incidences_deg", "blurs_px", "noise_factors", "columns"}),
    "rig": frozenset({"mount", "ranger", "robot", "shooter"}),
    "board": frozenset({"squares_across", "squares_down", "square_m", "marker_m"}),
    "course": frozenset(
        {"waypoint", "trajectory", "limits", "shot", "bump", "knock", "lift", "traffic"}
    )
    | {"duration_s", "repeat"},
    "study": frozenset({"plan", "arena", "courses", "trials", "seed", "as_built", "start"}),
    "filter": frozenset(
        {"measurement", "process", "noise", "gate_probability", "late_frames", "history_s"}
    )
    | {"drop_older_than_s", "ambiguous", "ambiguity_ratio", "start_from"},
}
"""Top-level keys that mark one kind of file among the others."""


def kind_of(path: Path) -> str:
    """What a file is, by its keys: a kind of TOML file, or ``recording``.

    Raises
    ------
    FileError
        It is of no known kind.
    """
    if path.is_dir():
        if (path / "recording.toml").is_file():
            return "recording"
        raise FileError(path, "a folder, but no recording: it holds no recording.toml")
    if path.suffix == ".csv":
        raise FileError(
            path,
            "a table: name the folder of the recording it belongs to, or the .toml file beside it "
            "that says how it was measured",
        )
    data = read_toml(path)
    if path.name == "recording.toml":
        return "recording"
    hits = {kind: _hits(data, marks) for kind, marks in _MARKS.items()}
    best = max(hits, key=lambda kind: hits[kind])
    if hits[best] == 0:
        kinds = ", ".join(_MARKS)
        raise FileError(
            path,
            f"of no known kind; its keys fit none of: {kinds} (got {', '.join(data)})",
        )
    return best


def refuse_other_kinds(path: Path, wanted: str) -> None:
    """Raises when a file is plainly of another kind than the command takes: one line for it all."""
    found = kind_of(path)
    if found != wanted:
        raise FileError(path, f"expected {_a_file(wanted)}, got {_a_file(found)}")


def _a_file(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind} file"


def _hits(data: Mapping[str, Any], marks: frozenset[str]) -> int:
    return sum(any(spelling in data for spelling in spellings(mark)) for mark in marks)
