"""What a file holds, in a few lines: one function for each kind of file, which validates it too."""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from posefuse.files.toml_file import read_toml

if TYPE_CHECKING:
    from posefuse.motion.course import Course
    from posefuse.recording.recording import Recording
    from posefuse.robot.body import Body
    from posefuse.robot.camera import Camera, Detector, Timing
    from posefuse.robot.drivetrain import Drivetrain

__all__ = [
    "arena",
    "camera",
    "course",
    "filter_settings",
    "recording",
    "response",
    "rig",
    "robot",
    "study",
]


def arena(path: Path) -> list[str]:
    """An arena."""
    from posefuse.arena.load import load_arena

    held = load_arena(path)
    families = Counter(f"{tag.family}, edge {tag.edge_m * 1000:g} mm" for tag in held.tags)
    tags = [f"{_count(number, 'tag')} of {family}" for family, number in families.items()]
    ids = ", ".join(str(tag.id) for tag in held.tags)
    lines = [f"arena {held.name!r}, {held.length_m:g} x {held.width_m:g} m"]
    lines += [f"{', '.join(tags)} (ids {ids})"] if tags else ["no tags"]
    lines += [_count(len(held.beacons), "beacon")] if held.beacons else []
    for goal in held.goals:
        tilted = f", tilt {math.degrees(goal.tilt_rad):g}" if goal.tilt_rad else ""
        lines.append(
            f"goal {goal.name!r}: opening {goal.width_m:g} x {goal.height_m:g} m, its middle at "
            f"{_point(goal.centre_in_world_m)}, "
            f"facing {math.degrees(goal.facing_rad):g}{tilted} deg"
        )
    lines += _named("obstacle", [obstacle.name for obstacle in held.obstacles])
    return lines


def robot(path: Path) -> list[str]:
    """A robot without its cameras."""
    from posefuse.robot.load import load_robot

    body, drivetrain = load_robot(path)
    return [f"robot {read_toml(path)['name']!r}", *_robot(body, drivetrain)]


def camera(path: Path) -> list[str]:
    """A camera."""
    from posefuse.robot.load import load_camera

    held = load_camera(path)
    timing, detector = held.timing, held.detector
    return [
        f"camera {held.name!r}, {_camera(held)}",
        f"{timing.frame_rate_hz:g} Hz, exposure {timing.exposure_s * 1000:g} ms, latency "
        f"{timing.latency_s * 1000:g} +- {timing.latency_jitter_s * 1000:g} ms, "
        f"{timing.drop_rate:.1%} of frames lost",
        f"{_response(detector)}, seen up to {math.degrees(detector.most_incidence_rad):g} deg from "
        "aside",
        *_mistakes(timing, detector),
    ]


def response(path: Path) -> list[str]:
    """The recipe of a measured detector response, with the table beside it."""
    from posefuse.robot.load import measured_refinement, read_response_table
    from posefuse.robot.measured_response import AXIS_COLUMNS

    recipe, table = read_toml(path), path.with_suffix(".csv")
    columns, axes = read_response_table(table)
    ranges = [
        f"{name} {axis[0]:g} to {axis[-1]:g}" for name, axis in zip(AXIS_COLUMNS, axes, strict=True)
    ]
    refinement = measured_refinement(table)
    lines = [
        f"detector response of {recipe.get('camera', 'a camera')!r}: {table.name}, "
        f"{_count(len(columns['std_px']), 'row')}",
        f"for {', '.join(ranges)}",
    ]
    lines += [f"refinement of corners: {refinement}"] if refinement else []
    if "unfitted" in columns and columns["unfitted"].any():
        left_out = int(columns["unfitted"].sum())
        seen = left_out + int(columns["found"].sum())
        lines.append(
            f"{left_out} of {seen} tags found are left out: no line fits one of their sides"
        )
    return lines


