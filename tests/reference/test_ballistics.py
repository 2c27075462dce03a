"""Flight without air against worked numbers of a published textbook and against an ODE solver."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from posefuse.aim.air import GRAVITY_M_PER_S2
from posefuse.aim.ballistics import launch_angles_rad, least_speed_m_per_s, pivot_slope_rad_per_m

BOOK_GRAVITY_M_PER_S2 = 9.80
"""Ling, Sanny, Moebs, University Physics vol. 1, OpenStax 2016, sec. 4.3 (module m58291)."""


def test_a_range_of_90_m_needs_the_books_speeds_and_angles():
    # sec. 4.3, range example: 31.9 m/s at 30 degrees and 37.0 m/s at 70 degrees
    for speed, angle_deg in ((31.9, 30.0), (37.0, 70.0)):
        arcs = launch_angles_rad(
            90.0, rise_m=0.0, speed_m_per_s=speed, gravity_m_per_s2=BOOK_GRAVITY_M_PER_S2
        )
        assert min(abs(np.degrees(arc) - angle_deg) for arc in arcs) < 0.25


def test_the_books_throw_to_a_seat_10_m_higher_is_one_of_the_two_arcs():
    # sec. 4.3, example: 30 m/s at 45 degrees is 10 m up after 3.79 s, so 80.4 m away
    flight = 30.0 * np.cos(np.radians(45.0)) * 3.79
    arcs = launch_angles_rad(
        flight, rise_m=10.0, speed_m_per_s=30.0, gravity_m_per_s2=BOOK_GRAVITY_M_PER_S2
    )
    assert min(abs(np.degrees(arc) - 45.0) for arc in arcs) < 0.2


def test_the_books_kick_just_clears_the_crossbar():
    # sec. 4.3, problem: crossbar 2.44 m high, 10 m away, 25 degrees, 16.4 m/s
    low, _ = launch_angles_rad(
        10.0, rise_m=2.44, speed_m_per_s=16.4, gravity_m_per_s2=BOOK_GRAVITY_M_PER_S2
    )
    assert np.degrees(low) == pytest.approx(25.0, abs=0.1)


@pytest.mark.parametrize(
    ("speed", "flight", "rise", "low_deg", "high_deg", "least"),
    [
        (10.0, 5.0, 1.5, 32.949893, 73.749351, 8.118016),
        (9.0, 4.0, 1.0, 29.731558, 74.304686, 7.088054),
    ],
)
def test_angles_and_least_speed_of_the_closed_forms(speed, flight, rise, low_deg, high_deg, least):
    # the closed forms worked out independently at g = 9.80665
    low, high = launch_angles_rad(flight, rise_m=rise, speed_m_per_s=speed)
    assert np.degrees(low) == pytest.approx(low_deg, abs=1e-6)
    assert np.degrees(high) == pytest.approx(high_deg, abs=1e-6)
    assert least_speed_m_per_s(flight, rise_m=rise) == pytest.approx(least, abs=1e-6)


def test_below_the_least_speed_there_is_no_angle():
    assert least_speed_m_per_s(6.0, rise_m=2.0) == pytest.approx(9.035264, abs=1e-6)
    assert np.isnan(launch_angles_rad(6.0, rise_m=2.0, speed_m_per_s=8.0)).all()


def test_at_the_least_speed_both_angles_meet_at_the_textbook_angle():
    least = float(least_speed_m_per_s(5.0, rise_m=1.5))
    low, high = launch_angles_rad(5.0, rise_m=1.5, speed_m_per_s=least * (1.0 + 1e-12))
    assert np.degrees([low, high]) == pytest.approx(53.349622, abs=1e-3)


@pytest.mark.parametrize(("arc", "slope_deg_per_m"), [(0, 0.569716), (1, -3.723612)])
def test_slope_of_the_angle_by_the_distance(arc, slope_deg_per_m):
    angle = launch_angles_rad(5.0, rise_m=1.5, speed_m_per_s=10.0)[arc]
    slope = pivot_slope_rad_per_m(5.0, angle_rad=angle, speed_m_per_s=10.0)
    assert np.degrees(slope) == pytest.approx(slope_deg_per_m, abs=1e-6)


def test_an_ode_solver_flies_both_arcs_through_the_point():
    # scipy's solve_ivp integrates the equations of motion, not the closed form
    def motion(_t, state):
        return [state[2], state[3], 0.0, -GRAVITY_M_PER_S2]

    for angle in launch_angles_rad(4.0, rise_m=1.2, speed_m_per_s=9.0):
        velocity = 9.0 * np.array([np.cos(angle), np.sin(angle)])
        flight_s = 4.0 / velocity[0]
        flown = solve_ivp(motion, (0.0, flight_s), [0.0, 0.0, *velocity], rtol=1e-10, atol=1e-12)
        assert flown.y[:2, -1] == pytest.approx([4.0, 1.2], abs=1e-9)
