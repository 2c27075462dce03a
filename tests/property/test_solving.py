"""What must hold for any scene: the truth comes back, and nothing hangs on order or place."""

import math

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from posefuse.arena.arena import Tag
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Camera, Detector, Lens, Sensor, Timing
from posefuse.robot.rig import Mount
from posefuse.sensing.projection import project
from posefuse.solving.fixes import PoseFixes, solve_frames

LENS = Lens(
    focal_px=np.array([810.0, 790.0]),
    centre_px=np.array([642.0, 398.0]),
    distortion=np.array([-0.1, 0.02, 1e-3, -5e-4, 0.0, 0.0, 0.0, 0.0]),
)
EYE = Mount(
    name="eye",
    camera=Camera(
        name="bench",
        lens=LENS,
        sensor=Sensor(width_px=1280, height_px=800),
        timing=Timing(frame_rate_hz=30, exposure_s=0.01, latency_s=0.04),
        detector=Detector(noise_px=0.5, shift_px=np.zeros(2)),
    ),
    position_in_robot_m=np.array([0.2, -0.1, 0.6]),
    pan_rad=0.4,
    tilt_rad=0.2,
    roll_rad=0.03,
)
AHEAD = np.diag([1.0, -1.0, -1.0])

seeds = st.integers(0, 2**32 - 1)
plane_poses = st.builds(
    lambda x, y, heading: PlanePose([x, y, heading]),
    st.floats(-20, 20),
    st.floats(-20, 20),
    st.sampled_from([0.0, math.pi / 2, math.pi, -math.pi]) | st.floats(-math.pi, math.pi),
)
tilts_rad = st.sampled_from([0.2, math.radians(65)]) | st.floats(0.2, math.radians(65))
counts = st.sampled_from([1, 1, 2, 4])


@st.composite
def tags_in_view(draw, count: int) -> list[SpacePose]:
    """``camera_from_tag`` of tags 0.6 to 3 m away, tilted by 11 to 65 degrees, rolled at will."""
    poses = []
    for _ in range(count):
        away, tilt = draw(st.floats(-math.pi, math.pi)), draw(tilts_rad)
        turn = Rotation.from_rotvec([tilt * math.cos(away), tilt * math.sin(away), 0.0])
        roll = draw(st.sampled_from([0.0, 45.0, 180.0]) | st.floats(-180, 180))
        z = draw(st.floats(0.6, 3.0))
        place = [z * draw(st.floats(-0.6, 0.6)), z * draw(st.floats(-0.4, 0.4)), z]
        turned = (turn * Rotation.from_euler("z", roll, degrees=True)).as_matrix() @ AHEAD
        poses.append(SpacePose.from_parts(turned, place))
    return poses


def faces_camera(camera_from_tag: SpacePose) -> bool:
    """Whether the line of sight meets the face at less than 75 degrees."""
    sight = camera_from_tag.translation_m
    return -camera_from_tag.rotation[:, 2] @ sight > 0.26 * np.linalg.norm(sight)


def scene(poses: list[SpacePose], world_from_robot: PlanePose) -> tuple[list[Tag], np.ndarray]:
    world_from_camera = SpacePose.from_plane(world_from_robot) @ EYE.robot_from_camera
    tags = [
        Tag(id=k, family="36h11", edge_m=0.15, world_from_tag=world_from_camera @ camera_from_tag)
        for k, camera_from_tag in enumerate(poses)
    ]
    corners = [
        project(camera_from_tag.transform(tag.corners_in_tag_m), LENS)
        for tag, camera_from_tag in zip(tags, poses, strict=True)
    ]
    return tags, np.array(corners)


def solved(tags: list[Tag], frames: np.ndarray) -> PoseFixes:
    """Frames (frames, tags, 4, 2) that show all tags."""
    return solve_frames(
        sighting_frame=np.repeat(np.arange(len(frames)), len(tags)),
        sighting_tag=np.tile(np.arange(len(tags)), len(frames)),
        corners_px=frames.reshape(-1, 4, 2),
        camera_of_frame=np.zeros(len(frames), dtype=np.int64),
        mounts=[EYE],
        tags=tags,
    )


@given(data=st.data(), count=counts, world_from_robot=plane_poses)
def test_without_noise_the_truth_fits_best(data, count, world_from_robot):
    poses = data.draw(tags_in_view(count))
    assume(all(faces_camera(pose) for pose in poses))
    tags, corners = scene(poses, world_from_robot)
    fixes = solved(tags, corners[None])
    assert fixes.solution_count[0] >= 1
    # settled: no step is left that moves the corners by a thousandth of a pixel
    assert fixes.rms_px[0, 0] < 1e-3
    off = PlanePose(fixes.poses[0, 0]).inverse() @ world_from_robot
    sds = np.sqrt(np.diagonal(fixes.unit_covs[0, 0]))
    assert (np.abs(off.wrapped().values) < 1e-3 * sds.max() + 1e-9).all()


@given(data=st.data(), count=counts, seed=seeds, world_from_robot=plane_poses)
def test_moving_the_world_moves_the_solutions(data, count, seed, world_from_robot):
    poses = data.draw(tags_in_view(count))
    assume(all(faces_camera(pose) for pose in poses))
    tags, corners = scene(poses, PlanePose.identity())
    moved, _ = scene(poses, world_from_robot)
    noisy = corners + np.random.default_rng(seed).normal(0.0, 0.3, corners.shape)
    here, there = solved(tags, noisy[None]), solved(moved, noisy[None])
    assert here.solution_count[0] == there.solution_count[0]
    np.testing.assert_allclose(here.rms_px, there.rms_px, rtol=1e-6)
    found = here.solution_count[0]
    off = PlanePose(there.poses[0, :found]).inverse() @ (
        world_from_robot @ PlanePose(here.poses[0, :found])
    )
    # as near as a step that moves the corners by a thousandth of a pixel
    sds = np.sqrt(np.diagonal(here.unit_covs[0, :found], axis1=1, axis2=2))
    assert (np.abs(off.wrapped().values) < 2e-3 * sds.max() + 1e-9).all()


@given(data=st.data(), count=counts, seed=seeds)
def test_a_frame_is_solved_alike_alone_and_among_others(data, count, seed):
    poses = data.draw(tags_in_view(count))
    tags, corners = scene(poses, PlanePose.identity())
    frames = corners + np.random.default_rng(seed).normal(0.0, 1.0, (21, *corners.shape))
    together = solved(tags, frames)
    for k in (0, 15, 16, 20):
        alone = solved(tags, frames[k : k + 1])
        for name in ("poses", "unit_covs", "rms_px", "solution_count", "mean_distance_m"):
            np.testing.assert_array_equal(getattr(alone, name)[0], getattr(together, name)[k])
