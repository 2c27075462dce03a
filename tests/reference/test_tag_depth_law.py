"""How the spread of a solved pose grows with distance and tilt: closed forms and Monte Carlo.

For a head-on square, n = 4 corners with spread s px on each axis, focal length f px, edge e,
distance z, by hand from ``s^2 (J'J)^-1``: depth z^2 s / (sqrt2 f e), across z s / (sqrt2 f), roll
z s / (sqrt2 f e), tilt 2 z^2 s / (f e^2), camera's place across the tag 2 z^3 s / (f e^2).
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from posefuse.arena.arena import Tag
from posefuse.geometry.space import BODY_FROM_OPTICAL, SpacePose
from posefuse.robot.camera import Camera, Detector, Lens, Sensor, Timing
from posefuse.robot.rig import Mount
from posefuse.sensing.projection import project
from posefuse.solving.fixes import solve_frames
from posefuse.solving.single import fix_from_corners

FOCAL_PX, EDGE_M, STD_PX = 800.0, 0.16, 0.3
WORLD_FROM_CAMERA = SpacePose.from_parts(BODY_FROM_OPTICAL, np.zeros(3))
EYE = Mount(
    name="eye",
    camera=Camera(
        name="bench",
        lens=Lens(
            focal_px=np.array([FOCAL_PX, FOCAL_PX]),
            centre_px=np.array([639.5, 399.5]),
            distortion=np.zeros(8),
        ),
        sensor=Sensor(width_px=1280, height_px=800),
        timing=Timing(frame_rate_hz=30, exposure_s=0.01, latency_s=0.04),
        detector=Detector(noise_px=STD_PX, shift_px=np.zeros(2)),
    ),
    position_in_robot_m=np.zeros(3),
    pan_rad=0.0,
    tilt_rad=0.0,
)


def seen(yaw_deg: float, translation_m: list[float]) -> tuple[Tag, np.ndarray]:
    """An upright tag turned about the vertical, and its corners (4, 2) without noise."""
    turn = Rotation.from_euler("y", yaw_deg, degrees=True).as_matrix()
    camera_from_tag = SpacePose.from_parts(turn @ np.diag([1.0, -1.0, -1.0]), translation_m)
    world_from_tag = WORLD_FROM_CAMERA @ camera_from_tag
    tag = Tag(id=0, family="36h11", edge_m=EDGE_M, world_from_tag=world_from_tag)
    return tag, project(camera_from_tag.transform(tag.corners_in_tag_m), EYE.camera.lens)


def solved(corners_px: np.ndarray, tag: Tag):
    frames = np.arange(len(corners_px))
    return solve_frames(
        sighting_frame=frames,
        sighting_tag=np.zeros_like(frames),
        corners_px=corners_px,
        camera_of_frame=np.zeros_like(frames),
        mounts=[EYE],
        tags=[tag],
    )


def floor_sds(yaw_deg: float, translation_m: list[float]) -> np.ndarray:
    """Spread of depth, across and heading as the bulk solver predicts them."""
    tag, corners = seen(yaw_deg, translation_m)
    return STD_PX * np.sqrt(np.diag(solved(corners[None], tag).unit_covs[0, 0]))


def tag_sds(yaw_deg: float, z_m: float) -> np.ndarray:
    """Spread of the tag's turn (3) and place (3) in the camera as OpenCV's slopes predict them."""
    tag, corners = seen(yaw_deg, [0.0, 0.0, z_m])
    fix = fix_from_corners(corners, tag=tag, camera=EYE.camera)
    return np.sqrt(np.diag(fix.covs(STD_PX)[0]))


@pytest.mark.parametrize("z_m", [1.0, 3.0, 7.0])
def test_the_laws_of_a_head_on_tag(z_m):
    f, e, s = FOCAL_PX, EDGE_M, STD_PX
    depth, across = z_m**2 * s / (np.sqrt(2) * f * e), z_m * s / (np.sqrt(2) * f)
    tilt = 2 * z_m**2 * s / (f * e**2)
    expected = [tilt, tilt, z_m * s / (np.sqrt(2) * f * e), across, across, depth]
    np.testing.assert_allclose(tag_sds(0.0, z_m), expected, rtol=1e-5)
    # the camera's place across the tag to first order: the tilt swings it about the tag
    own = floor_sds(0.0, [0.0, 0.0, z_m])
    np.testing.assert_allclose(own[0], depth, rtol=5e-4)
    np.testing.assert_allclose(own[1], 2 * z_m**3 * s / (f * e**2), rtol=1e-2)
    np.testing.assert_allclose(own[2], tilt, rtol=5e-4)


def test_the_worked_head_on_numbers():
    # sigma^2 (J'J)^-1 in numbers at f 800, edge 0.16, z 3, 0.3 px
    sds = tag_sds(0.0, 3.0)
    np.testing.assert_allclose(
        sds, [0.263672, 0.263672, 0.004972, 0.000795, 0.000795, 0.014916], atol=6e-7
    )
    own = floor_sds(0.0, [0.0, 0.0, 3.0])
    np.testing.assert_allclose(own, [0.014916, 0.7916, 0.263672], atol=6e-5)


@pytest.mark.parametrize(("yaw_deg", "depth_sd_m"), [(15.0, 0.009223), (45.0, 0.009304)])
def test_a_tilted_tag_spreads_in_depth_by_nearly_the_full_law(yaw_deg, depth_sd_m):
    # at z = 2: towards z^2 s / (f e) = 0.009375, and z s / (2 f) across
    sds = tag_sds(yaw_deg, 2.0)
    assert sds[5] == pytest.approx(depth_sd_m, abs=6e-7)
    assert sds[3:5].max() == pytest.approx(2.0 * STD_PX / (2 * FOCAL_PX), rel=0.42)
    assert sds[5] < 2.0**2 * STD_PX / (FOCAL_PX * EDGE_M)


@pytest.mark.parametrize(
    ("yaw_deg", "z_m", "tilt_sd_deg"),
    [
        (0.0, 1.0, 1.6786),
        (0.0, 2.0, 6.714),
        (30.0, 1.0, 0.3440),
        (30.0, 2.0, 0.7047),
        (30.0, 4.0, 1.4182),
        (30.0, 8.0, 2.8408),
        (60.0, 1.0, 0.1720),
        (60.0, 2.0, 0.3460),
    ],
)
def test_tilt_spreads_as_opencvs_slopes_say(yaw_deg, z_m, tilt_sd_deg):
    # cv2.projectPoints' slopes in numbers; the heading is the turn about the vertical
    own = np.degrees(floor_sds(yaw_deg, [0.0, 0.0, z_m])[2])
    assert own == pytest.approx(tilt_sd_deg, abs=6e-4 if tilt_sd_deg > 5 else 6e-5)
    assert np.degrees(tag_sds(yaw_deg, z_m)[1]) == pytest.approx(own, rel=1e-5)


@pytest.mark.parametrize(
    ("yaw_deg", "translation_m"),
    [
        (20.0, [0.0, 0.0, 1.0]),
        (30.0, [0.2, 0.1, 1.5]),
        (45.0, [-0.5, 0.1, 2.0]),
        (60.0, [0.3, -0.2, 2.0]),
    ],
)
def test_monte_carlo_meets_the_predicted_spread(yaw_deg, translation_m):
    # 4,000 draws about the truth gave OpenCV ratios of 0.985 to 1.031; here 20,000
    rng = np.random.default_rng(11)
    tag, corners = seen(yaw_deg, translation_m)
    fixes = solved(corners + rng.normal(0.0, STD_PX, (20_000, 4, 2)), tag)
    nearest = np.nanargmin(np.abs(fixes.poses[:, :, 2]), axis=1)
    poses = fixes.poses[np.arange(len(nearest)), nearest]
    ratio = poses.std(axis=0) / floor_sds(yaw_deg, translation_m)
    assert (ratio > 0.985).all()
    assert (ratio < 1.031).all()


def test_the_quoted_law_with_the_root_of_all_corners_is_too_small():
    # z^2 s / (f e sqrt n) with n = 4 is below the truth by root two head on, by two when tilted
    quoted = 2.0**2 * STD_PX / (FOCAL_PX * EDGE_M * np.sqrt(4))
    assert tag_sds(0.0, 2.0)[5] / quoted == pytest.approx(np.sqrt(2), rel=1e-5)
    assert tag_sds(45.0, 2.0)[5] / quoted == pytest.approx(2.0, rel=0.01)
