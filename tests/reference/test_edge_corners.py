"""Corners from lines along a tag's sides, on rendered tags, against their true projection.

True corners are projected by cv2.projectPoints, pixel centres at integers. On the same images
apriltag-python, a build of the detector that comes with the tag family: it fits lines to gradients
along each side and counts pixels from the outer corner of the first one, half a pixel more.
"""

from functools import lru_cache

import cv2
import numpy as np
import pytest

from posefuse.rendering.detect import DetectorSettings, detect_tags
from posefuse.robot.camera import CornerRefinement
from posefuse.robot.image_quality import ImageQuality
from rendering import BARREL, EVEN, STRAIGHT, TagShot, drifting, shot
from test_image_detectors import by_cv2 as by_cv2_in_court
from test_image_detectors import frames

EDGES = DetectorSettings(refinement=CornerRefinement.EDGES)
NOWHERE = np.zeros(3)
EDGE_M = 0.15
ITS_ORDER = [1, 0, 3, 2]
TARGET_PX, MOST_INWARD_PX, MOST_SHIFT_PX = 0.12, 0.03, 0.03


def places(count: int, edge_px: float, incidence_deg: float, most_roll_deg: float, lens):
    """Tags of a size anywhere in the image, turned aside and, at random, about their normals."""
    generator = np.random.default_rng([int(edge_px), int(incidence_deg)])
    depth = STRAIGHT.focal_px[0] * EDGE_M / edge_px * np.sqrt(np.cos(np.radians(incidence_deg)))
    for _ in range(count):
        across, down = generator.uniform(-0.4, 0.4), generator.uniform(-0.22, 0.22)
        side = generator.choice([-1.0, 1.0]) * incidence_deg
        yield shot(
            (across * depth, down * depth, depth),
            (side, generator.uniform(-5.0, 5.0), generator.uniform(-1.0, 1.0) * most_roll_deg),
            id=int(generator.integers(587)),
            edge_m=EDGE_M,
            lens=lens,
            slack_px=24,
        )


def truth_of(case: TagShot) -> np.ndarray:
    corners, lens = case.tag.corners_in_world_m, case.lens
    pixels, _ = cv2.projectPoints(corners, NOWHERE, NOWHERE, lens.matrix, lens.distortion)
    return pixels.reshape(4, 2) - np.array(case.view.window[:2])


@lru_cache(maxsize=64)
def seen(
    edge_px: float,
    incidence_deg: float = 20.0,
    *,
    quality: ImageQuality = EVEN,
    noise_scale: float = 1.0,
    blur_px: float = 0.0,
    most_roll_deg: float = 180.0,
    barrel: bool = False,
    count: int = 24,
):
    """Images of tags, with each tag's id and true corners."""
    pictures = []
    lens = BARREL if barrel else STRAIGHT
    for case in places(count, edge_px, incidence_deg, most_roll_deg, lens):
        speed = blur_px * float(case.tag.world_from_tag.translation_m[2]) / STRAIGHT.focal_px[0]
        motion = drifting(speed / 0.01, 0.01) if blur_px else None
        image = case.image(quality, motion, 0.01 if blur_px else 0.0, noise_scale=noise_scale)
        pictures.append((image, case.tag.id, truth_of(case)))
    return pictures


def errors_of(pictures, settings=EDGES) -> np.ndarray:
    """Of the tags that are found (n, 4, 2)."""
    errors = []
    for image, id, truth in pictures:
        found = detect_tags(image, families=["36h11"], settings=settings)
        assert found.unfitted == ()
        errors += [corners - truth for corners in found.corners_px[found.ids == id]]
    return np.array(errors).reshape(-1, 4, 2)


def seen_by_another(pictures):
    """The pictures in which the other detector finds the tag, and its errors."""
    other = pytest.importorskip("apriltag", reason="no wheel of it for this machine")
    finder, both, errors = other.apriltag("tag36h11"), [], []
    for image, id, truth in pictures:
        for one in finder.detect(image):
            if one["id"] == id:
                both.append((image, id, truth))
                errors.append(one["lb-rb-rt-lt"][ITS_ORDER] - 0.5 - truth)
    return both, np.array(errors).reshape(-1, 4, 2)


def rms_of(errors: np.ndarray) -> float:
    return float(np.sqrt(np.mean(errors**2)))


def inward_of(pictures, errors: np.ndarray) -> float:
    """Mean way toward the tag's middle; all tags of the pictures must be found."""
    true = np.array([truth for _, _, truth in pictures])
    inward = true.mean(axis=1, keepdims=True) - true
    inward /= np.linalg.norm(inward, axis=-1, keepdims=True)
    return float((errors * inward).sum(axis=-1).mean())


def found_pictures(pictures):
    """Those whose tag OpenCV finds: of small tags about half."""
    return [
        picture
        for picture in pictures
        if picture[1] in detect_tags(picture[0], families=["36h11"], settings=EDGES).ids
    ]


def assert_unbiased(pictures, errors: np.ndarray, most_rms_px: float) -> None:
    assert rms_of(errors) < most_rms_px
    assert abs(inward_of(pictures, errors)) < MOST_INWARD_PX
    assert np.abs(errors.mean(axis=(0, 1))).max() < MOST_SHIFT_PX


