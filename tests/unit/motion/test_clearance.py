"""Rectangles that touch, against a linear program that looks for a point in both."""

import numpy as np
import pytest
from scipy.optimize import linprog

from posefuse.geometry.plane import PlanePose
from posefuse.motion.clearance import leaves_floor, touches_box

OUTLINE = np.array([[0.5, 0.3], [-0.5, 0.3], [-0.5, -0.3], [0.5, -0.3]])
BOX = {"box_xy_m": np.array([2.0, 1.0]), "box_size_m": np.array([0.8, 0.2, 9.0])}


def half_planes(pose: np.ndarray, half: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A, b of the rectangle's inside A p <= b."""
    c, s = np.cos(pose[2]), np.sin(pose[2])
    normals = np.array([[c, s], [-c, -s], [-s, c], [s, -c]])
    return normals, normals @ pose[:2] + np.repeat(half, 2)


def have_a_common_point(pose: np.ndarray, box_heading_rad: float) -> bool:
    """Feasibility by scipy's linear program."""
    one = half_planes(pose, np.array([0.5, 0.3]))
    other = half_planes(np.array([2.0, 1.0, box_heading_rad]), np.array([0.4, 0.1]))
    found = linprog(
        np.zeros(2),
        A_ub=np.concatenate([one[0], other[0]]),
        b_ub=np.concatenate([one[1], other[1]]),
        bounds=(None, None),
    )
    return found.status == 0


def test_touching_agrees_with_a_linear_program() -> None:
    rng = np.random.default_rng(2)
    for box_heading in (0.0, 0.6):
        poses = np.column_stack(
            [rng.uniform(0.8, 3.2, 150), rng.uniform(0.0, 2.0, 150), rng.uniform(-4, 4, 150)]
        )
        touching = touches_box(OUTLINE, PlanePose(poses), box_heading_rad=box_heading, **BOX)
        expected = [have_a_common_point(pose, box_heading) for pose in poses]
        np.testing.assert_array_equal(touching, expected)
        assert 20 < touching.sum() < 130


def test_a_moving_box() -> None:
    poses = PlanePose(np.zeros((3, 3)))
    boxes = np.array([[3.0, 0.0], [0.85, 0.0], [0.0, 0.41]])
    size = np.array([0.8, 0.2, 1.0])
    touching = touches_box(OUTLINE, poses, box_xy_m=boxes, box_size_m=size, box_heading_rad=0.0)
    np.testing.assert_array_equal(touching, [False, True, False])


@pytest.mark.parametrize(
    ("pose", "off"),
    [
        ([0.5, 0.3, 0.0], False),
        ([0.49, 0.3, 0.0], True),
        ([0.5, 0.3, 0.01], True),
        ([3.5, 1.7, np.pi], False),
        ([3.5, 1.71, np.pi], True),
    ],
)
def test_leaving_a_floor_of_four_by_two(pose, off) -> None:
    assert leaves_floor(OUTLINE, PlanePose([pose]), length_m=4.0, width_m=2.0)[0] == off
