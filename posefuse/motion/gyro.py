"""The turn between odometry rows as a rate gyro reads it."""

import numpy as np

from posefuse.checks import FloatArray
from posefuse.randomness.streams import normals
from posefuse.robot.drivetrain import Gyro

__all__ = ["gyro_turns"]


def gyro_turns(
    turns_rad: FloatArray,
    steps_s: FloatArray,
    gyro: Gyro,
    *,
    bias_rad_per_s: float,
    scale_fraction: float,
    seed: int,
    trial: int,
) -> FloatArray:
    """Measured turns (rows,) for the true turns (rows,) over the steps (rows,).

    Parameters
    ----------
    bias_rad_per_s, scale_fraction
        This build's, which ``gyro`` gives the spreads of; drift and noise are drawn.
    """
    root_s = np.sqrt(steps_s)
    measured = turns_rad * (1.0 + scale_fraction) + bias_rad_per_s * steps_s
    if gyro.drift_rad_per_s_per_sqrt_s:
        drawn = normals(seed, trial, "gyro drift", len(turns_rad))
        walk = np.cumsum(gyro.drift_rad_per_s_per_sqrt_s * root_s * drawn)
        measured += (np.concatenate([[0.0], walk[:-1]]) + walk) / 2.0 * steps_s
    if gyro.noise_rad_per_sqrt_s:
        drawn = normals(seed, trial, "gyro noise", len(turns_rad))
        measured += gyro.noise_rad_per_sqrt_s * root_s * drawn
    return measured
