"""How fast tables of pivots and shots are worked out; reported, not gating."""

import time

import numpy as np
import pytest

from posefuse.aim.aim import prepare_aim
from posefuse.aim.flight import flight_reference
from posefuse.aim.flight_law import flight_law
from posefuse.aim.hit_probability import simulate_hits
from posefuse.aim.shots import Shots
from posefuse.aim.tabulate import pivot_table
from posefuse.arena.arena import Goal
from posefuse.robot.shooter import Projectile, Shooter, ShooterSpread

pytest.importorskip("pytest_benchmark")
pytestmark = pytest.mark.bench

SHOTS = 1_000_000
FLIGHTS = 200


@pytest.fixture(scope="module")
def aim():
    goal = Goal(
        name="crate",
        centre_in_world_m=np.array([12.7, 3.3, 1.6]),
        width_m=1.2,
        height_m=0.6,
        facing_rad=np.pi,
    )
    shooter = Shooter(
        release_in_robot_m=np.array([0.15, 0.0, 0.60]),
        exit_speed_m_per_s=9.5,
        pivot_low_rad=np.radians(15.0),
        pivot_high_rad=np.radians(75.0),
        spread=ShooterSpread(
            backlash_rad=0.01,
            resolution_rad=0.005,
            zero_std_rad=0.005,
            exit_speed_std_m_per_s=0.15,
            side_std_rad=0.01,
        ),
        projectile=Projectile(mass_kg=0.06, diameter_m=0.10, lift_per_spin_ratio=1.0),
        spin_rad_per_s=30.0,
    )
    return prepare_aim(shooter, goal)


def scipys_flight(aim):
    """One flight by SciPy's DOP853: what each shot would cost the plain way."""
    pivot = 0.5
    return flight_reference(
        [0.0, 0.0, 0.6],
        [9.5 * np.cos(pivot), 0.0, 9.5 * np.sin(pivot)],
        law=flight_law(aim.shooter),
        plane_point_m=[4.0, 0.0, 1.6],
        plane_normal=[-1.0, 0.0, 0.0],
    )


def test_a_table_of_200_pivots_with_drag_and_lift(benchmark, aim, tell):
    """Wanted: under 0.3 s."""
    distances = np.linspace(1.0, 6.9, 200)
    pivot_table(aim, distances)  # compiled
    table = benchmark(pivot_table, aim, distances)
    assert len(table.pivots_rad) == 200
    tell(f"table of 200 pivots with drag and lift: {1e3 * benchmark.stats.stats.median:.0f} ms")


def test_a_million_shots_hit_or_miss(benchmark, aim, report_ratio):
    """Wanted: under 5 s on two cores."""
    shots = Shots.straight_ahead(
        np.linspace(2.0, 6.5, 10), goal=aim.goal, distance_std_m=0.1, heading_std_rad=0.01
    )
    assert np.isfinite(scipys_flight(aim).time_s)
    started = time.perf_counter()
    for _ in range(FLIGHTS):
        scipys_flight(aim)
    plain_s = (time.perf_counter() - started) / FLIGHTS * SHOTS
    simulate_hits(shots, aim=aim, count=10, seed=0)  # compiled
    counts = benchmark.pedantic(
        simulate_hits,
        (shots,),
        {"aim": aim, "count": SHOTS // 10, "seed": 1, "workers": 2},
        rounds=2,
    )
    assert counts.hits.sum() > 0.5 * SHOTS
    report_ratio("a million shots on two threads", plain_s, benchmark.stats.stats.median)
