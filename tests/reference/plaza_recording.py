"""Turns the Plaza sets of range-only data into recording folders.

The sets: a robot mower with wheel odometry and a gyro, ranges by radio to four fixed beacons, and
satellite positions good to 2 cm as the truth. J. Djugash, B. Hamner, S. Roth, "Navigating with
ranging radios: five data sets with ground truth", Journal of Field Robotics 26(9), 2009 (cited from
memory). They are read from where the gtsam package keeps them (``gtsam/Data``) and are not part of
posefuse. To look at them::

    python tests/reference/plaza_recording.py OUT
    posefuse replay OUT/plaza1/recording --settings datasets/plaza/filter.toml

What the files hold and what is done with it:

- DR, DRp: time of each odometry row, distance, heading change. Taken as motion along an arc.
- TD: time, beacon and range. Ranges are long by 7 % at every beacon in both sets (least squares
  against the truth gives 1.068 to 1.071, offsets within 0.1 m): divided by 1.069.
- Plaza 1 is three logs one after the other that overlap in time: put in order. Three pairs of
  ranges share a stamp; the second of each is moved by a microsecond so that the stamps rise.
- GT: true positions. The heading of Plaza 2 is off by half a turn from the direction in which the
  mower drives, so the start heading is taken from DRp, and the truth is written without a heading.
- The radios have no latency that is known: a range arrives when it is taken. All heights are zero.
"""

from pathlib import Path
from typing import Any

import numpy as np

from posefuse.arena.load import load_arena
from posefuse.checks import FloatArray
from posefuse.geometry.plane import PlanePose
from posefuse.recording.folder import StoredRecording, write_recording
from posefuse.recording.recording import (
    Frames,
    Odometry,
    Recording,
    SightingKind,
    Sightings,
    StartPose,
    Truth,
)
from posefuse.robot.load import load_rig

RANGE_SCALE = 1.069
START_STD_M = 0.02
START_STD_RAD = np.radians(2.0)
MARGIN_M = 10.0
SAME_STAMP_STEP_S = 1e-6

ROBOT_TOML = """\
name = "mower"
length_m = 1.5
width_m = 1.0
[drivetrain]
kind = "differential"
wheels_m = [[0.0, 0.4], [0.0, -0.4]]
wheel_radius_m = 0.15
rate_hz = 10
speed_m_per_s = 13
acceleration_m_per_s2 = 5
turn_rate_deg_per_s = 120
"""
RIG_TOML = """\
name = "mower with a radio"
robot = "robot.toml"
[[ranger]]
name = "radio"
position_m = [0.0, 0.0, 0.0]
"""


def plaza_arrays(number: int, folder: Path) -> dict[str, FloatArray]:
    """The arrays of Plaza 1 or 2, from the folder that holds ``Plaza1_.mat``."""
    from scipy.io import loadmat

    data: dict[str, Any] = loadmat(folder / f"Plaza{number}_.mat")
    return {name: np.asarray(data[name]) for name in ("DR", "DRp", "TD", "TL", "GT")}


def write_plaza(number: int, data: dict[str, FloatArray], folder: Path) -> None:
    """Writes the recording folder ``folder/recording`` with its rig and arena beside it."""
    folder.mkdir(parents=True)
    truth_m = data["GT"][:, 1:3]
    all_m = np.concatenate([truth_m, data["TL"][:, 1:3], [[0.0, 0.0]]])
    origin_m = MARGIN_M - np.floor(all_m.min(axis=0))
    size_m = np.ceil(all_m.max(axis=0)) + origin_m + MARGIN_M
    (folder / "robot.toml").write_text(ROBOT_TOML, encoding="utf-8")
    (folder / "rig.toml").write_text(RIG_TOML, encoding="utf-8")
    (folder / "arena.toml").write_text(
        _arena_toml(number, data["TL"], origin_m, size_m), encoding="utf-8"
    )
    stored = StoredRecording(
        recording=_recording(number, data, origin_m),
        rig=load_rig(folder / "rig.toml"),
        arena=load_arena(folder / "arena.toml"),
        rig_path=folder / "rig.toml",
        arena_path=folder / "arena.toml",
        goal="origin",
        clock="the logger's, in seconds",
    )
    write_recording(stored, folder / "recording")


def _arena_toml(number: int, beacons: FloatArray, origin_m: FloatArray, size_m: FloatArray) -> str:
    lines = [
        f'name = "Plaza {number}"',
        f"length_m = {size_m[0]}",
        f"width_m = {size_m[1]}",
        "[[goal]]",
        'name = "origin"',
        f"centre_m = [{origin_m[0]}, {origin_m[1]}, 1.0]",
        "width_m = 1.0",
        "height_m = 1.0",
        "facing_deg = 0.0",
    ]
    for ident, *xy_m in beacons.tolist():
        x, y = np.add(xy_m, origin_m).tolist()
        lines += ["[[beacon]]", f"id = {int(ident)}", f"position_m = [{x!r}, {y!r}, 0.0]"]
    return "\n".join(lines) + "\n"


def _recording(number: int, data: dict[str, FloatArray], origin_m: FloatArray) -> Recording:
    moves, path, truth = data["DR"], data["DRp"], data["GT"]
    twists = np.zeros((len(path), 3))
    twists[1:, [0, 2]] = moves[:, 1:]
    ranges = data["TD"][np.argsort(data["TD"][:, 0], kind="stable")]
    stamps_s = ranges[:, 0].copy()
    stamps_s[1:][np.diff(stamps_s) == 0.0] += SAME_STAMP_STEP_S
    start = PlanePose([*(truth[0, 1:3] + origin_m), path[0, 3]])
    return Recording(
        name=f"Plaza {number}",
        sensor_names=("radio",),
        odometry=Odometry(stamps_s=path[:, 0], twists=twists),
        frames=Frames(sensor=np.zeros(len(ranges)), captured_at_s=stamps_s, arrived_at_s=stamps_s),
        sightings=Sightings(
            kind=SightingKind.RANGE,
            frame=np.arange(len(ranges)),
            id=ranges[:, 2],
            values=ranges[:, 3:] / RANGE_SCALE,
        ),
        start=StartPose(
            world_from_robot=start, cov=np.diag([START_STD_M, START_STD_M, START_STD_RAD]) ** 2
        ),
        truth=Truth(
            stamps_s=truth[:, 0],
            poses=np.column_stack([truth[:, 1:3] + origin_m, np.zeros(len(truth))]),
            has_heading=False,
        ),
    )


if __name__ == "__main__":
    from argparse import ArgumentParser
    from importlib.util import find_spec

    parser = ArgumentParser(description="Write the Plaza recordings into a new folder.")
    parser.add_argument("folder", type=Path)
    target = parser.parse_args().folder
    found = find_spec("gtsam")
    if found is None or found.origin is None:
        raise SystemExit("the Plaza sets come with the gtsam package, which is not installed")
    for plaza in (1, 2):
        arrays = plaza_arrays(plaza, Path(found.origin).parent / "Data")
        write_plaza(plaza, arrays, target / f"plaza{plaza}")
