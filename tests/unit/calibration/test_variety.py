"""What is missing is named exactly."""

from collections.abc import Callable

import numpy as np
import pytest

from posefuse.calibration.variety import cell_counts, shortcomings, tilts_rad
from posefuse.calibration.views import BoardView
from posefuse.geometry.space import SpacePose
from rendered_board import (
    CHARUCO,
    KnownCamera,
    known_camera,
    noisy_view,
    random_lens,
    varied_poses,
)

SIZE_PX = (640, 400)


@pytest.fixture(scope="module")
def camera() -> KnownCamera:
    return known_camera(random_lens(np.random.default_rng(11)), samples=1)


def _views(camera: KnownCamera, poses: list[SpacePose]) -> list[BoardView]:
    rng = np.random.default_rng(12)
    return [
        noisy_view(camera, CHARUCO, pose, name=f"{index}.png", std_px=0.05, rng=rng)
        for index, pose in enumerate(poses)
    ]


def _varied(camera: KnownCamera) -> list[SpacePose]:
    rng = np.random.default_rng(13)
    return list(varied_poses(camera, CHARUCO, count=18, rng=rng))


def _kept(view: BoardView, keep: Callable[[np.ndarray], np.ndarray]) -> BoardView:
    chosen = keep(view.corners_px)
    return BoardView(
        name=view.name, corner_ids=view.corner_ids[chosen], corners_px=view.corners_px[chosen]
    )


def _missing(views: list[BoardView]) -> list[str]:
    return shortcomings(views, CHARUCO, size_px=SIZE_PX)


def test_a_careful_set_lacks_nothing(camera: KnownCamera) -> None:
    assert _missing(_views(camera, _varied(camera))) == []


def test_signs_of_the_tilts() -> None:
    """A turn about the image's y axis that brings the right side nearer, about x the lower one."""
    for axis, side in ((0, 0), (1, 1)):
        normal = np.array([0.0, 0.0, np.cos(0.5)])
        normal[side] = np.sin(0.5)
        across = np.cross(normal, [0.0, 1.0, 0.0]) if side == 0 else np.array([1.0, 0.0, 0.0])
        across = -across if across[0] < 0 else across
        down = np.cross(normal, across)
        pose = SpacePose.from_parts(np.stack([across, down, normal], axis=-1), [0.0, 0.0, 1.0])
        assert tilts_rad(pose) == pytest.approx([0.5, 0.0] if axis == 0 else [0.0, 0.5])
        edge = pose.transform([0.1, 0.0, 0.0] if side == 0 else [0.0, 0.1, 0.0])
        assert edge[2] < 1.0


def test_too_few_views(camera: KnownCamera) -> None:
    views = _views(camera, _varied(camera))
    assert _missing(views[:9]) == [
        "take more pictures: 10 different views of the board are needed, there are 9"
    ]


def test_views_that_repeat_are_one(camera: KnownCamera) -> None:
    first = _varied(camera)[0]
    lines = _missing(_views(camera, [first] * 12))
    assert lines[0] == (
        "take more pictures: 10 different views of the board are needed, there is 1 "
        "(11 more repeat one of them)"
    )


def test_a_board_never_tilted(camera: KnownCamera) -> None:
    flat = [
        SpacePose.from_parts(np.eye(3), pose.transform([0.136, 0.085, 0.0]) - [0.136, 0.085, 0.0])
        for pose in _varied(camera)
    ]
    lines = _missing(_views(camera, flat))
    assert lines[:2] == [
        "tilt the board: no view is tilted more than 20 degrees about the vertical axis, 2 are "
        "needed: bring its left or right side nearer to the camera",
        "tilt the board: no view is tilted more than 20 degrees about the horizontal axis, 2 are "
        "needed: bring its upper or lower side nearer to the camera",
    ]


def test_a_board_tilted_about_one_axis_only(camera: KnownCamera) -> None:
    poses = [pose for pose in _varied(camera) if np.degrees(np.abs(tilts_rad(pose)[0])) < 20.0]
    lines = _missing(_views(camera, poses))
    assert [line for line in lines if "tilt" in line] == [
        "tilt the board: no view is tilted more than 20 degrees about the vertical axis, 2 are "
        "needed: bring its left or right side nearer to the camera",
    ]


def test_a_third_never_covered(camera: KnownCamera) -> None:
    views = [_kept(view, lambda px: px[:, 0] < 420.0) for view in _views(camera, _varied(camera))]
    assert [line for line in _missing(views) if "third" in line or "edge" in line] == [
        "show the board in the right third of the image: too few of its corners were there"
    ]


def test_a_ninth_never_covered_and_an_edge_not_reached(camera: KnownCamera) -> None:
    views = [
        _kept(view, lambda px: ~((px[:, 0] > 400.0) & (px[:, 1] > 250.0)))
        for view in _views(camera, _varied(camera))
    ]
    assert (
        "show the board in the lower right ninth of the image: too few of its corners were there"
        in (_missing(views))
    )
    views = [_kept(view, lambda px: px[:, 1] > 75.0) for view in _views(camera, _varied(camera))]
    assert len(_missing(views)) == 1
    assert _missing(views)[0].startswith(
        "bring the board nearer to the upper edge of the image: no corner came within 60 px of it "
        "(nearest: 7"
    )


def test_cells_count_every_corner(camera: KnownCamera) -> None:
    corners = np.array([[-0.5, -0.5], [639.4, 399.4], [320.0, 200.0], [321.0, 200.0]])
    view = BoardView(name="a", corner_ids=np.arange(4), corners_px=corners)
    assert cell_counts([view], size_px=SIZE_PX).tolist() == [[1, 0, 0], [0, 2, 0], [0, 0, 1]]


def test_no_view_at_all() -> None:
    assert _missing([]) == [
        "take more pictures: 10 different views of the board are needed, there are 0"
    ]
