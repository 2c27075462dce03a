"""Velocity and acceleration at captures, from the wheels alone."""

import numpy as np
import pytest

from posefuse.fusion.odometry_rates import rates_at_captures
from posefuse.geometry.plane import PlanePose, arc_twist
from posefuse.recording.recording import Frames, Odometry

DT = 0.02
STAMPS = DT * np.arange(101)


def odometry_of(poses: np.ndarray) -> Odometry:
    """Twists from pose to pose, (rows, 3)."""
    twists = np.zeros_like(poses)
    twists[1:] = arc_twist(PlanePose(poses[:-1]).inverse() @ PlanePose(poses[1:]))
    return Odometry(stamps_s=STAMPS, twists=twists)


def frames_at(*captured_s: float, latency_s: float = 0.5) -> Frames:
    captured = np.array(captured_s)
    return Frames(
        sensor=np.zeros(len(captured), np.int64),
        captured_at_s=captured,
        arrived_at_s=captured + latency_s,
    )


def test_speeding_up_straight_ahead() -> None:
    """1.5 m/s^2 from rest: the velocity at 1 s is 1.5 m/s, a row earlier on average."""
    zero = np.zeros_like(STAMPS)
    rates = rates_at_captures(
        odometry_of(np.stack([0.75 * STAMPS**2, zero, zero], axis=-1)), frames_at(1.0, 1.31)
    )
    np.testing.assert_allclose(rates.accelerations, [[1.5, 0.0], [1.5, 0.0]], atol=1e-9)
    np.testing.assert_allclose(rates.velocities[0], [1.5 * 0.99, 0.0, 0.0], atol=1e-9)
    np.testing.assert_allclose(rates.acceleration_stds, 0.0, atol=1e-6)


def test_a_bend_pulls_inward() -> None:
    """A circle of 2 m to the left at 3 m/s: v^2 / r = 4.5 m/s^2 to the left."""
    angle = 1.5 * STAMPS
    poses = np.stack([2.0 * np.sin(angle), 2.0 - 2.0 * np.cos(angle), angle], axis=-1)
    rates = rates_at_captures(odometry_of(poses), frames_at(0.5, 1.5))
    np.testing.assert_allclose(rates.accelerations, [[0.0, 4.5]] * 2, atol=1e-9)
    np.testing.assert_allclose(rates.velocities, [[3.0, 0.0, 1.5]] * 2, atol=1e-9)


def test_rows_after_the_arrival_are_not_used() -> None:
    """The robot brakes hard 20 ms after the capture; the frame arrives before that shows."""
    x = np.where(STAMPS < 1.02, 2.0 * STAMPS, 2.04)
    zero = np.zeros_like(STAMPS)
    driven = odometry_of(np.stack([x, zero, zero], axis=-1))
    soon = rates_at_captures(driven, frames_at(1.0, latency_s=0.015))
    late = rates_at_captures(driven, frames_at(1.0, latency_s=0.2))
    assert soon.accelerations[0, 0] == pytest.approx(0.0, abs=1e-9)
    assert late.accelerations[0, 0] < -5.0


def test_the_spread_is_that_of_a_straight_line_s_slope() -> None:
    """Eight velocities of spread s at steps of dt: s / (dt sqrt(42)), by least squares."""
    generator = np.random.default_rng(5)
    twists = np.zeros((101, 3))
    twists[1:, :2] = DT * (1.0 + 0.1 * generator.normal(size=(100, 2)))
    captures = np.arange(0.2, 1.8, 0.02)
    rates = rates_at_captures(Odometry(stamps_s=STAMPS, twists=twists), frames_at(*captures))
    expected = 0.1 / (DT * np.sqrt(42.0))
    np.testing.assert_allclose(rates.acceleration_stds, expected, rtol=0.15)
    assert np.std(rates.accelerations) == pytest.approx(expected, rel=0.35)


def test_a_capture_without_rows_around_it_is_unknown() -> None:
    rates = rates_at_captures(
        odometry_of(np.zeros((101, 3))), frames_at(-5.0, 0.001, latency_s=0.0)
    )
    assert np.isinf(rates.acceleration_stds).all()
    np.testing.assert_array_equal(rates.accelerations, 0.0)
