"""Course files: what they hold, and what is said of a wrong one."""

import math
from pathlib import Path

import numpy as np
import pytest

from posefuse.errors import FileError
from posefuse.motion.load import course_sources, load_course

PLANNED = """
name = "there and back"
duration_s = 20
still_s = 0.5

[limits]
speed_m_per_s = 2.0
acceleration_m_per_s2 = 2.0
turn_rate_deg_per_s = 180
turn_acceleration_deg_per_s2 = 720

[[waypoint]]
position_cm = [100, 150]
heading_deg = 90
pause_ms = 400
shot = "crate"

[[waypoint]]
position_m = [4.0, 1.5]
heading_deg = -90
turns = 1
"""

RECORDED = """
name = "as driven"
trajectory = "driven.txt"

[[shot]]
at_s = 1700000001.0
goal = "crate"
"""

TRAJECTORY = """# t x y z qx qy qz qw
1700000000.0 1.0 1.0 0.1 0 0 0.9999 0.0141
1700000001.0 2.0 1.0 0.1 0 0 1 0
1700000002.5 2.5 1.5 0.1 0 0 -0.9999 0.0141
"""

EVENTS = """
[[bump]]
at_s = 3.0
duration_ms = 300
slip_cm = 5

[[knock]]
mount = "front"
at_s = 8
pan_deg = 3
tilt_deg = -2
roll_deg = 5

[[lift]]
box = "mast"
at_s = [2, 4]
raise_in = [0, 10]

[[traffic]]
name = "other"
size_m = [0.8, 0.7, 0.6]
at_s = [0, 10]
positions_m = [[1, 1], [2, 3]]
heading_deg = 45
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "course.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_planned_course(tmp_path) -> None:
    course = load_course(written(tmp_path, PLANNED))
    assert course.name == "there and back"
    assert (course.path.start_s, course.path.end_s) == (0.0, 20.0)
    np.testing.assert_allclose(course.path.poses(0.5).values, [1.0, 1.5, math.pi / 2])
    assert course.shots[0].at_s == pytest.approx(0.7)
    assert course.shots[0].goal == "crate"
    assert len(course.shots) > 2


def test_events(tmp_path) -> None:
    course = load_course(written(tmp_path, PLANNED + EVENTS))
    (bump,), (knock,) = course.bumps, course.knocks
    assert (bump.at_s, bump.duration_s, bump.slip_m) == (3.0, 0.3, 0.05)
    assert (knock.mount, knock.at_s) == ("front", 8.0)
    turned = (knock.pan_rad, knock.tilt_rad, knock.roll_rad)
    assert turned == (math.radians(3.0), math.radians(-2.0), math.radians(5.0))
    np.testing.assert_allclose(course.lifts[0].raise_m, [0.0, 0.254])
    np.testing.assert_allclose(course.traffic[0].xy_in_world_m, [[1, 1], [2, 3]])
    assert course.traffic[0].heading_rad == math.radians(45.0)


def test_recorded_course_keeps_the_stamps_of_its_file(tmp_path) -> None:
    (tmp_path / "driven.txt").write_text(TRAJECTORY, encoding="utf-8")
    path = written(tmp_path, RECORDED)
    course = load_course(path)
    assert (course.path.start_s, course.path.end_s) == (1700000000.0, 1700000002.5)
    assert course.shots[0].at_s == 1700000001.0
    headings = course.path.poses([1700000000.0, 1700000001.0, 1700000002.5]).heading_rad
    half = 2.0 * math.acos(0.0141)
    np.testing.assert_allclose(headings, [half, math.pi, 2.0 * math.pi - half], atol=1e-6)
    assert course_sources(path) == (path, tmp_path / "driven.txt")


def test_a_planned_course_has_one_source(tmp_path) -> None:
    path = written(tmp_path, PLANNED)
    assert course_sources(path) == (path,)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("duration_s = 20\n", "", "duration_s: missing: give duration_s, limits, waypoint, or a"),
        ("duration_s = 20", "duration_s = 2", "duration_s: too short to reach the second waypoint"),
        ("duration_s = 20", "duration_s = -2", ":3: duration_s: must be greater than 0 (got -2)"),
        (
            "duration_s = 20",
            "duration_s = 3\nrepeat = false",
            "duration_s: the course takes 3.75 s (got 3)",
        ),
        ("speed_m_per_s = 2.0\n", "", "limits.speed_m_per_s: missing"),
        ("speed_m_per_s", "sped_m_per_s", "did you mean 'speed_m_per_s'?"),
        ("speed_m_per_s", "speed_ft_per_s", "allowed: speed_m_per_s"),
        (
            "heading_deg = -90\n",
            "",
            "waypoint.2: turns: needs a heading at the same waypoint (got 1)",
        ),
        ("position_m = [4.0, 1.5]", "position_m = [4.0, nan]", "must be a finite number (got nan)"),
        ("position_m = [4.0, 1.5]", "position_m = [4.0]", "waypoint.2.position_m"),
        ("turns = 1", "turns = 1.5", "waypoint.2.turns: must be a whole number (got 1.5)"),
        ("turns = 1", "turns = 1\ntrajectory_m = 3", "unknown key"),
        ('shot = "crate"', 'shot = ""', "waypoint.1.shot"),
        ("slip_cm = 5", "slip_cm = -5", ":26: bump.1.slip_cm: must be greater than or equal to 0"),
        ("duration_ms = 300", "duration_ms = 0", ":25: bump.1.duration_ms: must be greater than 0"),
        ("at_s = 3.0", "at_s = 33", "bump at 33 s: must lie within the course (0 to 20 s)"),
        ("at_s = 8", "at_s = -1", "knock at -1 s: must lie within the course (0 to 20 s)"),
        ("at_s = [2, 4]", "at_s = [4, 2]", "lift.1: lift mast: at_s: the stamp goes back at row 1"),
        ("at_s = [2, 4]", "at_s = [2, 4, 5]", "lift.1: lift mast: raise_m: shape (2,) given"),
        ("at_s = [0, 10]", "at_s = [0, 0]", "traffic.1: traffic other: at_s: the stamp repeats"),
        ("[[1, 1], [2, 3]]", "[[1, 1]]", "traffic.1: traffic other: xy: shape (1, 2) given"),
    ],
)
def test_faults_are_reported_in_one_line_each(tmp_path, old, new, message) -> None:
    text = PLANNED + EVENTS
    assert old in text
    path = written(tmp_path, text.replace(old, new))
    with pytest.raises(FileError) as error:
        load_course(path)
    assert message in str(error.value)
    assert all(line.startswith(str(path)) for line in str(error.value).splitlines())


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (RECORDED + "[limits]\n", "limits.speed_m_per_s: missing"),
        (RECORDED.replace("[[shot]]", "repeat = true\n[[shot]]"), "no meaning beside a trajectory"),
        (RECORDED.replace("driven", "drven"), "no such file (got 'drven.txt'); did you mean"),
        (RECORDED.replace("1700000001.0", "1.0"), "shot at 1 s: must lie within the course"),
        ('name = "empty"\n', "duration_s: missing"),
    ],
)
def test_faults_of_a_recorded_course(tmp_path, text, message) -> None:
    (tmp_path / "driven.txt").write_text(TRAJECTORY, encoding="utf-8")
    with pytest.raises(FileError) as error:
        load_course(written(tmp_path, text))
    assert message in str(error.value)


def test_faults_of_the_trajectory_name_its_file_and_line(tmp_path) -> None:
    (tmp_path / "driven.txt").write_text(TRAJECTORY + "1700000002.5 1 1 0 0 0 0 1", "utf-8")
    with pytest.raises(FileError, match=r"driven\.txt:5: t: must be later than the line before"):
        load_course(written(tmp_path, RECORDED))


def test_one_pose_is_no_trajectory(tmp_path) -> None:
    (tmp_path / "driven.txt").write_text("1700000001 1 1 0 0 0 0 1\n", encoding="utf-8")
    with pytest.raises(FileError, match=r"trajectory: path: 2 poses or more .* \(got 1\)"):
        load_course(written(tmp_path, RECORDED))
