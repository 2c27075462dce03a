"""Everything about a run that no trial changes, computed once: the scene."""

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.checks import FloatArray, IntArray, frozen_array
from posefuse.errors import InputError
from posefuse.geometry.space import SpacePose
from posefuse.motion.course import Course, Knock
from posefuse.motion.lean import lean_angles_rad
from posefuse.motion.wheels import WheelRun, prepare_wheels
from posefuse.robot.rig import Mount, Rig
from posefuse.sensing.arrays import RobotBoxes, WorldBoxes
from posefuse.sensing.frames import CapturedFrames, frame_times, mount_phase
from posefuse.sensing.information import corner_information
from posefuse.sensing.views import TagViews, tag_views
from posefuse.simulation.margin import candidate_margin

__all__ = ["Scene", "SightingSource", "prepare_scene", "robot_boxes", "world_boxes"]


class SightingSource(StrEnum):
    """Where sightings come from.

    ``CORNERS``: true corners, with errors and misses drawn from the detector's response;
    ``IMAGES``: the detector itself, run on rendered images: some 1,000 times as slow.
    """

    CORNERS = "corners"
    IMAGES = "images"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """One rig on one course in one arena, ready to be run many times.

    Parameters
    ----------
    start_std : (3,) array or None
        Error of the stated start pose (x_m, y_m, heading_rad); ``None``: no start is stated.
    views
        Frames and candidate sightings. Where a mount has been knocked, its frames' ``mount_state``
        is the mount count plus the place of the knock in ``knocks``.
    knocks
        The course's knocks in order of time.
    frames_of_mount
        The frames of each mount, in order of time.
    first_sighting : (frames + 1,) ints
        Where each frame's candidate sightings begin.
    information : (candidates, 3, 3) array
        Fisher information about the true pose in each candidate sighting.
    """

    arena: Arena
    rig: Rig
    course: Course
    spreads: BuildSpreads
    start_std: FloatArray | None
    wheels: WheelRun
    views: TagViews
    knocks: tuple[Knock, ...]
    frames_of_mount: tuple[IntArray, ...]
    first_sighting: IntArray
    information: FloatArray
    sightings: SightingSource = SightingSource.CORNERS


def prepare_scene(
    *,
    arena: Arena,
    rig: Rig,
    course: Course,
    spreads: BuildSpreads | None = None,
    start_std: FloatArray | None = None,
    sightings: SightingSource = SightingSource.CORNERS,
) -> Scene:
    """A scene, with the sight lines of every frame traced.

    Raises
    ------
    InputError
        The rig carries no camera, or the arena has no tag.
    """
    if not rig.mounts:
        raise InputError(f"rig {rig.name!r}: nothing to simulate, it has no [[mount]]")
    if not arena.tags:
        raise InputError(f"arena {arena.name!r}: nothing to see, it has no [[tag]]")
    spreads = spreads or BuildSpreads()
    knocks = tuple(sorted(course.knocks, key=lambda knock: knock.at_s))
    frames = _captured_frames(rig, course)
    views = tag_views(
        frames,
        rig.mounts,
        arena.tags,
        world_boxes(arena, course, frames.captured_at_s),
        robot_boxes(rig, course, frames.captured_at_s),
        margin=candidate_margin(frames, arena=arena, rig=rig, spreads=spreads),
        knocked=_knocked(rig, knocks),
        mount_state=_mount_states(rig, knocks, frames),
    )
    return Scene(
        arena=arena,
        rig=rig,
        course=course,
        spreads=spreads,
        start_std=None if start_std is None else frozen_array("start_std", start_std, (3,)),
        wheels=prepare_wheels(course.path, rig.drivetrain, course.bumps),
        views=views,
        knocks=knocks,
        frames_of_mount=tuple(
            np.flatnonzero(frames.camera == index) for index in range(len(rig.mounts))
        ),
        first_sighting=np.searchsorted(views.frame, np.arange(views.frame_count + 1)),
        information=corner_information(views),
        sightings=sightings,
    )


