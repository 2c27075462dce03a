"""A lens from corners that are known up to white noise, and sets that do not determine one."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from posefuse.calibration.lens import calibrate_lens, named_numbers
from posefuse.calibration.views import BoardSurvey, BoardView
from posefuse.errors import InputError
from posefuse.geometry.space import SpacePose
from rendered_board import (
    CHARUCO,
    KnownCamera,
    known_camera,
    noisy_view,
    random_lens,
    survey_of,
    varied_poses,
)

NOISE_PX = 0.05


@pytest.fixture(scope="module")
def camera() -> KnownCamera:
    return known_camera(random_lens(np.random.default_rng(21)), samples=1)


@pytest.fixture(scope="module")
def poses(camera: KnownCamera) -> Sequence[SpacePose]:
    return list(varied_poses(camera, CHARUCO, count=15, rng=np.random.default_rng(22)))


@pytest.fixture(scope="module")
def survey(camera: KnownCamera, poses: Sequence[SpacePose]) -> BoardSurvey:
    return _survey(camera, poses, std_px=NOISE_PX)


def _survey(camera: KnownCamera, poses: Sequence[SpacePose], *, std_px: float) -> BoardSurvey:
    rng = np.random.default_rng(23)
    return survey_of(
        camera,
        (
            noisy_view(camera, CHARUCO, pose, name=f"{index}.png", std_px=std_px, rng=rng)
            for index, pose in enumerate(poses)
        ),
    )


def test_corners_without_noise_return_the_lens_and_the_poses(
    camera: KnownCamera, poses: Sequence[SpacePose]
) -> None:
    """To what single precision, which OpenCV keeps corners in, lets through."""
    found = calibrate_lens(_survey(camera, poses, std_px=0.0), CHARUCO)
    assert found.rms_px < 1e-4
    np.testing.assert_allclose(found.lens.focal_px, camera.lens.focal_px, atol=2e-3)
    np.testing.assert_allclose(found.lens.centre_px, camera.lens.centre_px, atol=2e-3)
    np.testing.assert_allclose(found.lens.distortion, camera.lens.distortion, atol=2e-4)
    for view, pose in zip(found.views, poses, strict=True):
        np.testing.assert_allclose(view.camera_from_board.matrix, pose.matrix, atol=1e-5)


def test_what_is_left_over_is_the_noise(survey: BoardSurvey) -> None:
    """Of 2 n numbers with a spread, p parameters leave (2 n - p) shares of its square."""
    found = calibrate_lens(survey, CHARUCO)
    corners = sum(len(view.residuals_px) for view in found.views)
    parameters = 9 + 6 * len(found.views)
    expected = NOISE_PX * np.sqrt(2.0 * (1.0 - parameters / (2.0 * corners)))
    assert found.rms_px == pytest.approx(expected, rel=0.08)
    per_view = [view.rms_px**2 * len(view.residuals_px) for view in found.views]
    assert found.rms_px == pytest.approx(np.sqrt(sum(per_view) / corners))
    assert found.odd_views == ()


@pytest.mark.parametrize("terms", [4, 5, 8])
def test_only_the_terms_asked_for_are_free(survey: BoardSurvey, terms: int) -> None:
    found = calibrate_lens(survey, CHARUCO, terms=terms)
    assert (found.distortion_std[:terms] > 0.0).all()
    assert not found.distortion_std[terms:].any()
    assert not found.lens.distortion[terms:].any()
    names = [number.name for number in named_numbers(found)]
    assert names[:5] == ["fx (px)", "fy (px)", "cx (px)", "cy (px)", "k1"]
    assert len(names) == 4 + terms


def test_a_view_that_does_not_fit_is_named(survey: BoardSurvey) -> None:
    rng = np.random.default_rng(24)
    odd = survey.views[3]
    moved = odd.corners_px + rng.normal(0.0, 1.2, odd.corners_px.shape)
    views = [
        BoardView(name=odd.name, corner_ids=odd.corner_ids, corners_px=moved)
        if view is odd
        else view
        for view in survey.views
    ]
    found = calibrate_lens(replace(survey, views=tuple(views)), CHARUCO)
    assert [view.view.name for view in found.odd_views] == ["3.png"]


def test_the_board_must_be_in_most_pictures(survey: BoardSurvey) -> None:
    absent = tuple((f"z{index}.png", "no marker is seen") for index in range(16))
    with pytest.raises(InputError) as caught:
        calibrate_lens(replace(survey, absent=absent), CHARUCO)
    assert str(caught.value).split("\n") == [
        "the board was found in 15 of 31 pictures: is the board file the right one?",
        f"no marker is seen: {', '.join(f'z{index}.png' for index in range(12))} and 4 more",
    ]
    with pytest.raises(InputError, match="the board was found in none of 16 pictures"):
        calibrate_lens(replace(survey, views=(), absent=absent), CHARUCO)
    calibrate_lens(replace(survey, absent=absent[:15]), CHARUCO)


def test_a_board_of_other_proportions_is_refused(survey: BoardSurvey) -> None:
    narrower = replace(CHARUCO, squares_across=9, markers=None)
    with pytest.raises(
        InputError, match=r"the corners do not lie as on this board, .* px rms are left"
    ):
        calibrate_lens(survey, narrower)


def test_a_focal_length_known_too_poorly_is_refused(
    camera: KnownCamera, poses: Sequence[SpacePose]
) -> None:
    with pytest.raises(InputError, match=r"the focal length is known to \d\.\d% only"):
        calibrate_lens(_survey(camera, poses[:10], std_px=1.0), CHARUCO)


def test_what_is_missing_is_reported(survey: BoardSurvey) -> None:
    with pytest.raises(InputError, match="take more pictures: 10 different views"):
        calibrate_lens(replace(survey, views=survey.views[:4]), CHARUCO)
