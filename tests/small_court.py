"""A small court, robots on it and a study of them, built by hand."""

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from posefuse.arena.arena import Arena, Goal, Obstacle, Tag, tag_pose
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.fusion.settings import FilterSettings
from posefuse.motion.course import Course, Shot
from posefuse.motion.path import TruePath
from posefuse.recording.folder import StoredRecording
from posefuse.robot.body import Body, BodyBox
from posefuse.robot.camera import Camera, Detector, Lens, Sensor, Timing
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind, Wheel
from posefuse.robot.rig import Mount, Rig
from posefuse.robot.shooter import Projectile, Shooter, ShooterSpread
from posefuse.simulation.simulate import simulate
from posefuse.study.study import Plan, Study
from posefuse.study.trial import plan_scene


def _tag(id: int, x_m: float, y_m: float, facing_deg: float) -> Tag:
    pose = tag_pose(np.array([x_m, y_m, 0.9]), facing_rad=math.radians(facing_deg))
    return Tag(id=id, family="36h11", edge_m=0.15, world_from_tag=pose)


def small_arena() -> Arena:
    return Arena(
        name="small court",
        length_m=9.0,
        width_m=5.0,
        tags=(
            _tag(1, 0.0, 1.5, 0.0),
            _tag(2, 0.0, 3.5, 0.0),
            _tag(3, 9.0, 2.5, 180.0),
            _tag(4, 4.5, 5.0, -90.0),
            _tag(5, 4.5, 0.0, 90.0),
        ),
        goals=(
            Goal(
                name="<east> & crate",
                centre_in_world_m=np.array([8.7, 2.5, 1.4]),
                width_m=0.8,
                height_m=0.5,
                facing_rad=math.pi,
            ),
        ),
        obstacles=(
            Obstacle(
                name="bench",
                centre_in_world_m=np.array([4.5, 2.5, 0.3]),
                size_m=np.array([1.0, 0.5, 0.6]),
                heading_rad=0.5,
            ),
            Obstacle(
                name="bar",
                centre_in_world_m=np.array([6.5, 4.0, 1.5]),
                size_m=np.array([0.2, 0.8, 0.4]),
                blocks_course=False,
            ),
        ),
    )


def _mount(name: str, x_m: float, y_m: float, pan_deg: float, tilt_deg: float) -> Mount:
    camera = Camera(
        name="mono",
        lens=Lens.from_width(field_of_view_rad=math.radians(75.0), width_px=1280, height_px=800),
        sensor=Sensor(width_px=1280, height_px=800),
        timing=Timing(frame_rate_hz=30.0, exposure_s=0.005, latency_s=0.04),
        detector=Detector(noise_px=0.5, shift_px=np.zeros(2)),
    )
    return Mount(
        name=name,
        camera=camera,
        position_in_robot_m=np.array([x_m, y_m, 0.35]),
        pan_rad=math.radians(pan_deg),
        tilt_rad=math.radians(tilt_deg),
    )


PLACES = {
    "front": _mount("front", 0.34, 0.0, 0.0, 15.0),
    "left": _mount("left", 0.0, 0.33, 90.0, 0.0),
    "right": _mount("right", 0.0, -0.33, -90.0, 0.0),
}


def small_rig(*mounts: str) -> Rig:
    wheels = tuple(
        Wheel(position_in_robot_m=np.array([x, y])) for x in (-0.3, 0.3) for y in (-0.3, 0.3)
    )
    return Rig(
        name="two cameras",
        body=Body(
            length_m=0.70,
            width_m=0.7,
            boxes=(
                BodyBox(
                    name="mast",
                    centre_in_robot_m=np.array([0.0, 0.0, 0.6]),
                    size_m=np.array([0.1, 0.1, 1.2]),
                ),
            ),
        ),
        drivetrain=Drivetrain(
            kind=DrivetrainKind.SWERVE,
            wheels=wheels,
            wheel_radius_m=0.05,
            rate_hz=50.0,
            speed_m_per_s=3.0,
            acceleration_m_per_s2=3.0,
            turn_rate_rad_per_s=6.0,
        ),
        mounts=tuple(PLACES[name] for name in mounts or ("front", "left")),
    )


def small_study(**changes: Any) -> Study:
    """Two plans on a drive of six seconds with three shots."""
    arena = small_arena()
    t_s = np.linspace(0.0, 6.0, 13)
    angle = 0.5 * t_s - 1.0
    poses = np.stack([4.5 + 3.0 * np.cos(angle), 2.5 + 1.6 * np.sin(angle), 0.3 * angle], axis=-1)
    goal = arena.goals[0].name
    drive = Course(
        name="half a round",
        path=TruePath.through(t_s, poses),
        shots=tuple(Shot(at_s=at_s, goal=goal) for at_s in (1.5, 3.0, 5.0)),
    )
    given: dict[str, Any] = {
        "name": "small <study> & more",
        "arena": arena,
        "goal": arena.goals[0],
        "plans": tuple(
            Plan(name=name, rig=small_rig(*mounts), settings=FilterSettings())
            for name, mounts in {
                "front <b>&amp;": ("front",),
                "three ways": ("front", "left", "right"),
            }.items()
        ),
        "courses": (drive,),
        "spreads": BuildSpreads.of(mount_angle_rad=0.005),
        "start_std": np.array([0.03, 0.03, 0.02]),
        "trials": 3,
        "seed": 7,
    }
    return Study(**{**given, **changes})


SHOOTER = Shooter(
    release_in_robot_m=np.array([0.15, 0.0, 0.6]),
    exit_speed_m_per_s=9.0,
    pivot_low_rad=math.radians(15.0),
    pivot_high_rad=math.radians(75.0),
    projectile=Projectile(mass_kg=0.06, diameter_m=0.1),
    spread=ShooterSpread(exit_speed_std_m_per_s=0.2, side_std_rad=0.02, zero_std_rad=0.01),
)


def armed(study: Study, *shooters: Shooter | None) -> Study:
    """The study with a shooter on the robot of each plan, or none."""
    plans = tuple(
        replace(plan, rig=replace(plan.rig, body=replace(plan.rig.body, shooter=shooter)))
        for plan, shooter in zip(study.plans, shooters, strict=True)
    )
    return replace(study, plans=plans)


def stored_drive(study: Study, *, goal: str | None, **changes: Any) -> StoredRecording:
    """What the robot of the study's second plan records, some of it changed."""
    plan = study.plans[1]
    scene = plan_scene(study, plan, study.courses[0])
    return StoredRecording(
        recording=replace(simulate(scene, seed=3, trial=0), **changes),
        rig=plan.rig,
        arena=study.arena,
        rig_path=Path("rig.toml"),
        arena_path=Path("arena.toml"),
        goal=goal,
    )
