"""A recording as a folder: ``recording.toml`` and CSV tables whose header names carry units.

============== ==================================================================================
recording.toml name, rig, arena; optional camera, recorded_on, clock, goal, dropped_frame_count,
               [start]
odometry.csv   t_s, forward_m, left_m, turn_rad: motion since the row before, first row zero
frames.csv     frame, camera, captured_at_s, arrived_at_s
sightings.csv  frame, id and x0_px, y0_px .. x3_px, y3_px, or range_m, bearing_rad, or range_m
truth.csv      t_s, x_m, y_m, and where it is known heading_rad (the file is optional)
shots.csv      t_s, goal (optional)
inputs/        copies of the rig's and the arena's files, where posefuse wrote the folder
============== ==================================================================================

What is written and read again is the same to the last bit.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.arena.load import load_arena
from posefuse.checks import FloatArray
from posefuse.errors import FileError, InputError
from posefuse.files.references import referenced
from posefuse.files.result_folder import new_folder
from posefuse.files.table_file import write_table
from posefuse.files.toml_file import all_faults_of, in_file, load_toml
from posefuse.recording.csv_tables import (
    VALUE_COLUMNS,
    read_frames,
    read_odometry,
    read_shots,
    read_sightings,
    read_truth,
)
from posefuse.recording.inputs import copy_inputs
from posefuse.recording.recording import Odometry, Recording, StartPose
from posefuse.recording.schema import RecordingTable
from posefuse.recording.start import stated_start
from posefuse.robot.load import camera_sources, load_camera, load_rig, rig_sources
from posefuse.robot.rig import Rig

__all__ = ["StoredRecording", "read_recording", "write_recording"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StoredRecording:
    """A recording with the rig and the arena it was taken with.

    Parameters
    ----------
    goal
        To which the whole course is scored.
    rig_path, arena_path
        The files of both.
    camera_path
        The file of the camera that every mount carries in place of what the rig's file says.
    recorded_on, clock
        Free text: when, and what the stamps count from.
    """

    recording: Recording
    rig: Rig
    arena: Arena
    rig_path: Path
    arena_path: Path
    camera_path: Path | None = None
    goal: str | None = None
    recorded_on: str = ""
    clock: str = ""

    def __post_init__(self) -> None:
        if self.recording.sensor_names != self.rig.sensor_names:
            raise InputError(
                f"recording {self.recording.name!r}: its sensors are "
                f"{', '.join(self.recording.sensor_names)}, those of the rig "
                f"{self.rig.name!r} are {', '.join(self.rig.sensor_names)}"
            )
        if self.goal is not None:
            self.arena.goal(self.goal)


def read_recording(folder: Path | str) -> StoredRecording:
    """The recording in a folder, with its rig and arena.

    Nothing is ignored: whatever does not fit is refused.

    Raises
    ------
    FileError
        One line for each fault in the first file that has any.
    """
    folder = Path(folder)
    if not folder.is_dir():
        found = "a file" if folder.exists() else "no such folder"
        raise FileError(folder, f"{found}: a recording is a folder that holds recording.toml")
    path = folder / "recording.toml"
    table = load_toml(path, RecordingTable)
    with all_faults_of(path) as faults:
        for key, name in (("rig", table.rig), ("arena", table.arena), ("camera", table.camera)):
            if name is not None:
                with faults.at(key):
                    referenced(path, name)
        start = stated_start(table.start, faults) if table.start is not None else None
    rig, arena = load_rig(folder / table.rig), load_arena(folder / table.arena)
    if table.camera is not None:
        camera = load_camera(folder / table.camera)
        with in_file(path, key=("camera",)):
            rig = rig.with_camera(camera)
    with in_file(path, key=("goal",)):
        if table.goal is not None:
            arena.goal(table.goal)
    return StoredRecording(
        recording=_read_tables(folder, table=table, rig=rig, arena=arena, start=start),
        rig=rig,
        arena=arena,
        rig_path=folder / table.rig,
        arena_path=folder / table.arena,
        camera_path=None if table.camera is None else folder / table.camera,
        goal=table.goal,
        recorded_on=table.recorded_on,
        clock=table.clock,
    )


def _read_tables(
    folder: Path,
    *,
    table: RecordingTable,
    rig: Rig,
    arena: Arena,
    start: StartPose | None,
) -> Recording:
    odometry = read_odometry(folder / "odometry.csv")
    frames, numbers = read_frames(folder / "frames.csv", rig=rig)
    _check_overlap(folder / "frames.csv", frames.captured_at_s, odometry)
    sightings = read_sightings(
        folder / "sightings.csv", frames=frames, frame_numbers=numbers, arena=arena, rig=rig
    )
    truth = shots = None
    if (folder / "truth.csv").exists():
        truth = read_truth(folder / "truth.csv")
        _check_overlap(folder / "truth.csv", truth.stamps_s, odometry)
    if (folder / "shots.csv").exists():
        shots = read_shots(folder / "shots.csv", odometry=odometry, arena=arena)
    return Recording(
        name=table.name,
        sensor_names=rig.sensor_names,
        odometry=odometry,
        frames=frames,
        sightings=sightings,
        start=start,
        truth=truth,
        shots=shots,
        dropped_frame_count=table.dropped_frame_count,
    )


def _check_overlap(path: Path, stamps_s: FloatArray, odometry: Odometry) -> None:
    first, last = odometry.stamps_s[[0, -1]].tolist()
    if len(stamps_s) and not (stamps_s[0] <= last and stamps_s[-1] >= first):
        own_first, own_last = stamps_s[[0, -1]].tolist()
        raise FileError(
            path,
            f"does not overlap odometry.csv in time: {own_first!r} to {own_last!r} s here, "
            f"{first!r} to {last!r} s there; all stamps must come from one clock",
        )


def write_recording(stored: StoredRecording, folder: Path | str) -> None:
    """Writes a new folder that ``read_recording`` turns back into the same recording.

    The files of rig and arena are copied into it, so that it can be moved and sent whole.

    Raises
    ------
    FileError
        The folder exists and is not empty; nothing of it is touched.
    InputError
        Two frames of one sensor have the same stamp, or a frame sights one id twice.
    """
    recording = stored.recording
    _check_writable(recording)
    with new_folder(Path(folder)) as new:
        named = {"rig": stored.rig_path, "arena": stored.arena_path}
        sources = [stored.arena_path, *rig_sources(stored.rig_path)]
        if stored.camera_path is not None:
            named["camera"] = stored.camera_path
            sources += camera_sources(stored.camera_path)
        copies = copy_inputs(sources, new / "inputs")
        inputs = {key: copies[path].relative_to(new).as_posix() for key, path in named.items()}
        text = _toml_text(stored, inputs)
        (new / "recording.toml").write_text(text, encoding="utf-8", newline="\n")
        _write_tables(recording, new)


def _check_writable(recording: Recording) -> None:
    frames, sightings = recording.frames, recording.sightings
    for index, name in enumerate(recording.sensor_names):
        stamps_s = frames.captured_at_s[frames.sensor == index]
        repeats = np.flatnonzero(np.diff(stamps_s) == 0.0)
        if len(repeats):
            raise InputError(
                f"recording {recording.name!r}: two frames of {name!r} have the same capture stamp "
                f"({stamps_s[repeats[0]].item()!r})"
            )
    pairs = np.stack([sightings.frame, sightings.id], axis=-1)
    if len(np.unique(pairs, axis=0)) < len(pairs):
        raise InputError(f"recording {recording.name!r}: a frame sights one id twice")


def _write_tables(recording: Recording, folder: Path) -> None:
    odometry, frames, sightings = recording.odometry, recording.frames, recording.sightings
    forward, left, turn = odometry.twists.T
    write_table(
        folder / "odometry.csv",
        {"t_s": odometry.stamps_s, "forward_m": forward, "left_m": left, "turn_rad": turn},
    )
    write_table(
        folder / "frames.csv",
        {
            "frame": np.arange(len(frames.sensor)),
            "camera": [recording.sensor_names[index] for index in frames.sensor],
            "captured_at_s": frames.captured_at_s,
            "arrived_at_s": frames.arrived_at_s,
        },
    )
    values = dict(zip(VALUE_COLUMNS[sightings.kind], sightings.values.T, strict=True))
    write_table(folder / "sightings.csv", {"frame": sightings.frame, "id": sightings.id, **values})
    if recording.truth is not None:
        x, y, heading = recording.truth.poses.T
        columns = {"t_s": recording.truth.stamps_s, "x_m": x, "y_m": y}
        if recording.truth.has_heading:
            columns["heading_rad"] = heading
        write_table(folder / "truth.csv", columns)
    if recording.shots is not None:
        write_table(
            folder / "shots.csv",
            {"t_s": recording.shots.stamps_s, "goal": recording.shots.goals},
        )


def _toml_text(stored: StoredRecording, inputs: Mapping[str, str]) -> str:
    """``recording.toml``, with the places of the files that it names by key."""
    recording = stored.recording
    lines = [
        f"name = {_quoted(recording.name)}",
        *(f"{key} = {_quoted(place)}" for key, place in inputs.items()),
        f"recorded_on = {_quoted(stored.recorded_on)}",
        f"clock = {_quoted(stored.clock)}",
        f"dropped_frame_count = {recording.dropped_frame_count}",
    ]
    if stored.goal is not None:
        lines.append(f"goal = {_quoted(stored.goal)}")
    if recording.start is not None:
        x, y, heading = recording.start.world_from_robot.values.tolist()
        rows = ", ".join(repr(row) for row in recording.start.cov.tolist())
        lines += [
            "",
            "# radians and the covariance of x_m, y_m, heading_rad keep every bit; by hand",
            "# heading_deg, position_std_m and heading_std_deg do",
            "[start]",
            f"x_m = {x!r}",
            f"y_m = {y!r}",
            f"heading_rad = {heading!r}",
            f"covariance = [{rows}]",
        ]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """A TOML basic string: JSON's escapes are TOML's, save for one character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
