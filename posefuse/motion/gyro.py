"""The turn between odometry rows as a rate gyro measures it."""

import numpy as np

from posefuse.checks import FloatArray
from posefuse.randomness.streams import normals, stream
from posefuse.robot.drivetrain import Gyro

__all__ = ["gyro_turns"]


def gyro_turns(
    turns_rad: FloatArray, steps_s: FloatArray, gyro: Gyro, *, seed: int, trial: int
) -> FloatArray:
    """Measured turns (rows,) for the true turns (rows,) over the steps (rows,)."""
    root_s = np.sqrt(steps_s)
    scale = gyro.scale_fraction * stream(seed, trial, "gyro scale").standard_normal()
    bias = gyro.bias_rad_per_s * stream(seed, trial, "gyro bias").standard_normal()
    measured = turns_rad * (1.0 + scale) + bias * steps_s
    if gyro.drift_rad_per_s_per_sqrt_s:
        drawn = normals(seed, trial, "gyro drift", len(turns_rad))
        walk = np.cumsum(gyro.drift_rad_per_s_per_sqrt_s * root_s * drawn)
        measured += (np.concatenate([[0.0], walk[:-1]]) + walk) / 2.0 * steps_s
    if gyro.noise_rad_per_sqrt_s:
        drawn = normals(seed, trial, "gyro noise", len(turns_rad))
        measured += gyro.noise_rad_per_sqrt_s * root_s * drawn
    return measured