@pytest.mark.parametrize("incidence_deg", [0, 40, 60])
@pytest.mark.parametrize("edge_px", [14, 18, 25, 40, 70, 120])
def test_corners_lie_where_they_are_projected(edge_px: int, incidence_deg: int) -> None:
    pictures = found_pictures(seen(edge_px, incidence_deg))
    errors = errors_of(pictures)
    assert len(errors) == len(pictures) >= (20 if edge_px >= 25 else 5)
    assert_unbiased(pictures, errors, 0.5 * TARGET_PX)


def test_small_upright_tags_seen_from_aside_are_left_out_now_and_then() -> None:
    # their upright sides lie along columns of pixels: 6 of 100 found have no line on one of them
    found, left_out = [], 0
    for edge_px, incidence_deg in ((12, 55), (14, 50), (14, 68), (16, 55), (18, 60)):
        for image, id, truth in seen(edge_px, incidence_deg, most_roll_deg=0.0, count=60):
            one = detect_tags(image, families=["36h11"], settings=EDGES)
            left_out += len(one.unfitted)
            found += [corners - truth for corners in one.corners_px[one.ids == id]]
    assert 0.02 < left_out / (left_out + len(found)) < 0.12
    assert rms_of(np.array(found)) < 0.5 * TARGET_PX


@pytest.mark.parametrize("noise_scale", [0.5, 2.0])
@pytest.mark.parametrize("defocus_px", [0.3, 1.2])
@pytest.mark.parametrize("edge_px", [25, 50])
def test_noise_and_defocus(edge_px: int, defocus_px: float, noise_scale: float) -> None:
    quality = ImageQuality(lamp_share=0.0, vignetting_share=0.0, defocus_px=defocus_px)
    pictures = found_pictures(seen(edge_px, quality=quality, noise_scale=noise_scale))
    errors = errors_of(pictures)
    assert len(errors) >= 12
    assert_unbiased(pictures, errors, 0.75 * TARGET_PX)


@pytest.mark.parametrize(("edge_px", "blur_px"), [(25, 2), (40, 4), (70, 4), (70, 8), (120, 8)])
def test_motion_blur(edge_px: int, blur_px: float) -> None:
    # sideways, over tags that hang about upright: two sides are blurred, two are not
    pictures = found_pictures(seen(edge_px, blur_px=blur_px, most_roll_deg=10.0))
    errors = errors_of(pictures)
    assert len(errors) >= 16
    assert_unbiased(pictures, errors, 0.75 * TARGET_PX)


def test_motion_blur_along_the_diagonal() -> None:
    # all sides are blurred, and by how much the lens does is not known: a little outward
    pictures = found_pictures(seen(70, blur_px=8))
    errors = errors_of(pictures)
    assert len(errors) >= 12
    assert rms_of(errors) < TARGET_PX
    assert -0.07 < inward_of(pictures, errors) < MOST_INWARD_PX


@pytest.mark.parametrize("edge_px", [30, 60, 120, 200])
def test_sides_that_the_lens_bends(edge_px: int) -> None:
    # the other detector's lines are straight: at 120 and 200 px it is 0.17 and 0.46 px RMS off
    pictures = found_pictures(seen(edge_px, barrel=True))
    errors = errors_of(pictures)
    assert len(errors) == 24
    assert_unbiased(pictures, errors, 0.75 * TARGET_PX)


@pytest.mark.parametrize("incidence_deg", [0, 60])
@pytest.mark.parametrize(("edge_px", "most_share"), [(18, 0.5), (25, 0.8), (70, 1.3)])
def test_beside_an_independent_detector(
    edge_px: int, incidence_deg: int, most_share: float, tell
) -> None:
    pictures, its = seen_by_another(found_pictures(seen(edge_px, incidence_deg, count=60)))
    own, subpixel = errors_of(pictures), errors_of(pictures, DetectorSettings())
    assert len(its) == len(own) == len(subpixel) >= 6
    tell(
        f"{edge_px} px, {incidence_deg} deg: lines along sides {rms_of(own):.3f} px RMS, "
        f"{inward_of(pictures, own):+.3f} px inward; apriltag-python {rms_of(its):.3f} px, "
        f"{inward_of(pictures, its):+.3f} px; OpenCV's refinement {rms_of(subpixel):.3f} px, "
        f"{inward_of(pictures, subpixel):+.3f} px"
    )
    assert rms_of(own) < most_share * rms_of(its)
    assert_unbiased(pictures, own, 0.5 * TARGET_PX)


def test_whole_frames_of_the_demo_court(tell) -> None:
    # posts, walls and boxes beside and behind the tags, uneven light, a robot that turns
    pictures = []
    for image, world_from_camera, lens in frames(12):
        truth = by_cv2_in_court(world_from_camera, lens)
        found = detect_tags(image, families=["36h11"], settings=EDGES)
        assert found.unfitted == ()
        pictures += [
            (corners, id, truth[id])
            for id, corners in zip(found.ids.tolist(), found.corners_px, strict=True)
        ]
    errors = np.array([corners - truth for corners, _, truth in pictures])
    assert len(errors) > 12
    tell(
        f"12 blurred frames of the demo court, {len(errors)} tags: lines along sides "
        f"{rms_of(errors):.3f} px RMS, {inward_of(pictures, errors):+.3f} px inward"
    )
    assert_unbiased(pictures, errors, 0.5 * TARGET_PX)
