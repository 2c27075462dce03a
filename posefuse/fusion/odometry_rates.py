"""Velocity and acceleration of the robot at each capture, from its odometry alone."""

from typing import NamedTuple

import numpy as np

from posefuse.checks import FloatArray
from posefuse.recording.recording import Frames, Odometry

__all__ = ["CaptureRates", "rates_at_captures"]

_HALF_WINDOW_S = 0.08
"""Velocities this near to a capture are taken for a straight line: shorter lets more of the
encoders' noise through, longer rounds off what the robot does (0.16 to 0.3 m/s^2 off, RMS)."""


class CaptureRates(NamedTuple):
    """The robot's motion at each capture.

    Parameters
    ----------
    velocities : (frames, 3) array
        Along the robot's own axes: forward, left (m/s), turn (rad/s).
    accelerations : (frames, 2) array
        Forward, left (m/s^2), of the robot over the floor.
    acceleration_stds : (frames,) array
        Spread of these; infinite where too few rows say anything.
    """

    velocities: FloatArray
    accelerations: FloatArray
    acceleration_stds: FloatArray


def rates_at_captures(odometry: Odometry, frames: Frames) -> CaptureRates:
    """Straight lines through the wheels' velocities around each capture, by least squares.

    Rows after a frame's arrival are left out: the filter could not have known them. The spread of
    the slope is that of the residuals of all lines together.
    """
    stamps, steps_s = odometry.stamps_s, np.diff(odometry.stamps_s)
    velocity = odometry.twists[1:] / steps_s[:, None]
    middle_s = stamps[1:] - steps_s / 2.0
    captured = frames.captured_at_s
    row = np.clip(np.searchsorted(stamps, captured, side="left"), 1, len(stamps) - 1)
    until = np.minimum(captured + _HALF_WINDOW_S, frames.arrived_at_s)
    first = np.searchsorted(middle_s, captured - _HALF_WINDOW_S)
    last = np.maximum(np.searchsorted(middle_s, until), first)
    clock_s = middle_s - middle_s[0]

    def sums(values: FloatArray) -> FloatArray:
        total = np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])
        return np.asarray(total[last] - total[first])

    count = np.maximum(last - first, 1)
    mean_s, mean = sums(clock_s) / count, sums(velocity) / count[:, None]
    spread_s2 = sums(clock_s**2) - count * mean_s**2
    is_line = (last - first >= 3) & (spread_s2 > 0.0)
    spread_s2 = np.where(is_line, spread_s2, np.inf)
    together = sums(clock_s[:, None] * velocity) - (count * mean_s)[:, None] * mean
    slope = together / spread_s2[:, None]
    left_over = sums(velocity**2) - count[:, None] * mean**2 - slope * together
    # the robot's axes turn, too
    accelerations = slope[:, :2] + mean[:, 2:] * np.stack([-mean[:, 1], mean[:, 0]], axis=-1)
    freedoms = 2.0 * (count - 2)[is_line].sum()
    variance = left_over[is_line, :2].sum() / freedoms if freedoms else np.inf
    stds = np.sqrt(np.maximum(variance, 0.0) / np.where(is_line, spread_s2, 1.0))
    return CaptureRates(
        velocities=velocity[row - 1],
        accelerations=np.where(is_line[:, None], accelerations, 0.0),
        acceleration_stds=np.where(is_line, stds, np.inf),
    )
