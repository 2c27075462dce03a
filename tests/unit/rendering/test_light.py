"""The light on each pixel: motion, focus, vignetting, lamp and noise."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from posefuse.arena.arena import Arena, Obstacle
from posefuse.geometry.space import SpacePose
from posefuse.randomness.streams import stream_key
from posefuse.rendering.camera_view import camera_view
from posefuse.rendering.render import CameraMotion, FrameNoise, render, render_light
from posefuse.rendering.surroundings import Surroundings
from posefuse.robot.camera import Lens
from posefuse.robot.image_quality import Defocus, ImageQuality
from posefuse.sensing.arrays import RobotBoxes, WorldBoxes
from rendered_yard import PLAIN, SMALL, WIDE, around, standing, yard_arena
from rendering import (
    EVEN,
    HERE,
    SENSOR,
    SHARP,
    STRAIGHT,
    drifting,
    edge_variance,
    shot,
)


@pytest.fixture
def yard() -> Arena:
    return yard_arena()


def test_blur_of_a_drive_past_is_f_v_t_over_z() -> None:
    # 2 m/s at 4 m for 10 ms is 3.2 px at f = 640 px: elementary geometry
    wide = Lens.from_width(field_of_view_rad=math.pi / 2, width_px=1280, height_px=800)
    case = shot((0.0, 0.0, 4.0), lens=wide, edge_m=1.6)
    moved = case.light(SHARP, drifting(2.0, 0.010), 0.010)
    assert math.sqrt(12.0 * edge_variance(moved, case)) == pytest.approx(3.2, rel=0.01)


@pytest.mark.parametrize("speed_m_per_s", [2.0, -2.0])
@pytest.mark.parametrize("heading", [0.0, 0.1])
def test_the_edge_of_a_box_blurs_about_its_place_in_mid_exposure(heading, speed_m_per_s) -> None:
    # 2 m/s at 2 m for 10 ms: 8 px; the left side of a box, upright or slanting by 6 degrees
    crate = Obstacle(
        name="crate",
        centre_in_world_m=np.array([0.2, 0.0, 2.1]),
        size_m=np.array([0.4, 0.8, 0.2]),
        heading_rad=heading,
    )
    left, top, width, height = (600, 340, 80, 120)
    light = render_light(
        Surroundings.from_tags(
            [], np.zeros((0, 4, 3)), boxes=WorldBoxes.from_obstacles((crate,)), looks=PLAIN
        ),
        view=camera_view(STRAIGHT, SENSOR, window=(left, top, width, height)),
        motion=drifting(speed_m_per_s, 0.01),
        exposure_s=0.01,
        quality=SHARP,
    ).astype(float)
    before, behind = light[:, :5].mean(), light[:, -5:].mean()
    # where an ideal step of the same area would be, row by row
    found = left - 0.5 + ((light - behind) / (before - behind)).sum(axis=1)
    y_m = (np.arange(height) + top - STRAIGHT.centre_px[1]) / STRAIGHT.focal_px[1] * 2.0
    cosine, sine = math.cos(heading), math.sin(heading)
    x_m = 0.2 - 0.2 * cosine - (y_m + 0.2 * sine) / cosine * sine
    true = STRAIGHT.centre_px[0] + STRAIGHT.focal_px[0] * x_m / 2.0
    assert abs((found - true).mean()) < 0.12
    assert (found - true).std() < 0.15


def test_the_robot_itself_does_not_blur() -> None:
    own = RobotBoxes(centres_m=np.array([[[0.0, 0.0, 1.0]]]), half_sizes_m=np.full((1, 3), 0.1))
    scene = Surroundings.from_tags([], np.zeros((0, 4, 3)), robot_boxes=own, looks=PLAIN)
    view = camera_view(STRAIGHT, SENSOR, window=(500, 250, 280, 300))
    images = [
        render_light(scene, view=view, motion=motion, exposure_s=0.01, quality=SHARP)
        for motion in (CameraMotion.at_rest(HERE, robot_from_camera=HERE), drifting(3.0, 0.01))
    ]
    np.testing.assert_allclose(images[0], images[1], atol=1e-5)
    assert np.ptp(images[0]) > 0.1


@pytest.mark.parametrize("defocus", list(Defocus))
def test_defocus_spreads_as_far_as_said(defocus: Defocus) -> None:
    radius = 2.0 if defocus is Defocus.GAUSSIAN else 4.0
    quality = replace(EVEN, defocus=defocus, defocus_px=radius, black_grey=0.0)
    case = shot((0.0, 0.0, 0.5))
    # the standard deviation of a gaussian; half its radius of a disc: 2 px in both cases
    variance = edge_variance(case.image(quality, noise_scale=0.0), case)
    assert variance == pytest.approx(4.0, rel=0.05)


def test_vignetting_takes_light_from_the_corners() -> None:
    dim = replace(EVEN, vignetting_share=0.4, defocus_px=0.0, black_grey=0.0)
    empty = Surroundings.from_tags([], np.zeros((0, 4, 3)))
    image = render(
        empty,
        view=camera_view(STRAIGHT, SENSOR),
        motion=CameraMotion.at_rest(HERE, robot_from_camera=HERE),
        exposure_s=0.0,
        quality=dim,
        noise=FrameNoise(key=np.uint64(1), scale=0.0),
    ).astype(float)
    assert image[0, 0] / image[400, 640] == pytest.approx(0.6, abs=0.01)


def test_lamp_and_glare(yard: Arena) -> None:
    given = {
        "view": camera_view(WIDE, SMALL),
        "motion": standing(1.0, 2.0, 0.0),
        "exposure_s": 0.0,
    }
    even = render_light(around(yard), **given, quality=SHARP)
    lit = render_light(around(yard), **given, quality=replace(SHARP, lamp_share=0.5))
    shares = lit / even
    assert shares.max() <= 1.0 + 1e-6
    assert shares.min() > 0.5
    assert np.ptp(shares) > 0.05


def test_glare_is_the_lamp_in_the_mirror(yard: Arena) -> None:
    looking_down = standing(2.2, 2.0, 0.0, lean=(0.0, 1.1))
    given = {"view": camera_view(WIDE, SMALL), "motion": looking_down, "exposure_s": 0.0}
    bare = replace(yard, obstacles=(), tags=())
    images = [
        render_light(around(bare), **given, quality=replace(SHARP, glare_share=glare))
        for glare in (0.0, 1.0)
    ]
    glare = images[1] - images[0]
    assert glare.min() >= 0.0
    assert glare.max() == pytest.approx(1.0, abs=0.1)
    # the lamp hangs 5 m above the middle of the floor: as far below it in the mirror
    mirrored = looking_down.world_from_camera.inverse().transform(np.array([3.0, 2.0, -5.0]))
    zero = np.zeros(3)
    spot, _ = cv2.projectPoints(mirrored, zero, zero, WIDE.matrix, WIDE.distortion)
    brightest = np.unravel_index(np.argmax(glare), glare.shape)
    np.testing.assert_allclose(brightest[::-1], spot.ravel(), atol=3.0)


def test_seed_and_frame_fix_every_bit() -> None:
    case = shot((0.0, 0.0, 1.0))
    first = case.image(seed=1)
    np.testing.assert_array_equal(first, case.image(seed=1))
    assert (first != case.image(seed=2)).mean() > 0.5
    other = render(
        case.surroundings,
        view=case.view,
        motion=CameraMotion.at_rest(HERE, robot_from_camera=HERE),
        exposure_s=0.0,
        quality=EVEN,
        noise=FrameNoise(key=stream_key(1, 0, "image noise"), frame=7),
    )
    assert (first != other).mean() > 0.5


def test_half_the_exposure_shows_the_noise_of_twice_the_gain() -> None:
    """EMVA 1288: the grey level K e of a plain wall spreads by sqrt(K grey + K^2 d^2)."""
    case = shot((0.0, 0.0, 1.0))
    spreads = []
    for exposure_s in (0.004, 0.002):
        gain = ImageQuality.gain_for(exposure_s, unit_gain_exposure_s=0.016)
        quality = replace(EVEN, gain_factor=gain, read_noise_electrons=20.0)
        noise = case.image(quality, seed=1).astype(float) - case.image(quality, seed=2)
        flat = slice(0, 40), slice(0, 40)  # a corner of the image, where only the wall is seen
        grey = case.image(quality, seed=1)[flat].mean() - quality.black_grey
        grey_an_electron = gain * 255.0 / quality.full_well_electrons
        expected = np.hypot(np.sqrt(grey_an_electron * grey), 20.0 * grey_an_electron)
        # two images, and rounding to whole grey levels in each
        spreads.append(np.sqrt(noise[flat].var() / 2.0 - 1.0 / 12.0))
        assert spreads[-1] == pytest.approx(expected, rel=4.0 / np.sqrt(2.0 * 1600))
    assert 1.4 < spreads[1] / spreads[0] < 2.0


def test_a_camera_that_never_moves_is_as_sharp_as_one_at_rest() -> None:
    case = shot((0.0, 0.0, 1.0))
    still = CameraMotion(
        instants_s=np.array([-0.01, 0.0, 0.01]),
        world_from_camera=SpacePose.from_parts(np.eye(3), np.zeros((3, 3))),
        robot_from_camera=HERE,
    )
    np.testing.assert_array_equal(case.light(SHARP, still, 0.02), case.light())
