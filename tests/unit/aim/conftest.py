"""A foam ball, the shooter that throws it, and the crate it is thrown into."""

from dataclasses import replace

import numpy as np
import pytest

from posefuse.arena.arena import Goal
from posefuse.robot.shooter import Projectile, Shooter, ShooterSpread

BALL = Projectile(mass_kg=0.06, diameter_m=0.10, lift_per_spin_ratio=1.0)


@pytest.fixture
def goal():
    return Goal(
        name="crate",
        centre_in_world_m=np.array([12.7, 3.3, 1.6]),
        width_m=1.2,
        height_m=0.6,
        facing_rad=np.pi,
    )


@pytest.fixture
def exact_shooter():
    """Throws exactly as set, through air and with backspin."""
    return Shooter(
        release_in_robot_m=np.array([0.15, 0.0, 0.60]),
        exit_speed_m_per_s=9.5,
        pivot_low_rad=np.radians(15.0),
        pivot_high_rad=np.radians(75.0),
        projectile=BALL,
        spin_rad_per_s=30.0,
    )


@pytest.fixture
def shooter(exact_shooter):
    """The same with a spread of everything."""
    return replace(
        exact_shooter,
        spread=ShooterSpread(
            backlash_rad=np.radians(0.6),
            resolution_rad=np.radians(0.3),
            zero_std_rad=np.radians(0.3),
            exit_speed_std_m_per_s=0.15,
            side_std_rad=np.radians(0.6),
        ),
        release_delay_s=0.08,
        release_delay_std_s=0.01,
    )
