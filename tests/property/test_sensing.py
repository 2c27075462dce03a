"""What must hold for any lens, any pose and any place of the world's origin."""

import math

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from posefuse.arena.arena import Tag, tag_pose
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Camera, Detector, Lens, Sensor, Timing
from posefuse.robot.rig import Mount
from posefuse.sensing.arrays import RobotBoxes, WorldBoxes
from posefuse.sensing.frames import CapturedFrames
from posefuse.sensing.information import corner_information
from posefuse.sensing.projection import project, undistort, valid_radius
from posefuse.sensing.views import TagViews, tag_views

angles = st.floats(-math.pi, math.pi)
radial = st.floats(-0.4, 0.4)
tangential = st.floats(-2e-3, 2e-3)
lenses = st.builds(
    lambda fx, fy, k1, k2, p1, p2, k3, k4, k5, k6: Lens(
        focal_px=np.array([fx, fy]),
        centre_px=np.array([630.0, 410.0]),
        distortion=np.array([k1, k2, p1, p2, k3, k4, k5, k6]),
    ),
    *[st.floats(300.0, 2000.0)] * 2,
    *[radial] * 2,
    *[tangential] * 2,
    *[radial] * 4,
)


@given(lens=lenses, share=st.floats(0.0, 0.9), bearing=angles, depth=st.floats(0.02, 50.0))
def test_undistortion_undoes_projection(
    lens: Lens, share: float, bearing: float, depth: float
) -> None:
    radius = share * min(valid_radius(lens), 1.2)
    point = radius * np.array([math.cos(bearing), math.sin(bearing)])
    pixel = project(np.append(point, 1.0) * depth, lens)
    back = undistort(pixel, lens)
    assume(np.isfinite(back).all())  # tangential terms may fold a lens a little before its radius
    np.testing.assert_allclose(project(np.append(back, 1.0), lens), pixel, rtol=0, atol=1e-8)


@given(lens=lenses, bearing=angles)
def test_undistortion_finds_every_point_well_inside_the_fold(lens: Lens, bearing: float) -> None:
    radius = 0.5 * min(valid_radius(lens), 1.2)
    point = radius * np.array([math.cos(bearing), math.sin(bearing)])
    np.testing.assert_allclose(
        undistort(project(np.append(point, 1.0), lens), lens), point, rtol=0, atol=1e-10
    )


@given(lens=lenses, scale=st.floats(0.01, 100.0), x=st.floats(-0.3, 0.3), y=st.floats(-0.3, 0.3))
def test_projection_does_not_depend_on_the_distance_along_the_ray(
    lens: Lens, scale: float, x: float, y: float
) -> None:
    near, far = project([[x, y, 1.0], [scale * x, scale * y, scale]], lens)
    np.testing.assert_allclose(near, far, rtol=0, atol=1e-8)


def _views(world: SpacePose, seed: int) -> TagViews:
    """A robot at some poses among tags and crates, all of it moved by ``world`` (about z)."""
    rng = np.random.default_rng(seed)
    camera = Camera(
        name="camera",
        lens=Lens.from_width(field_of_view_rad=1.4, width_px=1280, height_px=800),
        sensor=Sensor(width_px=1280, height_px=800),
        timing=Timing(frame_rate_hz=30.0, exposure_s=0.005, latency_s=0.04),
        detector=Detector(noise_px=0.3, shared_fraction=0.3, shift_px=np.zeros(2)),
    )
    mount = Mount(
        name="front",
        camera=camera,
        position_in_robot_m=np.array([0.2, 0.1, 0.4]),
        pan_rad=0.3,
        tilt_rad=0.2,
    )
    turn = world.to_plane().heading_rad
    tags = [
        Tag(
            id=i,
            family="36h11",
            edge_m=0.2,
            world_from_tag=world
            @ tag_pose(np.array([*rng.uniform(-3, 3, 2), 0.8]), facing_rad=rng.uniform(-3, 3)),
        )
        for i in range(12)
    ]
    robot = SpacePose.from_plane(
        PlanePose(rng.uniform([-2, -2, -3], [2, 2, 3], (20, 3))),
        lean_rad=rng.normal(0, 0.03, (20, 2)),
    )
    velocity = rng.normal(0.0, 1.0, (20, 2, 3)) @ world.rotation.T
    return tag_views(
        CapturedFrames(
            camera=np.zeros(20, dtype=int),
            number=np.arange(20),
            captured_at_s=np.arange(20) / 30.0,
            world_from_robot=(world @ robot).matrix,
            robot_twist=velocity.reshape(20, 6),
            robot_acceleration=np.zeros((20, 6)),
        ),
        mounts=[mount],
        tags=tags,
        boxes=WorldBoxes(
            centres_m=world.transform(rng.uniform(-2, 2, (1, 3, 3))),
            half_sizes_m=rng.uniform(0.1, 0.3, (3, 3)),
            headings_rad=rng.uniform(-3, 3, 3) + turn,
        ),
        robot_boxes=RobotBoxes(
            centres_m=np.array([[[0.0, 0.0, 0.6]]]), half_sizes_m=np.array([[0.05, 0.05, 0.4]])
        ),
    )


@settings(max_examples=30)
@given(x=st.floats(-20, 20), y=st.floats(-20, 20), turn=angles, seed=st.integers(0, 1000))
def test_moving_the_whole_world_changes_nothing(x: float, y: float, turn: float, seed: int) -> None:
    world = SpacePose.from_plane(PlanePose([x, y, turn]), height_m=0.5)
    here, there = _views(SpacePose.identity(), seed), _views(world, seed)
    assume(here.sighting_count == there.sighting_count)  # a corner on the very edge may flip
    np.testing.assert_array_equal(here.tag, there.tag)
    for name in ("distance_m", "cos_incidence", "edge_px", "velocity_px_per_s"):
        np.testing.assert_allclose(getattr(here, name), getattr(there, name), rtol=1e-8, atol=1e-8)
    # information about x, y, heading turns with the world
    rotation = world.rotation
    turned = rotation @ corner_information(here) @ rotation.T
    np.testing.assert_allclose(
        corner_information(there),
        turned,
        rtol=1e-6,
        atol=1e-6 * (1.0 + np.abs(turned).max(initial=0)),
    )
