"""The CSV tables of a recording folder: each read into its part of the Recording, and checked.

Faults are collected, so that one reading reports all of them, each with file, line and column.
"""

import difflib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posefuse.arena.arena import Arena
from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.errors import FileError
from posefuse.files.table_file import read_table
from posefuse.files.text_file import read_text
from posefuse.recording.recording import Frames, Odometry, Shots, SightingKind, Sightings, Truth
from posefuse.robot.rig import Rig

__all__ = [
    "CORNER_COLUMNS",
    "VALUE_COLUMNS",
    "read_frames",
    "read_odometry",
    "read_shots",
    "read_sightings",
    "read_truth",
]

CORNER_COLUMNS = tuple(f"{axis}{corner}_px" for corner in range(4) for axis in "xy")
VALUE_COLUMNS = {
    SightingKind.CORNERS: CORNER_COLUMNS,
    SightingKind.RANGE_BEARING: ("range_m", "bearing_rad"),
    SightingKind.RANGE: ("range_m",),
}
"""Columns after ``frame`` and ``id`` that each kind of sighting has."""

EARLIEST_ARRIVAL_S = -1.0
"""A camera's clock may run ahead of the robot's, so a frame may seem to arrive before it was
captured: by up to a second this is taken as it stands, beyond it the two clocks do not fit."""


