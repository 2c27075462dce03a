"""One frame at a time: solutions, covariances and what is refused."""

import math

import numpy as np
import pytest

from posefuse.errors import DegenerateView, InputError
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.solving.single import fix_from_corners, fix_from_tags

POSE = PlanePose([2.5, 1.8, 0.1])


def test_one_tag_gives_the_pose_and_its_mirror(camera, mounts, tags, look):
    fix = fix_from_corners(look(POSE, 0, tags[2]), tag=tags[2], camera=camera)
    world_from_robot = (
        tags[2].world_from_tag @ fix.best.inverse() @ mounts[0].robot_from_camera.inverse()
    )
    np.testing.assert_allclose(
        world_from_robot.matrix, SpacePose.from_plane(POSE).matrix, atol=1e-5
    )
    assert fix.camera_from_tag.matrix.shape == (2, 4, 4)
    assert fix.rms_px[0] < 1e-4 < fix.rms_px[1]
    assert fix.ratio > 100.0


def test_a_head_on_tag_has_one_solution(camera, tags):
    h = 40.0
    corners = np.array([[-h, -h], [h, -h], [h, h], [-h, h]]) + camera.lens.centre_px
    fix = fix_from_corners(corners, tag=tags[0], camera=camera)
    assert fix.rms_px.shape == (1,)
    assert fix.ratio == math.inf
    np.testing.assert_allclose(fix.best.rotation, np.diag([1.0, -1.0, -1.0]), atol=1e-3)
    expected = camera.lens.focal_px[0] * tags[0].edge_m / (2.0 * h)
    np.testing.assert_allclose(fix.best.translation_m, [0.0, 0.0, expected], atol=1e-6)


def test_covariance_grows_with_the_square_of_the_spread(camera, tags, look):
    fix = fix_from_corners(look(POSE, 0, tags[2]), tag=tags[2], camera=camera)
    np.testing.assert_allclose(fix.covs(0.5), 0.25 * fix.unit_covs)
    assert (np.linalg.eigvalsh(fix.unit_covs) > 0.0).all()
    joint = fix_from_tags([look(POSE, 0, tag) for tag in tags[:3]], tags=tags[:3], camera=camera)
    np.testing.assert_allclose(joint.cov(2.0), 4.0 * joint.unit_cov)


def test_many_tags_give_the_camera_in_the_world(camera, mounts, tags, look):
    fix = fix_from_tags([look(POSE, 0, tag) for tag in tags[:3]], tags=tags[:3], camera=camera)
    world_from_robot = fix.world_from_camera @ mounts[0].robot_from_camera.inverse()
    np.testing.assert_allclose(
        world_from_robot.matrix, SpacePose.from_plane(POSE).matrix, atol=1e-6
    )
    assert fix.rms_px < 1e-5


@pytest.mark.parametrize(
    ("corners_px", "area"),
    [
        ([[0, 0], [40, 0], [40, 0.02], [0, 0.02]], "0.8"),
        ([[40, 0], [0, 0], [0, 40], [40, 40]], "-1.6e+03"),
        ([[0, 0], [40, 0], [10, 10], [0, 40]], "400"),
    ],
)
def test_a_degenerate_view_is_refused_with_its_area(camera, tags, corners_px, area):
    with pytest.raises(DegenerateView) as refused:
        fix_from_corners(corners_px, tag=tags[3], camera=camera)
    assert str(refused.value) == (
        "tag 3: corners must enclose a convex area of at least 4 px^2, clockwise from the top left"
        f" (got {area} px^2)"
    )
    with pytest.raises(DegenerateView, match="tag 3: corners must enclose"):
        fix_from_tags([corners_px], tags=[tags[3]], camera=camera)


def test_bad_input_is_refused(camera, tags):
    with pytest.raises(InputError, match="corners_px: shape"):
        fix_from_corners(np.zeros((3, 2)), tag=tags[0], camera=camera)
    with pytest.raises(InputError, match="not finite"):
        fix_from_corners(np.full((4, 2), np.nan), tag=tags[0], camera=camera)
    with pytest.raises(InputError, match="at least one"):
        fix_from_tags([], tags=[], camera=camera)
    with pytest.raises(InputError, match=r"shape \(1, 4, 2\) given, \(2, 4, 2\) wanted"):
        fix_from_tags(np.zeros((1, 4, 2)), tags=tags[:2], camera=camera)