def _captured_frames(rig: Rig, course: Course) -> CapturedFrames:
    """All frames of all mounts, in order of time."""
    times = [
        frame_times(
            mount.camera.timing,
            start_s=course.path.start_s,
            end_s=course.path.end_s,
            phase=mount_phase(mount.name),
        )
        for mount in rig.mounts
    ]
    order = np.argsort(np.concatenate(times), kind="stable")
    captured_at_s = np.concatenate(times)[order]
    pose, velocity = course.path.poses(captured_at_s), course.path.velocities(captured_at_s)
    change = course.path.accelerations(captured_at_s)
    twist, acceleration = np.zeros((2, len(order), 6))
    twist[:, 2], twist[:, 3:5] = velocity[:, 2], velocity[:, :2]
    acceleration[:, 2], acceleration[:, 3:5] = change[:, 2], change[:, :2]
    lean = lean_angles_rad(
        change[:, :2],
        heading_rad=pose.heading_rad,
        lean_rad_per_m_per_s2=rig.body.lean_rad_per_m_per_s2,
    )
    return CapturedFrames(
        camera=np.repeat(np.arange(len(times)), [len(t) for t in times])[order],
        number=np.concatenate([np.arange(len(t)) for t in times])[order],
        captured_at_s=captured_at_s,
        world_from_robot=SpacePose.from_plane(pose, lean_rad=lean).matrix,
        robot_twist=twist,
        robot_acceleration=acceleration,
    )


def _knocked(rig: Rig, knocks: tuple[Knock, ...]) -> list[Mount]:
    """The mount of each knock, turned by it and by those before."""
    now, turned = {mount.name: mount for mount in rig.mounts}, []
    for knock in knocks:
        mount = now[knock.mount]
        now[knock.mount] = replace(
            mount,
            pan_rad=mount.pan_rad + knock.pan_rad,
            tilt_rad=mount.tilt_rad + knock.tilt_rad,
            roll_rad=mount.roll_rad + knock.roll_rad,
        )
        turned.append(now[knock.mount])
    return turned


def _mount_states(rig: Rig, knocks: tuple[Knock, ...], frames: CapturedFrames) -> IntArray:
    state = frames.camera.copy()
    for place, knock in enumerate(knocks):
        index = [mount.name for mount in rig.mounts].index(knock.mount)
        is_knocked = (frames.camera == index) & (frames.captured_at_s >= knock.at_s)
        state[is_knocked] = len(rig.mounts) + place
    return state


def world_boxes(arena: Arena, course: Course, t_s: FloatArray) -> WorldBoxes:
    """Obstacles and traffic as boxes, at each instant (n,)."""
    fixed, moving = arena.obstacles, course.traffic
    half_sizes = [*(o.size_m / 2.0 for o in fixed), *(t.size_m / 2.0 for t in moving)]
    centres = np.zeros((len(t_s) if moving else 1, len(fixed) + len(moving), 3))
    for i, obstacle in enumerate(fixed):
        centres[:, i] = obstacle.centre_in_world_m
    for i, traffic in enumerate(moving, start=len(fixed)):
        centres[:, i, 0] = np.interp(t_s, traffic.at_s, traffic.xy_in_world_m[:, 0])
        centres[:, i, 1] = np.interp(t_s, traffic.at_s, traffic.xy_in_world_m[:, 1])
        centres[:, i, 2] = traffic.size_m[2] / 2.0
    return WorldBoxes(
        centres_m=centres,
        half_sizes_m=np.array(half_sizes).reshape(-1, 3),
        headings_rad=np.array([*(o.heading_rad for o in fixed), *(t.heading_rad for t in moving)]),
    )


def robot_boxes(rig: Rig, course: Course, t_s: FloatArray) -> RobotBoxes:
    """The robot's own boxes, lifted as the course says, at each instant (n,)."""
    boxes = rig.body.boxes
    centres = np.zeros((len(t_s) if course.lifts else 1, len(boxes), 3))
    for i, box in enumerate(boxes):
        centres[:, i] = box.centre_in_robot_m
        for lift in course.lifts:
            if lift.box == box.name:
                centres[:, i, 2] += np.interp(t_s, lift.at_s, lift.raise_m)
    return RobotBoxes(
        centres_m=centres,
        half_sizes_m=np.array([box.size_m / 2.0 for box in boxes]).reshape(-1, 3),
    )
