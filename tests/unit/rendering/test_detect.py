"""The detector: order, families, what it leaves out, and images it refuses."""

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.rendering.detect import DetectorSettings, detect_tags
from posefuse.robot.camera import CornerRefinement
from rendering import EVEN, shot


@pytest.mark.parametrize("family", ["36h11", "25h9", "16h5", "4x4_50", "5x5_100", "original"])
def test_each_family_is_found_upright(family: str) -> None:
    case = shot((0.0, 0.0, 1.0), family=family, id=3)
    found = detect_tags(case.image(), families=[family])
    assert found.families == (family,)
    assert found.ids.tolist() == [3]
    np.testing.assert_allclose(found.corners_px[0], case.corners_px, atol=0.6)


def test_a_tag_on_its_side_starts_at_its_own_top_left() -> None:
    case = shot((0.0, 0.0, 1.0), (0.0, 0.0, 90.0), id=5)
    found = detect_tags(case.image(), families=["36h11"])
    np.testing.assert_allclose(found.corners_px[0], case.corners_px, atol=0.6)


def test_several_families_and_tags_sorted() -> None:
    left = shot((0.0, 0.0, 1.0), family="36h11", id=20).image()
    right = shot((0.0, 0.0, 1.0), family="25h9", id=2).image()
    least = min(len(left), len(right))
    both = np.hstack([left[:least], right[:least], left[:least]])
    found = detect_tags(both, families=["36h11", "25h9", "36h11"])
    assert list(zip(found.families, found.ids.tolist(), strict=True)) == [
        ("25h9", 2),
        ("36h11", 20),
    ]


def test_of_two_with_one_id_the_larger_is_kept() -> None:
    near, far = shot((0.0, 0.0, 0.8), id=9), shot((0.0, 0.0, 1.6), id=9)
    small = np.full((near.image().shape[0], far.image().shape[1]), 100, dtype=np.uint8)
    small[: far.image().shape[0]] = far.image()
    found = detect_tags(np.hstack([small, near.image()]), families=["36h11"])
    assert found.ids.tolist() == [9]
    assert found.corners_px[0, 0, 0] > small.shape[1]


def test_nothing_to_find() -> None:
    found = detect_tags(np.zeros((60, 80), dtype=np.uint8), families=["36h11"])
    assert found.families == ()
    assert found.corners_px.shape == (0, 4, 2)


@pytest.mark.parametrize("refinement", list(CornerRefinement))
def test_refinements(refinement: CornerRefinement) -> None:
    case = shot((0.0, 0.0, 1.0), (10.0, 5.0, 3.0))
    settings = DetectorSettings(refinement=refinement)
    found = detect_tags(case.image(EVEN), families=["36h11"], settings=settings)
    error = np.abs(found.corners_px[0] - case.corners_px).max()
    assert error < {"none": 1.6, "subpixel": 0.4, "contour": 1.2}[refinement.value]


@pytest.mark.parametrize(
    ("image", "message"),
    [
        (np.zeros((4, 5, 3), dtype=np.uint8), r"uint8 \(height, width\) \(got uint8 \(4, 5, 3\)\)"),
        (np.zeros((4, 5)), r"uint8 \(height, width\) \(got float64 \(4, 5\)\)"),
        (np.zeros((0, 5), dtype=np.uint8), "has no pixels"),
    ],
)
def test_images_that_are_refused(image: np.ndarray, message: str) -> None:
    with pytest.raises(InputError, match=f"image: .*{message}"):
        detect_tags(image, families=["36h11"])


def test_a_wrong_size_is_refused() -> None:
    with pytest.raises(InputError, match=r"image: must be 1280 x 800 px as the camera's \(got 5 x"):
        detect_tags(np.zeros((4, 5), dtype=np.uint8), families=["36h11"], size_px=(1280, 800))


def test_a_family_that_opencv_lacks() -> None:
    with pytest.raises(InputError, match="OpenCV carries no tag family '9h9'; it has: 16h5, "):
        detect_tags(np.zeros((40, 50), dtype=np.uint8), families=["9h9"])


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"thresholds_px": (3, 8)}, "thresholds_px: must be odd and evenly spaced"),
        ({"thresholds_px": (3, 5, 9)}, "thresholds_px: must be odd and evenly spaced"),
        ({"least_edge_px": 0.0}, "least_edge_px: must be greater than 0"),
        ({"correction_share": 2.0}, "correction_share: must be between 0 and 1"),
    ],
)
def test_settings_that_are_refused(given: dict, message: str) -> None:
    with pytest.raises(InputError, match=message):
        DetectorSettings(**given)
