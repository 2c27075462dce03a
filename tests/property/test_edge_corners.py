"""Corners from lines along a tag's sides turn, move and brighten with the image."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from posefuse.rendering.detect import DetectorSettings, detect_tags
from posefuse.rendering.edges import corners_from_edges
from posefuse.robot.camera import CornerRefinement
from rendering import EVEN, shot

ID = 23
NONE = DetectorSettings(refinement=CornerRefinement.NONE)

NEAR_PX, FAR_PX = 0.12, 0.03
"""Of long sides not every pixel is looked at, and which ones hangs on where they begin."""

near_m, far_m = st.floats(1.1, 4.0), st.floats(5.2, 6.5)  # 31 to 114 px, 19 to 24 px
turns_deg = st.tuples(st.floats(-35.0, 35.0), st.floats(-20.0, 20.0), st.floats(-180.0, 180.0))


def image_and_outline(distance_m: float, turn_deg) -> tuple[np.ndarray, np.ndarray]:
    case = shot((0.05 * distance_m, -0.03 * distance_m, distance_m), turn_deg, id=ID)
    image = case.image(EVEN)
    middle = case.corners_px.mean(axis=0)
    return image, middle + 0.96 * (case.corners_px - middle)


def corners_in(image: np.ndarray, outline: np.ndarray) -> np.ndarray:
    corners = corners_from_edges(image, outline, family="36h11", id=ID)
    assert corners is not None
    return corners


def assert_turned(distance_m: float, turn_deg, quarters: int, most_px: float) -> None:
    image, outline = image_and_outline(distance_m, turn_deg)
    corners = corners_in(image, outline)
    for _ in range(quarters):  # to the left: (x, y) comes to (y, last x - x)
        last = image.shape[1] - 1.0
        image = np.ascontiguousarray(np.rot90(image))
        outline, corners = (
            np.column_stack([points[:, 1], last - points[:, 0]]) for points in (outline, corners)
        )
    np.testing.assert_allclose(corners_in(image, outline), corners, atol=most_px)


@given(near_m, turns_deg, st.integers(1, 3))
def test_corners_of_large_tags_turn_with_the_image(distance_m, turn_deg, quarters) -> None:
    assert_turned(distance_m, turn_deg, quarters, NEAR_PX)


@given(far_m, turns_deg, st.integers(1, 3))
def test_corners_of_small_tags_turn_with_the_image(distance_m, turn_deg, quarters) -> None:
    assert_turned(distance_m, turn_deg, quarters, FAR_PX)


@given(near_m | far_m, turns_deg, st.integers(0, 9), st.integers(0, 9))
def test_corners_move_with_the_image(distance_m: float, turn_deg, right: int, down: int) -> None:
    image, outline = image_and_outline(distance_m, turn_deg)
    moved = np.pad(image, ((down, 0), (right, 0)), mode="edge")
    shift = np.array([right, down])
    there = corners_in(moved, outline + shift) - shift
    # the least rounding may take in one pixel more at the end of what is looked at
    np.testing.assert_allclose(there, corners_in(image, outline), atol=FAR_PX)


def assert_bright(distance_m: float, turn_deg, gain: float, more: float, most_px: float) -> None:
    image, outline = image_and_outline(distance_m, turn_deg)
    other = np.clip(np.rint(gain * image.astype(float) + more), 0, 255).astype(np.uint8)
    corners = corners_in(image, outline)
    np.testing.assert_allclose(corners_in(other, outline), corners, atol=most_px)


@given(near_m, turns_deg, st.floats(0.4, 1.1), st.floats(0.0, 20.0))
def test_corners_of_large_tags_stay_when_it_brightens(distance_m, turn_deg, gain, more) -> None:
    assert_bright(distance_m, turn_deg, gain, more, NEAR_PX)


@given(far_m, turns_deg, st.floats(0.4, 1.1), st.floats(0.0, 20.0))
def test_corners_of_small_tags_stay_when_it_brightens(distance_m, turn_deg, gain, more) -> None:
    assert_bright(distance_m, turn_deg, gain, more, FAR_PX)


def test_corners_of_the_detector_turn_with_the_image() -> None:
    for turn_deg in ((0.0, 0.0, 0.0), (30.0, 10.0, 25.0), (-50.0, 5.0, 70.0)):
        image = shot((0.1, 0.0, 2.0), turn_deg, id=ID).image(EVEN)
        settings = DetectorSettings(refinement=CornerRefinement.EDGES)
        first = detect_tags(image, families=["36h11"], settings=settings)
        turned = detect_tags(
            np.ascontiguousarray(np.rot90(image)), families=["36h11"], settings=settings
        )
        assert first.ids.tolist() == turned.ids.tolist() == [ID]
        x, y = np.moveaxis(first.corners_px[0], -1, 0)
        wanted = np.column_stack([y, image.shape[1] - 1.0 - x])
        np.testing.assert_allclose(turned.corners_px[0], wanted, atol=0.05)
