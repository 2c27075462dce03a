"""The shooter's own checks and its swinging release."""

import math

import numpy as np
import pytest

from posefuse.errors import FileError, InputError
from posefuse.robot.load import load_robot
from posefuse.robot.shooter import Drag, Projectile, Shooter, ShooterSpread


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
    ("make", "message"),
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
        (
            lambda: shooter(exit_speed_m_per_s=400.0),
            "exit_speed_m_per_s: must be between 0 and 100",
        ),
        (lambda: shooter(altitude_m=20000.0), "altitude_m: must be between -500 and 11000"),
        (lambda: shooter(air_density_kg_per_m3=-1.0), "air_density_kg_per_m3: must be 0 or more"),
        (lambda: shooter(spin_rad_per_s=np.inf), "spin_rad_per_s: must be a finite number"),
    ],
)
def test_bad_values_are_reported_in_one_line(make, message):
    with pytest.raises(InputError) as caught:
        make()
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


ROBOT = """name = "cart"
length_m = 0.8
width_m = 0.7
[drivetrain]
kind = "differential"
wheels_m = [[0, 0.3], [0, -0.3]]
wheel_radius_m = 0.05
rate_hz = 50
speed_m_per_s = 3
acceleration_m_per_s2 = 3
turn_rate_deg_per_s = 360
[shooter]
release_m = [0.2, 0, 0.5]
axis_cm = [10, 40]
exit_speed_m_per_s = 8
exit_speed_std_m_per_s = 0.1
pivot_low_deg = 20
pivot_high_deg = 70
backlash_deg = 0.5
resolution_deg = 0.25
zero_std_deg = 0.2
side_std_deg = 0.6
spin_turns_per_s = 5
altitude_m = 400
release_delay_ms = 80
release_delay_std_ms = 10
[shooter.projectile]
mass_kg = 0.06
diameter_cm = 10
drag = "constant"
drag_coefficient = 0.45
lift_per_spin_ratio = 1
"""


def loaded(tmp_path, text):
    path = tmp_path / "robot.toml"
    path.write_text(text, encoding="utf-8")
    return load_robot(path)[0].shooter


def test_a_file_says_everything_of_a_shooter(tmp_path):
    found = loaded(tmp_path, ROBOT)
    assert found.axis_in_robot_m == pytest.approx([0.1, 0.4])
    assert found.spread == ShooterSpread(
        backlash_rad=math.radians(0.5),
        resolution_rad=math.radians(0.25),
        zero_std_rad=math.radians(0.2),
        exit_speed_std_m_per_s=0.1,
        side_std_rad=math.radians(0.6),
    )
    assert found.projectile == Projectile(
        mass_kg=0.06,
        diameter_m=0.1,
        drag=Drag.CONSTANT,
        drag_coefficient=0.45,
        lift_per_spin_ratio=1.0,
    )
    assert found.spin_rad_per_s == pytest.approx(10.0 * math.pi)
    assert (found.altitude_m, found.air_density_kg_per_m3) == (400.0, None)
    assert (found.release_delay_s, found.release_delay_std_s) == pytest.approx((0.08, 0.01))


def test_a_file_may_leave_all_of_that_out(tmp_path):
    short = """[shooter]
release_m = [0.2, 0, 0.5]
exit_speed_m_per_s = 8
pivot_low_deg = 20
pivot_high_deg = 70
"""
    found = loaded(tmp_path, ROBOT[: ROBOT.index("[shooter]")] + short)
    assert found.projectile is None
    assert found.axis_in_robot_m is None
    assert found.spread == ShooterSpread()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("side_std_deg = 0.6", "side_std_deg = -1", "side_std_deg: must be greater than or equal"),
        ('"constant"', '"cube"', "drag: must be one of 'none', 'constant', 'sphere' (got 'cube')"),
        ("drag_coefficient = 0.45\n", "", "drag_coefficient: must be given with constant drag"),
        ("backlash_deg", "backlsh_deg", "did you mean 'backlash_deg'?"),
        ("mass_kg = 0.06", "mass_kg = 0", "mass_kg: must be greater than 0 (got 0)"),
    ],
)
def test_a_bad_file_is_reported_in_one_line(tmp_path, old, new, message):
    with pytest.raises(FileError) as caught:
        loaded(tmp_path, ROBOT.replace(old, new))
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)
