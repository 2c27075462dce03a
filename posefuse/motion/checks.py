"""Whether a course can be driven by a robot in an arena."""

from collections.abc import Iterable

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.checks import BoolArray, FloatArray
from posefuse.errors import InputError
from posefuse.geometry.plane import PlanePose
from posefuse.motion.clearance import leaves_floor, touches_box
from posefuse.motion.course import Course
from posefuse.motion.path import TruePath
from posefuse.robot.body import Body
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind
from posefuse.robot.rig import Rig

__all__ = ["check_course"]

_PERIOD_S = 0.02
_TRAVEL_M = 0.05
"""Way of the outline's farthest corner between two places looked at."""
_ROUNDING = 1.02
"""A planned path keeps to its limits within two parts in a hundred."""
_SIDEWAYS_M_PER_S = 0.02
_SIDEWAYS_SHARE = 0.02
"""Sideways motion, plain and as a share of the speed, below which wheels that cannot steer go."""


def check_course(course: Course, *, arena: Arena, rig: Rig) -> None:
    """Refuses a course that this robot cannot drive in this arena.

    Raises
    ------
    InputError
        The first fault: a goal, mount or box that does not exist; faster than the drivetrain;
        sideways on wheels that cannot; off the floor, or touching an obstacle or traffic. The
        message gives time and place.
    """
    _check_names(course, arena, rig)
    _check_speeds(course.path, rig.drivetrain)
    _check_clearance(course, arena, rig.body)


def _check_names(course: Course, arena: Arena, rig: Rig) -> None:
    goals = [goal.name for goal in arena.goals]
    for shot in course.shots:
        _refuse_unknown(f"shot at {shot.at_s:.2f} s: goal", shot.goal, goals, "arena")
    mounts = [mount.name for mount in rig.mounts]
    for knock in course.knocks:
        _refuse_unknown(f"knock at {knock.at_s:.2f} s: mount", knock.mount, mounts, "rig")
    boxes = [box.name for box in rig.body.boxes]
    for lift in course.lifts:
        _refuse_unknown("lift: box", lift.box, boxes, "robot")


def _refuse_unknown(what: str, name: str, known: Iterable[str], owner: str) -> None:
    if name not in known:
        names = ", ".join(known) or "none"
        raise InputError(f"{what}: none is named {name!r} (the {owner} has: {names})")


def _check_speeds(path: TruePath, drivetrain: Drivetrain) -> None:
    t = _instants(path)
    velocity, acceleration = path.velocities(t), path.accelerations(t)
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    _refuse_above(t, speed, drivetrain.speed_m_per_s, "speed", "m/s")
    pull = np.hypot(acceleration[:, 0], acceleration[:, 1])
    _refuse_above(t, pull, drivetrain.acceleration_m_per_s2, "acceleration", "m/s^2")
    turn, most_turn = np.degrees(np.abs(velocity[:, 2])), np.degrees(drivetrain.turn_rate_rad_per_s)
    _refuse_above(t, turn, float(most_turn), "turn rate", "deg/s")
    if drivetrain.kind is DrivetrainKind.DIFFERENTIAL:
        heading = path.poses(t).heading_rad
        left = np.abs(np.cos(heading) * velocity[:, 1] - np.sin(heading) * velocity[:, 0])
        worst = int(np.argmax(left - _SIDEWAYS_SHARE * speed))
        if left[worst] > _SIDEWAYS_M_PER_S + _SIDEWAYS_SHARE * speed[worst]:
            raise InputError(
                f"sideways at {left[worst]:.2f} m/s at {t[worst]:.2f} s: a differential drivetrain "
                f"cannot; give the waypoints no headings"
            )


def _refuse_above(t: FloatArray, values: FloatArray, most: float, what: str, unit: str) -> None:
    worst = int(np.argmax(values))
    if values[worst] > most * _ROUNDING:
        raise InputError(
            f"{what} of {values[worst]:.3g} {unit} at {t[worst]:.2f} s: the drivetrain does "
            f"{most:.3g} {unit} at most"
        )


def _check_clearance(course: Course, arena: Arena, body: Body) -> None:
    outline = body.outline_in_robot_m
    t = _places(course.path, float(np.hypot(*outline[0])))
    pose = course.path.poses(t)
    off = leaves_floor(outline, pose, length_m=arena.length_m, width_m=arena.width_m)
    size = f"{arena.length_m:g} x {arena.width_m:g} m"
    _refuse_any(off, t, pose, f"the robot's outline leaves the floor ({size})")
    for obstacle in arena.obstacles:
        if obstacle.blocks_course:
            hits = touches_box(
                outline,
                pose,
                box_xy_m=obstacle.centre_in_world_m[:2],
                box_size_m=obstacle.size_m,
                box_heading_rad=obstacle.heading_rad,
            )
            _refuse_any(hits, t, pose, f"the robot's outline touches obstacle {obstacle.name!r}")
    for traffic in course.traffic:
        track = traffic.xy_in_world_m
        at = np.stack([np.interp(t, traffic.at_s, column) for column in track.T], axis=-1)
        hits = touches_box(
            outline,
            pose,
            box_xy_m=at,
            box_size_m=traffic.size_m,
            box_heading_rad=traffic.heading_rad,
        )
        _refuse_any(hits, t, pose, f"the robot's outline touches traffic {traffic.name!r}")


def _refuse_any(hits: BoolArray, t: FloatArray, pose: PlanePose, what: str) -> None:
    if hits.any():
        first = int(np.argmax(hits))
        x, y, heading = pose.values[first]
        raise InputError(
            f"{what} at {t[first]:.2f} s, at x {x:.2f} m, y {y:.2f} m, heading "
            f"{np.degrees(np.mod(heading, 2.0 * np.pi)):.0f} deg"
        )


def _instants(path: TruePath) -> FloatArray:
    count = int(np.ceil((path.end_s - path.start_s) / _PERIOD_S)) + 1
    return np.linspace(path.start_s, path.end_s, count)


def _places(path: TruePath, reach_m: float) -> FloatArray:
    """Instants between which no corner of the outline moves farther than ``_TRAVEL_M``, roughly."""
    t = _instants(path)
    velocity = path.velocities(t)
    fastest = np.hypot(velocity[:, 0], velocity[:, 1]) + reach_m * np.abs(velocity[:, 2])
    moved = np.concatenate([[0.0], np.cumsum((fastest[1:] + fastest[:-1]) / 2.0 * np.diff(t))])
    count = int(np.ceil(moved[-1] / _TRAVEL_M)) + 1
    if count == 1:
        return t[:1]
    return np.interp(np.linspace(0.0, moved[-1], count), moved, t)
