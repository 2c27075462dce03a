"""The time law on shapes that press it: sharp bends, S bends, hairpins."""

import numpy as np
import pytest

from posefuse.motion.curve import curve_through
from posefuse.motion.path import TruePath
from posefuse.motion.profile import PERIOD_S, drive_curve
from posefuse.motion.waypoints import MotionLimits

LIMITS = MotionLimits(
    speed_m_per_s=4.0,
    acceleration_m_per_s2=3.5,
    turn_rate_rad_per_s=6.0,
    turn_acceleration_rad_per_s2=4.0,  # low, so that it binds
)
SHAPES = {
    "triangle": [(0, 0), (4, 0), (2, 3), (0, 0), (4, 0)],
    "zigzag": [(0, 0), (3, 0), (2, 1.2), (4, 2)],
    "hairpin": [(0, 0), (3, 0), (3.4, 0.6), (2, 1.5)],
    "right angle": [(0, 0), (4, 0), (4, 4)],
    "S": [(0, 0), (2, 0), (2.5, 1), (4.5, 1)],
    "U": [(0, 0), (4, 0), (4, 0.5), (0, 0.5)],
}


def driven(shape: str, *, faces_path: bool) -> TruePath:
    places = np.array(SHAPES[shape], dtype=np.float64)
    headings = None if faces_path else np.linspace(0.0, 9.0, len(places))
    poses = drive_curve(curve_through(places, headings), LIMITS).poses
    return TruePath.through(PERIOD_S * np.arange(len(poses)), poses)


@pytest.mark.parametrize("faces_path", [True, False])
@pytest.mark.parametrize("shape", SHAPES)
def test_limits_hold_between_the_samples_too(shape, faces_path) -> None:
    path = driven(shape, faces_path=faces_path)
    t = np.linspace(path.start_s, path.end_s, int(7.3 * path.end_s / PERIOD_S))
    v, a = path.velocities(t), path.accelerations(t)
    assert np.hypot(v[:, 0], v[:, 1]).max() <= LIMITS.speed_m_per_s
    assert np.hypot(a[:, 0], a[:, 1]).max() <= LIMITS.acceleration_m_per_s2
    assert np.abs(v[:, 2]).max() <= LIMITS.turn_rate_rad_per_s
    assert np.abs(a[:, 2]).max() <= LIMITS.turn_acceleration_rad_per_s2
    used = [
        np.hypot(a[:, 0], a[:, 1]) / LIMITS.acceleration_m_per_s2,
        np.abs(a[:, 2]) / LIMITS.turn_acceleration_rad_per_s2,
        np.hypot(v[:, 0], v[:, 1]) / LIMITS.speed_m_per_s,
    ]
    assert np.mean(np.max(used, axis=0)) > 0.6  # and it does not dawdle


@pytest.mark.parametrize("shape", SHAPES)
def test_accelerations_do_not_jump(shape) -> None:
    """From one sample to the next, a hundredth of a second: a fifth of the limit at most."""
    path = driven(shape, faces_path=True)
    steps = np.diff(path.accelerations(np.arange(0.0, path.end_s, PERIOD_S)), axis=0)
    assert np.hypot(steps[:, 0], steps[:, 1]).max() < LIMITS.acceleration_m_per_s2 / 5.0
    assert np.abs(steps[:, 2]).max() < LIMITS.turn_acceleration_rad_per_s2 / 5.0


def test_starts_and_ends_at_rest() -> None:
    path = driven("S", faces_path=True)
    for t in (path.start_s, path.end_s):
        np.testing.assert_allclose(path.velocities(t), 0.0, atol=1e-4)
        np.testing.assert_allclose(path.accelerations(t), 0.0, atol=1e-9)


def test_waypoints_are_passed_when_told() -> None:
    places = np.array(SHAPES["S"], dtype=np.float64)
    drive = drive_curve(curve_through(places, np.linspace(0.0, 9.0, 4)), LIMITS)
    path = TruePath.through(PERIOD_S * np.arange(len(drive.poses)), drive.poses)
    pose = path.poses(drive.passed_s).values
    np.testing.assert_allclose(pose[:, :2], places, atol=3e-3)
    np.testing.assert_allclose(pose[:, 2], np.linspace(0.0, 9.0, 4), atol=1e-3)
    assert drive.passed_s[-1] == drive.duration_s
