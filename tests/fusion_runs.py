"""Runs that follow the filter's own model exactly, made without the simulator.

The odometry is a smooth made-up drive; the truth is the odometry with the filter's process noise
added step by step; sightings are seen from the true pose at the row, moved on by the filter's own
offset motion, with white noise of the stated spread.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation

from posefuse.arena.arena import Arena, Beacon, Tag, tag_pose
from posefuse.build_errors.constants import LEAN_COUNT, MOUNT_COUNT, TAG_COUNT, constants_of
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.settings import (
    FilterSettings,
    LateFrames,
    Measurement,
    NoiseKind,
    NoiseModel,
    ProcessNoise,
)
from posefuse.fusion.timeline import make_timeline, odometry_poses
from posefuse.geometry.plane import PlanePose, arc_motion
from posefuse.geometry.space import BODY_FROM_OPTICAL, SpacePose
from posefuse.motion.wheels import twist_slopes
from posefuse.recording.recording import (
    Frames,
    Odometry,
    Recording,
    SightingKind,
    Sightings,
    StartPose,
    Truth,
)
from posefuse.robot.body import Body
from posefuse.robot.camera import Camera, Detector, Lens, Sensor, Timing
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind, Wheel
from posefuse.robot.rig import Mount, Ranger, Rig

PIXEL_STD_PX = 0.5
RANGE_STD_M = 0.08
BEARING_STD_RAD = 0.02
PROCESS = ProcessNoise(
    position_m_per_sqrt_m=0.01,
    position_m_per_sqrt_s=0.004,
    heading_rad_per_sqrt_rad=0.01,
    heading_rad_per_sqrt_m=0.003,
    heading_rad_per_sqrt_s=0.004,
)
START_STD = np.array([0.05, 0.05, 0.03])
WIDTH_PX, HEIGHT_PX = 1280, 800


def settings_for(measurement: Measurement, **changes: object) -> FilterSettings:
    """Settings whose noise is that of the runs made here."""
    noise = NoiseModel(
        kind=NoiseKind.SOLVED if measurement is Measurement.POSE else NoiseKind.FIXED,
        position_floor_m=0.0,
        heading_floor_rad=0.0,
        pixel_std_px=PIXEL_STD_PX,
        range_std_m=RANGE_STD_M,
        bearing_std_rad=BEARING_STD_RAD,
    )
    settings = FilterSettings(measurement=measurement, process=PROCESS, noise=noise)
    return replace(settings, **changes)


def make_arena() -> Arena:
    """Twelve tags around a court and on a post in its middle, one of them tilted; four beacons."""
    places = [
        (0.0, 1.5, 0.0), (0.0, 5.1, 0.0), (13.2, 1.5, 180.0), (13.2, 5.1, 180.0),
        (3.0, 0.0, 90.0), (6.6, 0.0, 90.0), (10.0, 0.0, 90.0),
        (3.0, 6.6, -90.0), (6.6, 6.6, -90.0), (10.0, 6.6, -90.0),
        (6.5, 3.3, 180.0), (6.7, 3.3, 0.0),
    ]  # fmt: skip
    tags = tuple(
        Tag(
            id=3 * k + 1,
            family="36h11",
            edge_m=0.15 + 0.005 * (k % 3),
            world_from_tag=tag_pose(
                np.array([x, y, 0.9 + 0.05 * (k % 4)]),
                facing_rad=np.radians(facing),
                tilt_rad=np.radians(12.0 if k == 5 else 0.0),
            ),
        )
        for k, (x, y, facing) in enumerate(places)
    )
    corners = [(0.0, 0.0, 1.2), (13.2, 0.0, 0.7), (13.2, 6.6, 1.5), (0.0, 6.6, 1.0)]
    beacons = tuple(
        Beacon(id=40 - 3 * k, position_in_world_m=np.array(place))
        for k, place in enumerate(corners)
    )
    return Arena(name="court", length_m=13.2, width_m=6.6, tags=tags, beacons=beacons)


def make_rig() -> Rig:
    """Four cameras around, one of them rolled and with another lens; two rangers."""
    lens = Lens.from_width(
        field_of_view_rad=np.radians(75.0), width_px=WIDTH_PX, height_px=HEIGHT_PX
    )
    uneven = Lens(
        focal_px=lens.focal_px * [1.02, 0.97],
        centre_px=lens.centre_px + np.array([4.0, -7.0]),
        distortion=lens.distortion,
    )
    mounts = tuple(
        Mount(
            name=f"camera{k}",
            camera=Camera(
                name="mono",
                lens=uneven if k == 2 else lens,
                sensor=Sensor(width_px=WIDTH_PX, height_px=HEIGHT_PX),
                timing=Timing(frame_rate_hz=30.0, exposure_s=0.002, latency_s=0.045),
                detector=Detector(noise_px=PIXEL_STD_PX, shift_px=np.zeros(2)),
            ),
            position_in_robot_m=np.array(
                [0.2 * np.cos(k * np.pi / 2), 0.2 * np.sin(k * np.pi / 2), 0.5 + 0.02 * k]
            ),
            pan_rad=k * np.pi / 2 + 0.1,
            tilt_rad=np.radians(12.0 + k),
            roll_rad=0.15 if k == 1 else 0.0,
        )
        for k in range(4)
    )
    wheels = tuple(
        Wheel(position_in_robot_m=np.array(p)) for p in [(0.3, 0.3), (0.3, -0.3), (-0.3, 0.0)]
    )
    drivetrain = Drivetrain(
        kind=DrivetrainKind.SWERVE,
        wheels=wheels,
        wheel_radius_m=0.05,
        rate_hz=50.0,
        speed_m_per_s=4.0,
        acceleration_m_per_s2=4.0,
        turn_rate_rad_per_s=9.0,
    )
    rangers = (
        Ranger(name="ranger0", position_in_robot_m=np.array([0.15, -0.1, 0.4])),
        Ranger(name="ranger1", position_in_robot_m=np.array([-0.2, 0.05, 0.6])),
    )
    body = Body(length_m=0.70, width_m=0.70)
    return Rig(name="rig", body=body, drivetrain=drivetrain, mounts=mounts, rangers=rangers)


@dataclass(frozen=True, kw_only=True, eq=False)
class Made:
    """A run with the rig and arena it was made with, and the constants of its build, (p,)."""

    recording: Recording
    rig: Rig
    arena: Arena
    constants: FloatArray


def make_run_of(
    kind: SightingKind,
    *,
    seed: int,
    rows: int = 201,
    latency_s: tuple[float, float] = (0.03, 0.06),
    standstill_s: float = 0.0,
    noise: float = 1.0,
    spreads: BuildSpreads | None = None,
) -> Made:
    """One run at 50 Hz with frames of four cameras (or two rangers) at 30 Hz.

    Parameters
    ----------
    latency_s
        Least and most.
    standstill_s
        How long the robot stands before it moves.
    noise
        Factor on every spread: 0 leaves a run without noise.
    spreads
        Of the build's constants; built as drawn when not given.
    """
    rng, arena, rig = np.random.default_rng(seed), make_arena(), make_rig()
    twists = made_up_twists(rng, rows, still_rows=round(standstill_s * 50))
    odometry = Odometry(stamps_s=1000.0 + 0.02 * np.arange(rows), twists=twists)
    frames = _frames(rng, odometry, latency_s, kind, len(rig.mounts))
    generous = replace(
        settings_for(Measurement.POSE), late_frames=LateFrames.REINSERT, history_s=9.0
    )
    timeline = make_timeline(odometry, frames, settings=generous)
    start = np.array([6.6, 1.6, 0.4]) + rng.normal(size=3) * [1.5, 0.5, 1.0]
    stds = noise * np.sqrt(timeline.step_vars)
    stds[: round(standstill_s * 50) + 1] = 0.0
    constants = constants_of(rig, arena, spreads or BuildSpreads())
    build = constants.stds * np.random.default_rng(seed + 1_000_000).normal(size=len(constants))
    build[constants.places("slip_fraction")] = 0.0
    slopes = twist_slopes(rig.drivetrain, twists, np.full(rows, 0.02))
    true_twists = twists - slopes @ build[constants.first_wheel :]
    truth = noisy_path(rng, start, arc_motion(true_twists).values, stds)
    captures = PlanePose(truth[timeline.frame_row]) @ PlanePose(timeline.offsets[:, :3])
    if kind is SightingKind.CORNERS:
        late_s = build[: constants.first_tag].reshape(-1, MOUNT_COUNT)[frames.sensor, 10]
        during = np.searchsorted(odometry.stamps_s, frames.captured_at_s)
        back = arc_motion(-late_s[:, None] * true_twists[during] / 0.02)
        seen = Seen.of(rig, arena, build)
        frame, ids, values = _corners((captures @ back).values, frames.sensor, seen)
        values += rng.normal(size=values.shape) * noise * PIXEL_STD_PX
    else:
        frame, ids, values = _ranges(captures.values, frames.sensor - len(rig.mounts), rig, arena)
        values += rng.normal(size=values.shape) * noise * [RANGE_STD_M, BEARING_STD_RAD]
        values = values[:, : kind.width]
    stated = start + rng.normal(size=3) * START_STD * noise
    recording = Recording(
        name=f"made {seed}",
        sensor_names=rig.sensor_names,
        odometry=odometry,
        frames=frames,
        sightings=Sightings(kind=kind, frame=frame, id=ids, values=values),
        start=StartPose(world_from_robot=PlanePose(stated), cov=np.diag(START_STD**2)),
        truth=Truth(stamps_s=odometry.stamps_s, poses=truth),
    )
    return Made(recording=recording, rig=rig, arena=arena, constants=build)


def lone_tag_standstill(
    seed: int,
    *,
    distance_m: float,
    incidence_rad: float,
    noise_px: float,
    persistent: bool = False,
    creep: tuple[float, float] = (0.0, 0.0),
) -> Made:
    """Two seconds in front of one tag, seen by one camera at 30 Hz, then a step away.

    Parameters
    ----------
    persistent
        The noise of the corners is the same in all frames, else fresh in each.
    creep
        How fast the robot creeps: forward (m/s) and around (rad/s).
    """
    rng, rig = np.random.default_rng(seed), make_rig()
    rig = replace(rig, mounts=rig.mounts[:1])
    tag = Tag(
        id=5,
        family="36h11",
        edge_m=0.16,
        world_from_tag=tag_pose(np.array([0.0, 0.0, 0.9]), facing_rad=0.0),
    )
    arena = Arena(name="one tag", length_m=20.0, width_m=20.0, tags=(tag,))
    stamps = 0.02 * np.arange(111)
    twists = 0.02 * np.array([creep[0], 0.0, creep[1]]) * np.ones((111, 1))
    twists[0], twists[101:] = 0.0, [0.02, 0.0, 0.0]
    captured = np.arange(0.01, 1.9, 1.0 / 30.0)
    frames = Frames(
        sensor=np.zeros(len(captured), dtype=np.int64),
        captured_at_s=captured,
        arrived_at_s=captured + 0.04,
    )
    away = distance_m * np.array([np.cos(incidence_rad), np.sin(incidence_rad)])
    heading = incidence_rad + np.pi - rig.mounts[0].pan_rad + rng.uniform(-0.2, 0.2)
    first = PlanePose([*away, heading])
    truth = [first]
    for twist in twists[1:]:
        truth.append(truth[-1] @ arc_motion(twist))
    odometry = Odometry(stamps_s=stamps, twists=twists)
    at = (first @ PlanePose(odometry_poses(odometry, captured))).values
    as_drawn = np.zeros(len(constants_of(rig, arena, BuildSpreads())))
    frame, ids, values = _corners(at, frames.sensor, Seen.of(rig, arena, as_drawn))
    values += noise_px * rng.normal(size=(1 if persistent else len(values), 8))
    recording = Recording(
        name="one tag",
        sensor_names=("camera0",),
        odometry=odometry,
        frames=frames,
        sightings=Sightings(kind=SightingKind.CORNERS, frame=frame, id=ids, values=values),
        truth=Truth(stamps_s=stamps, poses=np.array([pose.values for pose in truth])),
    )
    rig = replace(rig, rangers=())
    return Made(recording=recording, rig=rig, arena=arena, constants=as_drawn)


def made_up_twists(rng: np.random.Generator, rows: int, *, still_rows: int = 0) -> FloatArray:
    """A drive that goes back and forth and turns both ways, (rows, 3)."""
    t = 0.02 * np.arange(rows)[:, None]
    rate, phase = rng.uniform(0.4, 0.9, 3) * [1.0, 1.0, 1.5], rng.uniform(0.0, 6.28, 3)
    twists = 0.02 * np.array([1.2, 0.7, 1.6]) * np.sin(2.0 * np.pi * rate * t + phase)
    twists[: still_rows + 1] = 0.0
    return twists


def noisy_path(
    rng: np.random.Generator, start: FloatArray, motions: FloatArray, stds: FloatArray
) -> FloatArray:
    """The motions one after another, each with its noise (x and y alike, heading) put on."""
    path = np.empty((len(motions), 3))
    path[0] = start
    draws = rng.normal(size=(len(motions), 3)) * stds[:, [0, 0, 1]]
    for k in range(1, len(motions)):
        path[k] = (PlanePose(path[k - 1]) @ PlanePose(motions[k])).values + draws[k]
    return path


def _frames(
    rng: np.random.Generator,
    odometry: Odometry,
    latency_s: tuple[float, float],
    kind: SightingKind,
    mount_count: int,
) -> Frames:
    stamps = odometry.stamps_s
    is_image = kind is SightingKind.CORNERS
    sensors = np.arange(mount_count) if is_image else mount_count + np.arange(2)
    each = np.arange(stamps[0] + 0.003, stamps[-1], 1.0 / 30.0)
    captured = (each[:, None] + rng.uniform(0.0, 0.03, len(sensors))).ravel()
    order = np.argsort(captured, kind="stable")
    return Frames(
        sensor=np.tile(sensors, len(each))[order],
        captured_at_s=captured[order],
        arrived_at_s=captured[order] + rng.uniform(*latency_s, len(order)),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """Tags and cameras as they are: corners (T, 4, 3), matrices (C, 4, 4), lenses (C, ...)."""

    ids: IntArray
    corners_m: FloatArray
    robot_from_camera: FloatArray
    focal_px: FloatArray
    centre_px: FloatArray
    k1: FloatArray

    @classmethod
    def of(cls, rig: Rig, arena: Arena, build: FloatArray) -> "Seen":
        """As the constants of a build (p,) have them: by rotations of SciPy, one after another."""
        mounts, tags = rig.mounts, arena.tags
        of_mount = build[: len(mounts) * MOUNT_COUNT].reshape(-1, MOUNT_COUNT)
        of_tag = build[of_mount.size :][: len(tags) * TAG_COUNT].reshape(-1, TAG_COUNT)
        roll, pitch = build[of_mount.size + of_tag.size :][:LEAN_COUNT]
        level = Rotation.from_euler("xyz", [roll, pitch, 0.0])  # about fixed axes
        cameras = np.tile(np.eye(4), (len(mounts), 1, 1))
        for camera, mount, own in zip(cameras, mounts, of_mount, strict=True):
            pan, tilt, tip = np.array([mount.pan_rad, mount.tilt_rad, mount.roll_rad]) + own[:3]
            turned = Rotation.from_euler("ZYX", [pan, -tilt, tip])  # about its own axes
            camera[:3, :3] = (level * turned).as_matrix() @ BODY_FROM_OPTICAL
            camera[:3, 3] = level.apply(mount.position_in_robot_m + own[3:6])
        corners = []
        for tag, own in zip(tags, of_tag, strict=True):
            askew = Rotation.from_euler("XZ", [-own[4], own[5]])
            hung = Rotation.from_rotvec([0.0, 0.0, own[3]])
            hung = hung * Rotation.from_matrix(tag.world_from_tag.rotation) * askew
            middle = tag.world_from_tag.translation_m + own[:3]
            corners.append(hung.apply(tag.corners_in_tag_m * (1.0 + own[6])) + middle)
        lenses = [mount.camera.lens for mount in mounts]
        return cls(
            ids=np.array([tag.id for tag in tags]),
            corners_m=np.array(corners),
            robot_from_camera=cameras,
            focal_px=np.array([lens.focal_px for lens in lenses]) * (1.0 + of_mount[:, 6:7]),
            centre_px=np.array([lens.centre_px for lens in lenses]) + of_mount[:, 7:9],
            k1=of_mount[:, 9],
        )


def _corners(
    captures: FloatArray, camera: IntArray, seen: Seen
) -> tuple[IntArray, IntArray, FloatArray]:
    """Frame, tag id and true corners in px of every tag seen whole, from its face, and large."""
    robot_from_camera = SpacePose(seen.robot_from_camera[camera])
    world_from_camera = SpacePose.from_plane(PlanePose(captures)) @ robot_from_camera
    camera_from_world = world_from_camera.inverse()
    points = np.einsum("fij,tcj->ftci", camera_from_world.rotation, seen.corners_m)
    points += camera_from_world.translation_m[:, None, None]
    depth = points[..., 2]
    focal = seen.focal_px[camera][:, None, None]
    centre = seen.centre_px[camera][:, None, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        flat = points[..., :2] / depth[..., None]
        bent = 1.0 + seen.k1[camera][:, None, None, None] * (flat**2).sum(axis=-1, keepdims=True)
        pixels = focal * flat * bent + centre
    inside = (pixels > -0.5) & (pixels < np.array([WIDTH_PX, HEIGHT_PX]) - 0.5)
    across = pixels[..., 1, :] - pixels[..., 0, :], pixels[..., 3, :] - pixels[..., 0, :]
    area = across[0][..., 0] * across[1][..., 1] - across[0][..., 1] * across[1][..., 0]
    is_seen = inside.all(axis=(2, 3)) & (depth > 0.3).all(axis=2) & (area > 400.0)
    frame, tag = np.nonzero(is_seen)
    return frame, seen.ids[tag], pixels[frame, tag].reshape(-1, 8)


def _ranges(
    captures: FloatArray, ranger: IntArray, rig: Rig, arena: Arena
) -> tuple[IntArray, IntArray, FloatArray]:
    """Frame, beacon id, true slant range and bearing; each scan hears one or two beacons."""
    frame = np.repeat(np.arange(len(captures)), 2)
    beacon = (frame + np.tile([0, 1], len(captures))) % len(arena.beacons)
    place = np.array([b.position_in_world_m for b in arena.beacons])[beacon]
    in_robot = SpacePose.from_plane(PlanePose(captures)).inverse()
    seen = np.einsum("fij,fj->fi", in_robot.rotation[frame], place)
    seen += in_robot.translation_m[frame]
    seen -= np.array([r.position_in_robot_m for r in rig.rangers])[ranger[frame]]
    values = np.stack([np.linalg.norm(seen, axis=1), np.arctan2(seen[:, 1], seen[:, 0])], axis=1)
    return frame, np.array([b.id for b in arena.beacons])[beacon], values


def arcs_of(twists: FloatArray) -> FloatArray:
    """Motions (rows, 3) of the twists, by the geometry room."""
    return arc_motion(twists).values


def with_frames(recording: Recording, **changes: FloatArray) -> Recording:
    """The recording with other capture or arrival stamps."""
    return replace(recording, frames=replace(recording.frames, **changes))


def read_only(array: np.ndarray) -> np.ndarray:
    """The array, locked as those of the solver are, so that the kernels are compiled once."""
    array.setflags(write=False)
    return array
