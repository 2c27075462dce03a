"""The chassis leans the way passengers do."""

import numpy as np
import pytest

from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.motion.lean import lean_angles_rad


def body_axes(acceleration, heading_rad: float) -> np.ndarray:
    """Columns: the robot's x, y and z axes in the world."""
    lean = lean_angles_rad(acceleration, heading_rad=heading_rad, lean_rad_per_m_per_s2=0.01)
    pose = SpacePose.from_plane(PlanePose([0.0, 0.0, heading_rad]), lean_rad=lean)
    return pose.rotation


@pytest.mark.parametrize("heading_rad", [0.0, 0.7, 3.0, -2.2])
def test_nose_up_when_it_speeds_up_and_left_side_up_in_a_left_bend(heading_rad) -> None:
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    speeding_up = body_axes([2.0 * c, 2.0 * s], heading_rad)
    assert speeding_up[2, 0] == pytest.approx(np.sin(0.02))  # the nose points up
    assert speeding_up[2, 1] == pytest.approx(0.0, abs=1e-12)
    left_bend = body_axes([-3.0 * s, 3.0 * c], heading_rad)
    assert left_bend[2, 1] == pytest.approx(np.sin(0.03))  # the left side rises
    assert left_bend[2, 0] == pytest.approx(0.0, abs=1e-12)


def test_the_top_stays_behind() -> None:
    """A mast leans away from the acceleration, whichever way the robot faces."""
    acceleration = np.array([1.5, -2.0])
    for heading_rad in np.linspace(-4.0, 4.0, 9):
        up = body_axes(acceleration, heading_rad)[:, 2]
        np.testing.assert_allclose(up[:2], -0.01 * acceleration, atol=3e-5)


def test_many_instants_at_once() -> None:
    lean = lean_angles_rad(np.ones((5, 2)), heading_rad=np.zeros(5), lean_rad_per_m_per_s2=0.1)
    np.testing.assert_allclose(lean, np.tile([0.1, -0.1], (5, 1)))
