"""Blur, rolling shutter and the spread of tag poses against printed laws and figures."""

import math

import numpy as np
import pytest

from posefuse.arena.arena import Tag, tag_pose
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Camera, Detector, Lens, Sensor, Timing
from posefuse.robot.rig import Mount
from posefuse.sensing.arrays import RobotBoxes, WorldBoxes
from posefuse.sensing.frames import CapturedFrames
from posefuse.sensing.information import corner_information
from posefuse.sensing.sightings import sense
from posefuse.sensing.views import TagViews, tag_views


def one_view(
    *,
    focal_px: float,
    size_px: tuple[int, int] = (1280, 800),
    ahead_m: float,
    edge_m: float = 0.16,
    exposure_s: float = 0.01,
    row_time_s: float = 0.0,
    turn_rate_rad_per_s: float = 0.0,
    sideways_m_per_s: float = 0.0,
    std_px: float = 0.3,
) -> TagViews:
    """A camera at the robot's origin that looks level at the middle of a tag, head on."""
    width, height = size_px
    camera = Camera(
        name="camera",
        lens=Lens(
            focal_px=np.array([focal_px, focal_px]),
            centre_px=np.array([(width - 1) / 2.0, (height - 1) / 2.0]),
            distortion=np.zeros(8),
        ),
        sensor=Sensor(width_px=width, height_px=height, row_time_s=row_time_s),
        timing=Timing(frame_rate_hz=30.0, exposure_s=exposure_s, latency_s=0.04),
        detector=Detector(noise_px=std_px, shift_px=np.zeros(2), least_edge_px=1.0),
    )
    mount = Mount(
        name="front",
        camera=camera,
        position_in_robot_m=np.array([0.0, 0.0, 0.5]),
        pan_rad=0.0,
        tilt_rad=0.0,
    )
    pose = tag_pose(np.array([ahead_m, 0.0, 0.5]), facing_rad=math.pi)
    return tag_views(
        CapturedFrames(
            camera=np.array([0]),
            number=np.array([0]),
            captured_at_s=np.array([0.0]),
            world_from_robot=SpacePose.from_plane(PlanePose(np.zeros((1, 3)))).matrix,
            robot_twist=np.array([[0.0, 0.0, turn_rate_rad_per_s, 0.0, sideways_m_per_s, 0.0]]),
            robot_acceleration=np.zeros((1, 6)),
        ),
        mounts=[mount],
        tags=[Tag(id=0, family="36h11", edge_m=edge_m, world_from_tag=pose)],
        boxes=WorldBoxes.from_obstacles([]),
        robot_boxes=RobotBoxes(centres_m=np.zeros((1, 0, 3)), half_sizes_m=np.zeros((0, 3))),
    )


def test_blur_of_a_turning_camera() -> None:
    # f w T: 640 px, 180 degrees per second, 10 ms (elementary geometry)
    views = one_view(focal_px=640.0, ahead_m=4.0, turn_rate_rad_per_s=math.pi)
    assert views.blur_px[0] == pytest.approx(20.106, abs=5e-4)
    # the camera turns left, so the tag moves right
    assert views.velocity_px_per_s[0, 0] > 0.0


@pytest.mark.parametrize(("exposure_s", "blur_px"), [(0.010, 3.2), (0.001, 0.32)])
def test_blur_of_a_camera_that_moves_sideways(exposure_s: float, blur_px: float) -> None:
    # f v T / z: 640 px, 2 m/s, 4 m (elementary geometry)
    views = one_view(focal_px=640.0, ahead_m=4.0, sideways_m_per_s=2.0, exposure_s=exposure_s)
    assert views.blur_px[0] == pytest.approx(blur_px, rel=1e-9)


def test_skew_of_a_rolling_shutter() -> None:
    # IMX219: 3448 clocks a row at 182.4 MHz (Linux driver imx219.c), 2464 rows: 46.578 ms;
    # at 180 degrees per second and f = 640 px the last row lies 8.384 degrees or 94.33 px further
    # than the first (93.65 px by f w T; 94.33 px = f tan 8.384 deg)
    row_time_s = 3448 / 182.4e6
    assert row_time_s * 2464 == pytest.approx(46.578e-3, abs=5e-7)
    views = one_view(
        focal_px=640.0,
        size_px=(3280, 2464),
        ahead_m=1.0,
        edge_m=0.02,  # so small that it lies all in the middle, where the law holds
        row_time_s=row_time_s,
        turn_rate_rad_per_s=math.pi,
    )
    corners, _ = sense(
        views,
        corners_in_world_m=views.tags.corners_m,
        robot_from_camera=SpacePose.from_parts(views.cameras.rotation, views.cameras.translation_m),
        lens_rows=views.cameras.lens_rows,
        keys=np.zeros(1, dtype=np.uint64),
        noise_scale=0.0,
    )
    (top_left, _, _, bottom_left) = corners[0]
    skew_px = (bottom_left[0] - top_left[0]) * 2464 / (bottom_left[1] - top_left[1])
    assert math.degrees(math.atan(94.33 / 640.0)) == pytest.approx(8.384, abs=1e-3)
    assert skew_px == pytest.approx(640.0 * math.pi * 46.578e-3, abs=2e-2)


@pytest.mark.parametrize("ahead_m", [1.0, 3.0, 6.0])
def test_head_on_laws_of_a_square_tag(ahead_m: float) -> None:
    # exact for a head-on square, four corners of white noise sig: depth z^2 sig / (sqrt2 f s),
    # turn 2 z^2 sig / (f s^2); sideways for a known turn z sig / (2 f)
    focal_px, edge_m, std_px = 800.0, 0.16, 0.3
    (information,) = corner_information(
        one_view(focal_px=focal_px, ahead_m=ahead_m, edge_m=edge_m, std_px=std_px)
    )
    cov = np.linalg.inv(information)
    depth_m = ahead_m**2 * std_px / (math.sqrt(2.0) * focal_px * edge_m)
    turn_rad = 2.0 * ahead_m**2 * std_px / (focal_px * edge_m**2)
    assert math.sqrt(cov[0, 0]) == pytest.approx(depth_m, rel=1e-9)
    assert math.sqrt(cov[2, 2]) == pytest.approx(turn_rad, rel=1e-7)
    known_turn_m = 1.0 / math.sqrt(information[1, 1])
    assert known_turn_m == pytest.approx(ahead_m * std_px / (2.0 * focal_px), rel=1e-9)


def test_head_on_figures_at_three_metres() -> None:
    # f 800 px, s 0.16 m, sig 0.3 px: sig^2 (J'J)^-1 of the six-parameter pose, computed apart
    cov = np.linalg.inv(corner_information(one_view(focal_px=800.0, ahead_m=3.0))[0])
    depth_m, across_m, turn_rad = np.sqrt(np.diag(cov))
    assert depth_m == pytest.approx(0.014916, abs=1e-6)
    assert turn_rad == pytest.approx(0.263672, abs=1e-6)
    assert across_m == pytest.approx(0.7916, abs=1e-4)