class TableFaults:
    """Collects what is wrong in one table; each check notes the first row that fails it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.found: list[FileError] = []

    def add(self, problem: str, *, row: int | None = None, key: str | None = None) -> None:
        """Notes a fault, at a row of the table counted from 0 where there is one."""
        line = None if row is None else _line_of_row(self.path, row)
        self.found.append(FileError(self.path, problem, line=line, key=key))

    def check_rising(
        self, name: str, stamps_s: FloatArray, *, rows: IntArray | None = None
    ) -> None:
        """Notes the first stamp that repeats or goes back.

        Parameters
        ----------
        rows
            Table rows of the stamps, when they are not all of them.
        """
        steps = np.diff(stamps_s)
        if not (steps <= 0.0).any():
            return
        at = int(np.argmax(steps <= 0.0)) + 1
        change = "repeats" if steps[at - 1] == 0.0 else "goes back"
        row = at if rows is None else int(rows[at])
        self.add(
            f"the stamp {change}: must be greater than {float(stamps_s[at - 1])!r} of the row "
            f"before{'' if rows is None else ' of the same camera'} (got {float(stamps_s[at])!r})",
            row=row,
            key=name,
        )

    def check_known(self, name: str, what: str, values: NDArray[Any], known: Sequence[Any]) -> None:
        """Notes each value that is not among the known ones, at the first row that holds it."""
        for value in dict.fromkeys(values[~np.isin(values, np.array(known or [""]))].tolist()):
            near = difflib.get_close_matches(str(value), [str(k) for k in known], n=1, cutoff=0.5)
            listed = ", ".join(str(k) for k in known) or "none"
            advice = f"did you mean {near[0]}? known: {listed}" if near else f"known: {listed}"
            row = int(np.argmax(values == value))
            self.add(f"unknown {what} {value!r}; {advice}", row=row, key=name)

    def check(self, is_wrong: BoolArray, name: str, wanted: str, values: NDArray[Any]) -> None:
        """Notes the first row that is wrong, with its value."""
        if is_wrong.any():
            row = int(np.argmax(is_wrong))
            self.add(f"{wanted} (got {values[row].item()!r})", row=row, key=name)

    def stop_if_any(self) -> None:
        """Raises what was noted."""
        if self.found:
            raise FileError.joined(self.found)


def _line_of_row(path: Path, row: int) -> int:
    """Line of a table row counted from 0: the header and blank lines are no rows."""
    lines = read_text(path).split("\n")
    return [number for number, line in enumerate(lines, start=1) if line.strip()][row + 1]


def read_odometry(path: Path) -> Odometry:
    """The odometry table: at least two rows, stamps rising, no motion in the first row."""
    table = read_table(path, ["t_s", "forward_m", "left_m", "turn_rad"])
    twists = np.stack([table[name] for name in ("forward_m", "left_m", "turn_rad")], axis=-1)
    faults = TableFaults(path)
    if len(twists) < 2:
        faults.add(f"must hold 2 rows or more (got {len(twists)})")
    elif twists[0].any():
        motion = ", ".join(repr(value) for value in twists[0].tolist())
        faults.add(f"the first row's motion must be 0, 0, 0 (got {motion})", row=0)
    faults.check_rising("t_s", table["t_s"])
    faults.stop_if_any()
    return Odometry(stamps_s=table["t_s"], twists=twists)


def read_frames(path: Path, *, rig: Rig) -> tuple[Frames, IntArray]:
    """The frames in the order of their capture stamps, and the number each has in the file.

    Each camera's own stamps must rise; how the cameras' rows are interleaved does not matter.
    """
    table = read_table(
        path,
        ["frame", "camera", "captured_at_s", "arrived_at_s"],
        text=["camera"],
        whole=["frame"],
    )
    number, camera = table["frame"], table["camera"]
    captured_at_s, arrived_at_s = table["captured_at_s"], table["arrived_at_s"]
    faults = TableFaults(path)
    faults.check_known("camera", "camera", camera, rig.sensor_names)
    faults.check(_is_repeat(number), "frame", "each frame must have its own number", number)
    for name in np.unique(camera):
        rows = np.flatnonzero(camera == name)
        faults.check_rising("captured_at_s", captured_at_s[rows], rows=rows)
    late_s = arrived_at_s - captured_at_s
    faults.check(
        late_s < EARLIEST_ARRIVAL_S,
        "arrived_at_s",
        f"must not lie more than {-EARLIEST_ARRIVAL_S:g} s before captured_at_s: "
        "do both come from one clock?",
        arrived_at_s,
    )
    faults.stop_if_any()
    index_of = {name: index for index, name in enumerate(rig.sensor_names)}
    order = np.argsort(captured_at_s, kind="stable")
    frames = Frames(
        sensor=np.array([index_of[name] for name in camera[order]], dtype=np.int64),
        captured_at_s=captured_at_s[order],
        arrived_at_s=arrived_at_s[order],
    )
    return frames, number[order]


def read_sightings(
    path: Path, *, frames: Frames, frame_numbers: IntArray, arena: Arena, rig: Rig
) -> Sightings:
    """The sightings in the order of their frames; within a frame in the order of the file.

    Parameters
    ----------
    frame_numbers : (frames,) ints
        The number each frame has in the file.
    """
    kind = _sighting_kind(path)
    values = VALUE_COLUMNS[kind]
    table = read_table(path, ["frame", "id", *values], whole=["frame", "id"])
    number, ident = table["frame"], table["id"]
    faults = TableFaults(path)
    is_known = np.isin(number, frame_numbers)
    faults.check(~is_known, "frame", "must be a frame of frames.csv", number)
    if kind is SightingKind.CORNERS:
        faults.check_known("id", "tag", ident, [tag.id for tag in arena.tags])
    else:
        faults.check_known("id", "beacon", ident, [beacon.id for beacon in arena.beacons])
        faults.check(table["range_m"] <= 0.0, "range_m", "must be greater than 0", table["range_m"])
    faults.check(
        _is_repeat(np.stack([number, ident], axis=-1)),
        "id",
        "must be sighted once only in each frame",
        ident,
    )
    faults.stop_if_any()
    by_number = np.argsort(frame_numbers, kind="stable")
    frame = by_number[np.searchsorted(frame_numbers[by_number], number)] if len(number) else number
    _check_sensors(faults, kind, frames.sensor[frame], rig)
    order = np.argsort(frame, kind="stable")
    return Sightings(
        kind=kind,
        frame=frame[order],
        id=ident[order],
        values=np.stack([table[name] for name in values], axis=-1)[order],
    )


def read_truth(path: Path) -> Truth:
    """The true path; without a heading column only its positions are scored."""
    table = read_table(path, ["t_s", "x_m", "y_m"], optional=["heading_rad"])
    has_heading = "heading_rad" in table
    heading = table["heading_rad"] if has_heading else np.zeros(len(table["t_s"]))
    faults = TableFaults(path)
    if not len(heading):
        faults.add("must hold 1 row or more (leave the file out where the truth is not known)")
    faults.check_rising("t_s", table["t_s"])
    faults.stop_if_any()
    poses = np.stack([table["x_m"], table["y_m"], heading], axis=-1)
    return Truth(stamps_s=table["t_s"], poses=poses, has_heading=has_heading)


def read_shots(path: Path, *, odometry: Odometry, arena: Arena) -> Shots:
    """The shots: stamps rising and within the odometry, goals of the arena."""
    table = read_table(path, ["t_s", "goal"], text=["goal"])
    stamps_s, goals = table["t_s"], table["goal"]
    faults = TableFaults(path)
    faults.check_known("goal", "goal", goals, [goal.name for goal in arena.goals])
    faults.check_rising("t_s", stamps_s)
    first, last = odometry.stamps_s[[0, -1]].tolist()
    faults.check(
        (stamps_s < first) | (stamps_s > last),
        "t_s",
        f"must lie within the odometry, {first!r} to {last!r}",
        stamps_s,
    )
    faults.stop_if_any()
    return Shots(stamps_s=stamps_s, goals=tuple(goals.tolist()))


def _sighting_kind(path: Path) -> SightingKind:
    """The kind of sighting by the header: the kind that shares the most columns with it."""
    header = [name.strip().strip('"') for name in read_text(path).split("\n")[0].split(",")]
    shared = {kind: len(set(header) & set(names)) for kind, names in VALUE_COLUMNS.items()}
    best = max(shared.values())
    if best == 0:
        sets = " or ".join(", ".join(names) for names in VALUE_COLUMNS.values())
        raise FileError(
            path, f"the columns are frame, id and {sets} (got {', '.join(header)})", line=1
        )
    # range_m alone is shared by two kinds: the one with fewer columns fits it
    return min((k for k in shared if shared[k] == best), key=lambda kind: kind.width)


def _check_sensors(faults: TableFaults, kind: SightingKind, sensor: IntArray, rig: Rig) -> None:
    is_camera = sensor < len(rig.mounts)
    names = np.array([*rig.sensor_names, ""])[sensor]
    if kind is SightingKind.CORNERS:
        faults.check(~is_camera, "frame", "corners come from a camera, not from a ranger", names)
    else:
        faults.check(is_camera, "frame", "ranges come from a ranger, not from a camera", names)
    faults.stop_if_any()


def _is_repeat(values: IntArray) -> BoolArray:
    """Whether each value (or row of values) already appears further up."""
    _, first = np.unique(values, axis=0, return_index=True)
    repeats = np.ones(len(values), dtype=np.bool_)
    repeats[first] = False
    return repeats
