"""Standstills for tests: a rig, its forecast, and the real filter over many builds."""

import math
from dataclasses import replace

import numpy as np

from posefuse.arena.arena import tag_pose
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.fusion.fuse import fuse
from posefuse.fusion.settings import FilterSettings, Measurement, NoiseKind, NoiseModel
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.motion.course import Course, Shot
from posefuse.motion.path import TruePath
from posefuse.sensing.arrays import RobotBoxes, WorldBoxes
from posefuse.sensing.views import still_views
from posefuse.simulation.scene import prepare_scene
from posefuse.simulation.simulate import simulate
from posefuse.study.standstill import Arrival, standstill_covs
from small_court import small_arena, small_rig

SPREADS = BuildSpreads.of(
    mount_angle_rad=0.002,
    mount_position_m=0.0015,
    focal_fraction=0.0015,
    centre_px=0.3,
    distortion_k1=0.001,
    clock_offset_s=0.001,
    tag_position_m=0.002,
    tag_heading_rad=0.003,
    tag_lean_rad=0.003,
    tag_scale_fraction=0.0015,
    lean_rad=0.0015,
)
"""So small that no lone tag is solved the wrong way round: that is not linear."""
POSES = FilterSettings(
    noise=NoiseModel(pixel_std_px=0.5, position_floor_m=0.02, heading_floor_rad=0.01),
    gate_probability=None,
)
GROWING = replace(POSES, noise=NoiseModel(kind=NoiseKind.GROWING))
CORNERS = replace(
    POSES,
    measurement=Measurement.CORNERS,
    noise=NoiseModel(kind=NoiseKind.FIXED, pixel_std_px=3.0),
)
ARRIVAL = Arrival(position_std_m=0.05, heading_std_rad=0.01)
UNSURE = Arrival(position_std_m=50.0, heading_std_rad=3.0)


def rig_with(*mounts: str, timing: dict | None = None, **detector):
    rig = small_rig(*mounts)
    cameras = [
        replace(
            mount.camera,
            detector=replace(mount.camera.detector, **detector),
            timing=replace(mount.camera.timing, **(timing or {})),
        )
        for mount in rig.mounts
    ]
    return replace(
        rig,
        body=replace(rig.body, boxes=()),
        mounts=tuple(
            replace(mount, camera=camera) for mount, camera in zip(rig.mounts, cameras, strict=True)
        ),
    )


def views_from(pose, *, rig, arena):
    """What one frame of each camera shows."""
    return still_views(
        SpacePose.from_plane(PlanePose([pose])).matrix,
        rig.mounts,
        arena.tags,
        WorldBoxes.from_obstacles(arena.obstacles),
        RobotBoxes.from_body(rig.body),
    )


def forecast_at(pose, *, rig, settings, spreads=SPREADS, arena=None, arrival=ARRIVAL):
    """Mean square error (3, 3) of x, y and heading after a standstill."""
    arena = small_arena() if arena is None else arena
    (cov,) = standstill_covs(
        np.array([pose]),
        views_from(pose, rig=rig, arena=arena),
        rig=rig,
        arena=arena,
        settings=settings,
        spreads=spreads,
        arrival=arrival,
    )
    return cov


def errors_at(pose, *, rig, settings, trials, arrival=ARRIVAL):
    """Estimate less truth (trials, 3) by the real filter, each trial another build and arrival."""
    arena = small_arena()
    # frames arrive 0.04 s late
    end_s = arrival.standstill_s + 0.045
    course = Course(
        name="standstill",
        path=TruePath.through([0.0, end_s], [pose, pose]),
        shots=(Shot(at_s=end_s, goal=arena.goals[0].name),),
    )
    scene = prepare_scene(
        arena=arena,
        rig=rig,
        course=course,
        spreads=SPREADS,
        start_std=np.array(
            [arrival.position_std_m, arrival.position_std_m, arrival.heading_std_rad]
        ),
    )
    off = np.empty((trials, 3))
    for trial in range(trials):
        recording = simulate(scene, seed=5, trial=trial)
        estimate = fuse(recording, rig=rig, arena=arena, settings=settings)
        off[trial] = estimate.poses[-1] - pose
    off[:, 2] = wrap_angle_rad(off[:, 2])
    return off


def head_on(distance_m, **changes):
    """A camera in the robot's middle that looks levelly at one tag ahead, and the arena."""
    arena = small_arena()
    tag = replace(
        arena.tags[2],
        world_from_tag=tag_pose(np.array([9.0, 2.5, 0.35]), facing_rad=math.pi),
    )
    rig = rig_with("front", **changes)
    mount = replace(rig.mounts[0], position_in_robot_m=np.array([0.0, 0.0, 0.35]), tilt_rad=0.0)
    alone = replace(arena, tags=(tag,), obstacles=())
    return np.array([9.0 - distance_m, 2.5, 0.0]), replace(rig, mounts=(mount,)), alone