def _response(detector: "Detector") -> str:
    if detector.measured is not None:
        edges = detector.measured.edges_px
        return (
            f"detector measured on tags of {edges[0]:g} to {edges[-1]:g} px, refinement "
            f"{detector.refinement.value}"
        )
    return (
        f"corner noise {detector.noise_px:g} px and {detector.noise_px_per_m:g} px per metre, "
        f"tags found from about {detector.half_found_edge_px:g} px on"
    )


def _mistakes(timing: "Timing", detector: "Detector") -> list[str]:
    """What goes wrong now and then, in one line; none where nothing does."""
    parts = []
    if timing.outages_per_minute:
        parts.append(
            f"{timing.outages_per_minute:g} outages a minute of {timing.outage_s:g} s on average"
        )
    if detector.false_id_rate:
        parts.append(f"{detector.false_id_rate:.1%} of the tags read with another id")
    if detector.wrong_corners_rate:
        parts.append(
            f"{detector.wrong_corners_rate:.1%} of them with corners {detector.wrong_corners_px:g}"
            " px off"
        )
    return [", ".join(parts)] if parts else []


def board(path: Path) -> list[str]:
    """A board to measure a lens with."""
    from posefuse.calibration.load import load_board

    held = load_board(path)
    kind = "chessboard" if held.markers is None else f"ChArUco board of {held.markers.family}"
    return [
        f"{kind} {held.name!r}, {held.squares_across} by {held.squares_down} squares of "
        f"{1000 * held.square_m:g} mm"
    ]


def rig(path: Path) -> list[str]:
    """A robot with its cameras."""
    from posefuse.robot.load import load_rig

    held = load_rig(path)
    lines = [f"rig {held.name!r}", *_robot(held.body, held.drivetrain)]
    for mount in held.mounts:
        pan, tilt, roll = (math.degrees(a) for a in (mount.pan_rad, mount.tilt_rad, mount.roll_rad))
        turned = f", roll {roll:g}" if roll else ""
        lines.append(
            f"mount {mount.name!r}: {mount.camera.name!r} at {_point(mount.position_in_robot_m)}, "
            f"pan {pan:g}, tilt {tilt:g}{turned} deg"
        )
    lines += _named("ranger", [ranger.name for ranger in held.rangers])
    return lines


def course(path: Path) -> list[str]:
    """A course."""
    from posefuse.motion.load import load_course

    held = load_course(path)
    stamps_s = np.linspace(held.path.start_s, held.path.end_s, 2001)
    moving = held.path.velocities(stamps_s)
    speed, turn = np.hypot(moving[:, 0], moving[:, 1]), np.abs(moving[:, 2])
    lines = [
        f"course {held.name!r}, {held.path.end_s - held.path.start_s:g} s",
        f"up to {speed.max():.2f} m/s and {math.degrees(float(turn.max())):.0f} deg/s, "
        f"{np.trapezoid(speed, stamps_s):.1f} m in all",
    ]
    goals = Counter(shot.goal for shot in held.shots)
    lines += [f"{_count(count, 'shot')} at {goal!r}" for goal, count in goals.items()]
    events = {
        "bump": held.bumps,
        "knock": held.knocks,
        "lift": held.lifts,
        "moving box": held.traffic,
    }
    happening = [_count(len(of_kind), kind) for kind, of_kind in events.items() if of_kind]
    return lines + ([", ".join(happening)] if happening else [])


def filter_settings(path: Path) -> list[str]:
    """Settings of the filter."""
    from posefuse.fusion.load import load_settings
    from posefuse.fusion.settings import BuildErrors

    held = load_settings(path)
    gate, believed = held.gate_probability, []
    if held.build_errors is not BuildErrors.IGNORED and held.believed is not None:
        believed = [f"believed spreads: {held.believed.text()}"]
    return [
        f"filter settings {held.name!r}: measures {held.measurement.value}",
        f"noise model: {held.noise.kind.value}",
        f"gate {'off' if gate is None else f'at {gate:g}'}, late frames: {held.late_frames.value}, "
        f"two solutions: {held.ambiguous.value}, starts from: {held.start_from.value}",
        f"errors of the build: {held.build_errors.value}",
        *believed,
    ]


