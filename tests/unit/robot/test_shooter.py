"""The shooter's own checks and its swinging release."""

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.robot import Drag, Projectile, Shooter, ShooterSpread


def shooter(**changes):
    given = {
        "release_in_robot_m": np.array([0.3, 0.1, 0.6]),
        "exit_speed_m_per_s": 9.0,
        "pivot_low_rad": 0.2,
        "pivot_high_rad": 1.2,
    }
    return Shooter(**(given | changes))


def test_a_release_without_an_axis_stays_in_its_place():
    assert shooter().release_at([0.2, 1.2]) == pytest.approx(np.array([[0.3, 0.1, 0.6]] * 2))


def test_a_release_with_an_axis_swings_about_it():
    swung = shooter(axis_in_robot_m=np.array([0.1, 0.4]))
    pivots = np.array([0.0, 0.4, 0.9])
    places = swung.release_at(pivots)
    assert places[0] == pytest.approx([0.3, 0.1, 0.6])
    arms = places[:, [0, 2]] - [0.1, 0.4]
    assert np.hypot(*arms.T) == pytest.approx(np.hypot(0.2, 0.2))
    assert np.unwrap(np.arctan2(arms[:, 1], arms[:, 0])) == pytest.approx(np.pi / 4 + pivots)
    assert (places[:, 1] == 0.1).all()


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda: ShooterSpread(side_std_rad=-0.1), "shooter: side_std_rad: must be 0 or more"),
        (lambda: ShooterSpread(backlash_rad=-1e-9), "backlash_rad: must be 0 or more"),
        (lambda: Projectile(mass_kg=0.0, diameter_m=0.1), "mass_kg: must be greater than 0"),
        (
            lambda: Projectile(mass_kg=0.1, diameter_m=0.1, drag=Drag.CONSTANT),
            "drag_coefficient: must be given with constant drag (drag is constant)",
        ),
        (
            lambda: Projectile(mass_kg=0.1, diameter_m=0.1, drag_coefficient=0.4),
            "drag_coefficient: is given only with constant drag (drag is sphere)",
        ),
        (lambda: shooter(release_delay_std_s=-0.1), "release_delay_std_s: must be 0 or more"),
        (lambda: shooter(altitude_m=20000.0), "altitude_m: must be between -500 and 11000"),
        (lambda: shooter(air_density_kg_per_m3=-1.0), "air_density_kg_per_m3: must be 0 or more"),
        (lambda: shooter(spin_rad_per_s=np.inf), "spin_rad_per_s: must be a finite number"),
    ],
)
def test_bad_values_are_told_in_one_line(make, told):
    with pytest.raises(InputError) as caught:
        make()
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)
