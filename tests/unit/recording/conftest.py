"""A small recording folder of the demo robot, written by hand."""

from pathlib import Path

import pytest

REPOSITORY = Path(__file__).parents[3]

TABLES = {
    "recording.toml": """\
name = "Tuesday, second run"
recorded_on = "2026-03-10"
clock = "robot, seconds since it was switched on"
rig = "RIG"
arena = "ARENA"
goal = "north crate"
dropped_frame_count = 2

[start]
x_m = 2.0
y_cm = 300
heading_deg = 90.0
position_std_m = 0.02
heading_std_deg = 0.5
""",
    "odometry.csv": """\
t_s,forward_m,left_m,turn_rad
10.0,0.0,0.0,0.0
10.02,0.01,0.0,0.001
10.04,0.01,0.001,0.002
10.06,0.01,0.0,0.0
""",
    "frames.csv": """\
frame,camera,captured_at_s,arrived_at_s
7,front,10.001,10.035
8,left,10.0005,10.031
9,front,10.034,10.07
""",
    "sightings.csv": """\
frame,id,x0_px,y0_px,x1_px,y1_px,x2_px,y2_px,x3_px,y3_px
9,3,1,2,3,4,5,6,7,8
7,0,11,12,13,14,15,16,17,18
7,5,21,22,23,24,25,26,27,28
""",
    "truth.csv": "t_s,x_m,y_m,heading_rad\n10.0,2.0,3.0,1.57\n10.06,2.0,3.03,1.573\n",
    "shots.csv": "t_s,goal\n10.02,north crate\n10.05,south crate\n",
}


@pytest.fixture
def folder(tmp_path):
    """The recording's folder; tests spoil one table or another."""
    folder = tmp_path / "run"
    folder.mkdir()
    rig = REPOSITORY / "datasets/orchard/rigs/four_sides_level.toml"
    arena = REPOSITORY / "fieldlayouts/orchard_court.toml"
    for name, text in TABLES.items():
        text = text.replace("RIG", rig.as_posix()).replace("ARENA", arena.as_posix())
        (folder / name).write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def ranger_inputs(tmp_path):
    """Rig and arena files of a robot with two rangers and no camera."""
    inputs = tmp_path / "mower"
    inputs.mkdir()
    (inputs / "rig.toml").write_text(
        'name = "rangers"\nrobot = "robot.toml"\n'
        '[[ranger]]\nname = "port"\nposition_m = [0.0, 0.2, 0.5]\n'
        '[[ranger]]\nname = "starboard"\nposition_m = [0.0, -0.2, 0.5]\n',
        encoding="utf-8",
    )
    (inputs / "robot.toml").write_text(
        'name = "mower"\nlength_m = 1.0\nwidth_m = 0.8\n[drivetrain]\nkind = "differential"\n'
        "wheels_m = [[0.0, 0.3], [0.0, -0.3]]\nwheel_radius_m = 0.1\nrate_hz = 10\n"
        "speed_m_per_s = 3.0\nacceleration_m_per_s2 = 2.0\nturn_rate_deg_per_s = 180\n",
        encoding="utf-8",
    )
    (inputs / "arena.toml").write_text(
        'name = "lawn"\nlength_m = 60.0\nwidth_m = 60.0\n'
        "[[beacon]]\nid = 4\nposition_m = [1.0, 2.0, 1.0]\n"
        "[[beacon]]\nid = 6\nposition_m = [50.0, 2.0, 1.0]\n",
        encoding="utf-8",
    )
    return inputs
