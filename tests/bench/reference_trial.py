"""The reference trial: 120 s on a court of 13.2 x 6.6 m with 12 tags of 0.15 m, odometry at 50 Hz,
four cameras of 1280 x 800 px and 75 degrees at 30 Hz tilted up 15 degrees, 0.5 px of corner noise,
latency of 30 to 60 ms put back and replayed, a gate at 99.9 %."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from posefuse.arena.load import load_arena
from posefuse.fusion.settings import (
    FilterSettings,
    Measurement,
    NoiseKind,
    NoiseModel,
    ProcessNoise,
)
from posefuse.motion.load import load_course
from posefuse.robot.camera import Lens
from posefuse.robot.load import load_rig
from posefuse.simulation.scene import Scene, prepare_scene

__all__ = ["reference_scene", "reference_settings"]

ROOT = Path(__file__).parents[2]
NOISE_PX = 0.5


def reference_scene() -> Scene:
    """The demo robot on the easy course, its cameras without distortion, bias or misses."""
    rig = load_rig(ROOT / "datasets" / "orchard" / "rigs" / "four_sides_tilted.toml")
    camera = rig.mounts[0].camera
    camera = replace(
        camera,
        lens=Lens.from_width(field_of_view_rad=np.radians(75.0), width_px=1280, height_px=800),
        timing=replace(camera.timing, drop_rate=0.0),
        detector=replace(
            camera.detector,
            noise_px=NOISE_PX,
            noise_px_per_m=0.0,
            grazing_noise_px=0.0,
            blur_noise=0.0,
            shared_fraction=0.0,
            inward_px=0.0,
            miss_rate=0.0,
            half_found_edge_px=0.0,
            found_edge_width_px=1e-3,
            measured=None,
        ),
    )
    rig = replace(
        rig,
        body=replace(rig.body, lean_rad_per_m_per_s2=0.0),
        mounts=tuple(replace(mount, camera=camera) for mount in rig.mounts),
    )
    return prepare_scene(
        arena=load_arena(ROOT / "fieldlayouts" / "orchard_court.toml"),
        rig=rig,
        course=load_course(ROOT / "datasets" / "orchard" / "courses" / "easy.toml"),
        start_std=np.array([0.03, 0.03, 0.02]),
    )


def reference_settings(measurement: Measurement) -> FilterSettings:
    """Settings that state the corner noise."""
    kind = NoiseKind.SOLVED if measurement is Measurement.POSE else NoiseKind.FIXED
    return FilterSettings(
        measurement=measurement,
        process=ProcessNoise(position_m_per_sqrt_m=0.01, heading_rad_per_sqrt_s=0.001),
        noise=NoiseModel(
            kind=kind, pixel_std_px=NOISE_PX, position_floor_m=0.0, heading_floor_rad=0.0
        ),
    )
