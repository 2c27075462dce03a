"""Courses that a robot cannot drive in an arena, and the demo courses, which it can."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posefuse.arena.arena import Arena, Goal, Obstacle
from posefuse.arena.load import load_arena
from posefuse.errors import InputError
from posefuse.motion.checks import check_course
from posefuse.motion.course import Course, Knock, Lift, Shot, Traffic
from posefuse.motion.load import load_course
from posefuse.motion.path import TruePath
from posefuse.motion.planned import planned_path
from posefuse.robot.load import load_rig

ROOT = Path(__file__).parents[3]
ORCHARD = ROOT / "datasets" / "orchard"


@pytest.fixture
def arena() -> Arena:
    crate = Goal(name="crate", centre_in_world_m=[7, 3, 1], width_m=1, height_m=1, facing_rad=np.pi)
    post = Obstacle(name="post", centre_in_world_m=[4, 3, 0.5], size_m=[0.4, 0.4, 1.0])
    beam = Obstacle(
        name="beam", centre_in_world_m=[2, 1, 2], size_m=[0.2, 2, 0.2], blocks_course=False
    )
    return Arena(name="yard", length_m=8.0, width_m=4.0, goals=(crate,), obstacles=(post, beam))


@pytest.fixture
def driven(limits, waypoint):
    """A course from (1, 1) to a place, the heading held."""

    def make(x: float, y: float, heading_deg: float = 0.0, **more) -> Course:
        places = (waypoint(1, 1, heading_deg), waypoint(x, y, heading_deg))
        path, _ = planned_path(places, limits=limits, duration_s=8.0, repeats=False)
        return Course(name="c", path=path, **more)

    return make


def test_a_course_that_can_be_driven(driven, arena, rig) -> None:
    check_course(driven(7, 1, shots=(Shot(at_s=1.0, goal="crate"),)), arena=arena, rig=rig)


@pytest.mark.parametrize(
    ("target", "message"),
    [
        ((4, 3), r"touches obstacle 'post' at \d\.\d\d s, at x 3\.\d\d m, y 2\.\d\d m, heading 0"),
        ((7.7, 1), r"leaves the floor \(8 x 4 m\) at \d\.\d\d s, at x 7\.6\d m, y 1\.00 m"),
    ],
)
def test_walls_and_obstacles(target, message, driven, arena, rig) -> None:
    with pytest.raises(InputError, match=message):
        check_course(driven(*target), arena=arena, rig=rig)


def test_a_corner_that_swings_out(limits, waypoint, arena, rig) -> None:
    """Beside the wall the robot fits straight but not while it turns on the spot."""
    places = (waypoint(1, 0.35, 0), waypoint(1, 0.35, 180))
    path, _ = planned_path(places, limits=limits, duration_s=8.0, repeats=False)
    with pytest.raises(InputError, match=r"leaves the floor .* x 1\.00 m, y 0\.35 m, heading"):
        check_course(Course(name="c", path=path), arena=arena, rig=rig)


def test_traffic_that_runs_into_the_robot(driven, arena, rig) -> None:
    other = Traffic(
        name="other", size_m=[0.5, 0.5, 1], at_s=[0.0, 8.0], xy_in_world_m=[[5, 1], [5, 1]]
    )
    with pytest.raises(InputError, match=r"touches traffic 'other' at .* x 4\.\d\d m"):
        check_course(driven(7, 1, traffic=(other,)), arena=arena, rig=rig)
    away = replace(other, at_s=[0.0, 0.5], xy_in_world_m=[[5, 1], [5, 3]])
    check_course(driven(7, 1, traffic=(away,)), arena=arena, rig=rig)


@pytest.mark.parametrize(
    ("limit", "message"),
    [
        ({"speed_m_per_s": 2.0}, r"speed of 2\.97 m/s at \d\.\d\d s: the drivetrain does 2 m/s"),
        ({"acceleration_m_per_s2": 2.0}, r"acceleration of 2\.4\d m/s\^2 .* does 2 m/s\^2"),
    ],
)
def test_faster_than_the_drivetrain(limit, message, driven, arena, rig) -> None:
    slower = replace(rig, drivetrain=replace(rig.drivetrain, **limit))
    with pytest.raises(InputError, match=message):
        check_course(driven(7, 1), arena=arena, rig=slower)


def test_turning_faster_than_the_drivetrain(limits, waypoint, arena, rig) -> None:
    places = (waypoint(1, 1, 0), waypoint(1, 1, 170))
    path, _ = planned_path(places, limits=limits, duration_s=8.0, repeats=False)
    slower = replace(rig, drivetrain=replace(rig.drivetrain, turn_rate_rad_per_s=1.0))
    with pytest.raises(InputError, match=r"turn rate of 2\d\d deg/s .* does 57\.3 deg/s at most"):
        check_course(Course(name="c", path=path), arena=arena, rig=slower)


def test_differential_wheels_do_not_go_sideways(driven, drivetrain, arena, rig) -> None:
    tank = replace(rig, drivetrain=drivetrain("differential"))
    check_course(driven(6, 1), arena=arena, rig=tank)
    with pytest.raises(InputError, match=r"sideways at \d\.\d\d m/s .* give the waypoints no head"):
        check_course(driven(6, 1, heading_deg=10), arena=arena, rig=tank)


def test_a_facing_course_suits_differential_wheels(limits, waypoint, drivetrain, arena, rig):
    places = (waypoint(1, 1), waypoint(4, 1.2), waypoint(6.5, 2.5), waypoint(6.5, 1))
    path, _ = planned_path(places, limits=limits, duration_s=30.0)
    tank = replace(rig, drivetrain=drivetrain("differential"))
    check_course(Course(name="c", path=path), arena=arena, rig=tank)


@pytest.mark.parametrize(
    ("events", "message"),
    [
        (
            {"shots": (Shot(at_s=2.0, goal="bin"),)},
            r"shot at 2\.00 s: goal: none is named 'bin' \(the arena has: crate\)",
        ),
        (
            {"knocks": (Knock(mount="front", at_s=2.0),)},
            r"knock at 2\.00 s: mount: none is named 'front' \(the rig has: none\)",
        ),
        (
            {"lifts": (Lift(box="mast", at_s=[1.0], raise_m=[0.1]),)},
            r"lift: box: none is named 'mast' \(the robot has: none\)",
        ),
    ],
)
def test_names_that_do_not_exist(events, message, driven, arena, rig) -> None:
    with pytest.raises(InputError, match=message):
        check_course(driven(7, 1, **events), arena=arena, rig=rig)


def test_a_robot_that_never_moves(arena, rig) -> None:
    path = TruePath.through([0.0, 5.0], [[1, 1, 0], [1, 1, 0]])
    check_course(Course(name="c", path=path), arena=arena, rig=rig)


RIGS = sorted((ORCHARD / "rigs").glob("*.toml"))


@pytest.mark.parametrize("name", ["easy", "fast_spins", "bumps"])
def test_demo_courses_can_be_driven(name) -> None:
    course = load_course(ORCHARD / "courses" / f"{name}.toml")
    court = load_arena(ROOT / "fieldlayouts" / "orchard_court.toml")
    assert RIGS
    for path in RIGS:
        check_course(course, arena=court, rig=load_rig(path))
    assert course.path.end_s - course.path.start_s == 120.0
    assert len(course.shots) >= 12
    assert {shot.goal for shot in course.shots} == {"north crate", "south crate"}


def test_demo_courses_differ_as_they_say() -> None:
    easy, spins, bumps = (
        load_course(ORCHARD / "courses" / f"{name}.toml")
        for name in ("easy", "fast_spins", "bumps")
    )
    at_rest = [np.hypot(*easy.path.velocities(s.at_s)[:2]) < 0.01 for s in easy.shots]
    on_the_move = [np.hypot(*spins.path.velocities(s.at_s)[:2]) > 1.0 for s in spins.shots]
    assert all(at_rest)
    assert 0.3 < np.mean(on_the_move) < 0.7
    t = np.linspace(0.0, 120.0, 3000)
    turned = [np.abs(c.path.velocities(t)[:, 2]).mean() * 120.0 for c in (easy, spins)]
    assert turned[1] > 3.0 * turned[0]
    assert len(bumps.bumps) >= 4
    assert bumps.lifts
    assert bumps.traffic