def study(path: Path) -> list[str]:
    """A study, with every file that it names."""
    from posefuse.study.load import load_study

    held = load_study(path)
    return [
        f"study {held.name!r}: {_count(held.trials, 'trial')} of each plan on each course, "
        f"seed {held.seed}",
        f"arena {held.arena.name!r}, goal {held.goal.name!r}, sightings from "
        f"{held.sightings.value}",
        *_named("plan", [plan.name for plan in held.plans]),
        *_named("course", [_driven(course) for course in held.courses]),
    ]


def _driven(course: "Course") -> str:
    return f"{course.name} ({course.path.end_s - course.path.start_s:g} s)"


def recording(path: Path) -> list[str]:
    """The folder of a recording."""
    from posefuse.recording.folder import read_recording

    stored = read_recording(path)
    held = stored.recording
    stamps_s = held.odometry.stamps_s
    lines = [
        f"recording {held.name!r}, {stamps_s[-1] - stamps_s[0]:g} s, rig {stored.rig.name!r} in "
        f"{stored.arena.name!r}",
        f"{len(stamps_s)} odometry rows, {len(held.frames.sensor)} frames, "
        f"{len(held.sightings.frame)} sightings ({held.sightings.kind.value})",
    ]
    for index, name in enumerate(held.sensor_names):
        lines.append(f"{name!r}: {_count(int((held.frames.sensor == index).sum()), 'frame')}")
    return [*lines, _known(held)]


def _known(held: "Recording") -> str:
    start = "stated" if held.start else "not stated"
    truth = "none" if held.truth is None else _count(len(held.truth.stamps_s), "row")
    shots = "none" if held.shots is None else str(len(held.shots.goals))
    return f"start pose {start}, truth: {truth}, shots: {shots}"


def _robot(body: "Body", drivetrain: "Drivetrain") -> list[str]:
    gyro = "gyro" if drivetrain.gyro else "no gyro"
    lines = [
        f"{body.length_m:g} x {body.width_m:g} m; {drivetrain.kind.value}, "
        f"{len(drivetrain.wheels)} wheels, {gyro}, odometry at {drivetrain.rate_hz:g} Hz",
        f"up to {drivetrain.speed_m_per_s:g} m/s, {drivetrain.acceleration_m_per_s2:g} m/s^2, "
        f"{math.degrees(drivetrain.turn_rate_rad_per_s):g} deg/s",
        *_named("box", [box.name for box in body.boxes], plural="boxes"),
    ]
    if body.shooter:
        shooter = body.shooter
        lines.append(
            f"shooter: {shooter.exit_speed_m_per_s:g} m/s from {_point(shooter.release_in_robot_m)}"
            f", pivot {math.degrees(shooter.pivot_low_rad):g} to "
            f"{math.degrees(shooter.pivot_high_rad):g} deg"
        )
    return lines


def _camera(held: "Camera") -> str:
    width_px, height_px = held.sensor.width_px, held.sensor.height_px
    view = math.degrees(2.0 * math.atan(width_px / (2.0 * float(held.lens.focal_px[0]))))
    shutter = "rolling" if held.sensor.row_time_s else "global"
    return f"{width_px} x {height_px} px, {shutter} shutter, {view:.1f} deg wide"


def _named(kind: str, names: Iterable[str], *, plural: str | None = None) -> list[str]:
    """One line with the names of things of a kind; none when there are none."""
    listed: Sequence[str] = list(names)
    if not listed:
        return []
    label = kind if len(listed) == 1 else plural or f"{kind}s"
    return [f"{len(listed)} {label}: {', '.join(repr(name) for name in listed)}"]


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def _point(position_m: Iterable[float]) -> str:
    return f"({', '.join(f'{float(part):g}' for part in position_m)}) m"
