"""A camera, a rig of two mounts and a wall of tags."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from posefuse.arena.arena import Tag, tag_pose
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Camera, Detector, Lens, Sensor, Timing
from posefuse.robot.rig import Mount
from posefuse.sensing.projection import project


@pytest.fixture
def camera() -> Camera:
    return Camera(
        name="bench",
        lens=Lens.from_width(field_of_view_rad=math.radians(75.0), width_px=1280, height_px=800),
        sensor=Sensor(width_px=1280, height_px=800),
        timing=Timing(frame_rate_hz=30, exposure_s=0.01, latency_s=0.04),
        detector=Detector(noise_px=0.5, shift_px=np.zeros(2)),
    )


@pytest.fixture
def mounts(camera: Camera) -> tuple[Mount, Mount]:
    return (
        Mount(
            name="front",
            camera=camera,
            position_in_robot_m=np.array([0.3, 0.1, 0.5]),
            pan_rad=0.0,
            tilt_rad=math.radians(10.0),
        ),
        Mount(
            name="left",
            camera=camera,
            position_in_robot_m=np.array([0.0, 0.3, 0.4]),
            pan_rad=math.radians(90.0),
            tilt_rad=math.radians(15.0),
            roll_rad=0.05,
        ),
    )


@pytest.fixture
def tags() -> tuple[Tag, ...]:
    """Three on the wall x = 6, seen from the front; one on y = 4, seen from the left."""
    places = [(6.0, 1.0, 180), (6.0, 2.0, 180), (6.0, 3.0, 150), (3.0, 4.0, -70)]
    return tuple(
        Tag(
            id=number,
            family="36h11",
            edge_m=0.15,
            world_from_tag=tag_pose(np.array([x, y, 1.1]), facing_rad=math.radians(facing)),
        )
        for number, (x, y, facing) in enumerate(places)
    )


@pytest.fixture
def look(mounts: tuple[Mount, Mount]) -> Callable[[PlanePose, int, Tag], np.ndarray]:
    """Exact corners (4, 2) of a tag from a robot's pose and a mount."""

    def corners(world_from_robot: PlanePose, mount: int, tag: Tag) -> np.ndarray:
        world_from_camera = SpacePose.from_plane(world_from_robot) @ mounts[mount].robot_from_camera
        seen = world_from_camera.inverse().transform(tag.corners_in_world_m)
        return project(seen, mounts[mount].camera.lens)

    return corners
