"""Small scenes: a robot, its cameras, tags on walls and boxes in between."""

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from posefuse.arena.arena import Tag, tag_pose
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Camera, Detector, Lens, Sensor, Timing
from posefuse.robot.rig import Mount
from posefuse.sensing.arrays import MarginArrays, RobotBoxes, WorldBoxes
from posefuse.sensing.frames import CapturedFrames
from posefuse.sensing.views import TagViews, tag_views

DISTORTION = np.array([-0.12, 0.05, 4e-4, -3e-4, -0.008, 0.0, 0.0, 0.0])


def detector(**changes: Any) -> Detector:
    """Every part of the detector's law switched on."""
    given = {
        "noise_px": 0.3,
        "noise_px_per_m": 0.05,
        "grazing_noise_px": 0.4,
        "blur_noise": 0.1,
        "shared_fraction": 0.3,
        "inward_px": 0.25,
        "shift_px": np.array([0.1, -0.2]),
        "half_found_edge_px": 14.0,
        "found_edge_width_px": 3.0,
        "miss_rate": 0.05,
        "least_edge_px": 8.0,
        "most_incidence_rad": math.radians(75.0),
    }
    return Detector(**{**given, **changes})


def plain_detector(**changes: Any) -> Detector:
    """White noise of 0.3 px, every tag found."""
    given = {"noise_px": 0.3, "shift_px": np.zeros(2), "half_found_edge_px": 0.0}
    return Detector(**{**given, **changes})


def camera(**changes: Any) -> Camera:
    """A 1280 x 800 camera, 75 degrees wide, with a little distortion."""
    straight = Lens.from_width(field_of_view_rad=math.radians(75.0), width_px=1280, height_px=800)
    given = {
        "name": "camera",
        "lens": replace(straight, distortion=DISTORTION),
        "sensor": Sensor(width_px=1280, height_px=800),
        "timing": Timing(frame_rate_hz=30.0, exposure_s=0.005, latency_s=0.045),
        "detector": detector(),
    }
    return Camera(**{**given, **changes})


def mount(name: str = "front", **changes: Any) -> Mount:
    """A level camera that looks forward from 0.5 m above the robot's origin."""
    given = {
        "camera": camera(),
        "position_in_robot_m": np.array([0.0, 0.0, 0.5]),
        "pan_rad": 0.0,
        "tilt_rad": 0.0,
    }
    return Mount(name=name, **{**given, **changes})


def tag(
    id: int = 0, at: Any = (4.0, 0.0, 0.5), facing_deg: float = 180.0, edge: float = 0.2
) -> Tag:
    """A tag 4 m in front of a robot at the origin, looking back at it."""
    pose = tag_pose(np.array(at, dtype=float), facing_rad=math.radians(facing_deg))
    return Tag(id=id, family="36h11", edge_m=edge, world_from_tag=pose)


def boxes(*rows: Any) -> WorldBoxes:
    """Boxes that stand still: each row is centre (3), size (3), heading in degrees."""
    table = np.array(rows, dtype=float).reshape(-1, 7)
    return WorldBoxes(
        centres_m=table[None, :, :3],
        half_sizes_m=table[:, 3:6] / 2.0,
        headings_rad=np.radians(table[:, 6]),
    )


def robot_boxes(*rows: Any) -> RobotBoxes:
    """Boxes on the robot: each row is centre (3), size (3)."""
    table = np.array(rows, dtype=float).reshape(-1, 6)
    return RobotBoxes(centres_m=table[None, :, :3], half_sizes_m=table[:, 3:6] / 2.0)


def poses(values: Any, lean: Any = (0.0, 0.0)) -> np.ndarray:
    """World from robot (n, 4, 4) of x, y, heading (n, 3) and lean."""
    return SpacePose.from_plane(PlanePose(np.reshape(values, (-1, 3))), lean_rad=lean).matrix


def views(world_from_robot: np.ndarray, mounts: Any, tags: Any, **changes: Any) -> TagViews:
    """Frames in which each robot pose is seen once by each mount in turn."""
    count = len(world_from_robot)
    frame, which = np.divmod(np.arange(count * len(mounts)), len(mounts))
    given = {
        "camera": which,
        "number": frame,
        "captured_at_s": frame / 30.0,
        "world_from_robot": world_from_robot[frame],
        "robot_twist": np.zeros((len(frame), 6)),
        "robot_acceleration": np.zeros((len(frame), 6)),
    }
    frames = CapturedFrames(**{name: changes.pop(name, value) for name, value in given.items()})
    around = {"boxes": boxes(), "robot_boxes": robot_boxes()}
    if "margin_px" in changes:
        px = np.full(len(frame), changes.pop("margin_px"))
        changes["margin"] = MarginArrays(px=px, px_m=np.zeros(len(frame)))
    return tag_views(frames, mounts, tags, **{**around, **changes})


def busy(seed: int = 0, count: int = 300, camera_count: int = 3) -> SimpleNamespace:
    """Cameras all around a leaning robot that moves among eight tags and two boxes."""
    rng = np.random.default_rng(seed)
    mounts = [
        mount(
            f"camera {i}",
            position_in_robot_m=np.array([0.2 * math.cos(a), 0.2 * math.sin(a), 0.45]),
            pan_rad=a,
            tilt_rad=0.2,
        )
        for i, a in enumerate(np.arange(camera_count) * math.tau / camera_count)
    ]
    places = [(x, y, 1.0) for x in (1.0, 4.0, 7.0) for y in (0.0, 6.0)] + [(0, 3, 1), (8, 3, 1)]
    tags = [
        tag(10 + 3 * i, at, facing, edge=0.18)
        for i, (at, facing) in enumerate(
            zip(places, (90, -90, 90, -90, 90, -90, 0, 180), strict=True)
        )
    ]
    world_from_robot = poses(
        np.column_stack(
            [rng.uniform(1, 7, count), rng.uniform(1, 5, count), rng.uniform(-3, 3, count)]
        ),
        lean=rng.normal(0.0, 0.02, (count, 2)),
    )
    twist = np.repeat(rng.normal(0.0, 1.0, (count, 6)), camera_count, axis=0)
    crates = boxes((4.0, 3.0, 0.5, 0.8, 0.5, 1.2, 30.0), (2.0, 2.0, 0.6, 0.3, 0.3, 1.4, 0.0))
    mast = robot_boxes((0.0, 0.0, 0.5, 0.1, 0.1, 0.6))
    seen = views(world_from_robot, mounts, tags, robot_twist=twist, boxes=crates, robot_boxes=mast)
    return SimpleNamespace(
        world_from_robot=world_from_robot,
        mounts=mounts,
        tags=tags,
        boxes=crates,
        robot_boxes=mast,
        twist=twist,
        views=seen,
    )


@pytest.fixture(scope="session")
def make() -> SimpleNamespace:
    """The builders above, by name."""
    return SimpleNamespace(
        boxes=boxes,
        busy=busy,
        camera=camera,
        detector=detector,
        mount=mount,
        plain_detector=plain_detector,
        poses=poses,
        robot_boxes=robot_boxes,
        tag=tag,
        views=views,
    )
