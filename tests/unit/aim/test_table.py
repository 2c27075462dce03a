"""Tables of pivots and their file."""

import csv
from dataclasses import replace

import numpy as np
import pytest

from posefuse.aim.aim import prepare_aim
from posefuse.aim.arcs import Arc, solve
from posefuse.aim.hit_probability import simulate_hits
from posefuse.aim.shots import Shots
from posefuse.aim.table import CAUTION, write_pivot_table
from posefuse.aim.tabulate import interpolation_errors_rad, pivot_table, roomiest_pivots
from posefuse.errors import InputError


@pytest.fixture
def aim(exact_shooter, goal):
    return prepare_aim(exact_shooter, goal)


def test_the_file_is_read_by_plain_tools_and_holds_the_caution_once(aim, tmp_path):
    table = pivot_table(aim, np.arange(2.0, 6.1, 0.5))
    write_pivot_table(tmp_path / "pivots.csv", table)
    text = (tmp_path / "pivots.csv").read_text(encoding="utf-8")
    assert text.splitlines()[0] == f"# {CAUTION}"
    assert text.count("aution") == 1
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    assert list(rows[0]) == [
        "distance_m",
        "pivot_deg",
        "slope_deg_per_m",
        "time_of_flight_s",
        "entry_deg",
    ]
    assert [float(row["distance_m"]) for row in rows] == table.distances_m.tolist()
    pivots = np.radians([float(row["pivot_deg"]) for row in rows])
    assert pivots == pytest.approx(table.pivots_rad, abs=np.radians(0.51e-4))
    assert max(len(row["pivot_deg"]) for row in rows) <= len("12.3456")


def test_rows_are_those_of_the_solver(aim):
    table = pivot_table(aim, [2.0, 4.0, 6.0])
    found = solve(table.distances_m, shooter=aim.shooter, height_m=1.6)
    assert table.pivots_rad == pytest.approx(found.pivot_rad[0])
    assert table.times_s == pytest.approx(found.time_s[0], abs=1e-7)
    assert table.entries_rad == pytest.approx(found.entry_rad[0], abs=1e-6)


def test_interpolation_error_is_the_textbook_bound_and_falls_by_four(aim):
    # straight lines err by h^2 / 8 max |p''| (any numerical analysis text)
    coarse = pivot_table(aim, np.arange(3.0, 6.01, 0.5))
    errors = interpolation_errors_rad(coarse, aim=aim)
    slopes = coarse.slopes_rad_per_m
    bends = np.abs(np.diff(slopes)) / 0.5  # the mean second derivative in each gap
    assert errors == pytest.approx(0.5**2 / 8.0 * bends, rel=0.15)
    fine = interpolation_errors_rad(pivot_table(aim, np.arange(3.0, 6.01, 0.25)), aim=aim)
    assert fine.max() == pytest.approx(errors.max() / 4.0, rel=0.35)


def test_the_roomiest_pivot_leaves_more_room_than_the_middle(aim):
    found = roomiest_pivots(aim, [2.0, 3.0, 5.0])
    assert (found[:, 1] >= found[:, 2]).all()
    assert found[1, 1] > found[1, 2] + 0.1
    table = pivot_table(aim, [2.0, 3.0, 5.0], is_roomiest=True)
    assert table.pivots_rad == pytest.approx(found[:, 0])
    # the room is real: the robot stands that much nearer or farther and keeps the pivot
    kept = prepare_aim(aim.shooter, aim.goal, table=table)
    for distance, (_, room, _) in zip([2.0, 3.0, 5.0], found, strict=True):
        stand = distance + np.array([-1.0, 1.0, -1.0, 1.0]) * (
            room + np.array([-0.002, -0.002, 0.002, 0.002])
        )
        errors = np.zeros((4, 3))
        errors[:, 0] = stand - distance  # the goal looks along -x: estimate minus truth
        shots = Shots.at(kept.positions_m(stand), error_means=errors)
        hits = simulate_hits(shots, aim=kept, count=1, seed=0).hits
        assert hits[:2].tolist() == [1, 1]
        assert hits[2:].min() == 0


def test_a_table_that_the_robot_interpolates_costs_hits_where_it_is_coarse(shooter, goal):
    exact = prepare_aim(shooter, goal)
    table = pivot_table(exact, [1.5, 4.0, 6.5])
    coarse = prepare_aim(shooter, goal, table=table)
    shots = Shots.straight_ahead([2.2, 4.0], goal=goal)
    good = simulate_hits(shots, aim=exact, count=2000, seed=3).shares
    poor = simulate_hits(shots, aim=coarse, count=2000, seed=3).shares
    assert poor[0] < good[0] - 0.01
    assert poor[1] == good[1]


@pytest.mark.parametrize(
    ("distances", "message"),
    [
        ([2.0, 3.0, 3.0, 4.0], "the distance 3 m appears twice"),
        ([2.0, 4.0, 3.0], "distances must rise (got 3 m after 4 m)"),
        ([0.0, 1.0], "distances must be above 0 (got 0 m)"),
        ([2.0], "needs 2 distances or more (got 1)"),
        ([2.0, 9.0], "goal crate: 9 m is out of reach: the low arc reaches 0.43 to 6.99 m"),
    ],
)
def test_bad_distances_are_reported_in_one_line(aim, distances, message):
    with pytest.raises(InputError) as caught:
        pivot_table(aim, distances)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_high_arc_has_its_own_table(exact_shooter, goal):
    high = prepare_aim(exact_shooter, goal, arc=Arc.HIGH)
    table = pivot_table(high, [4.0, 5.0, 6.0])
    assert (table.pivots_rad > np.radians(50.0)).all()
    assert (table.entries_rad > np.radians(30.0)).all()
    assert (table.slopes_rad_per_m < 0.0).all()


def test_a_steeper_pivot_range_clips_what_is_set(exact_shooter, goal):
    low = replace(exact_shooter, pivot_high_rad=np.radians(30.0))
    with pytest.raises(InputError, match="2 m is out of reach"):
        pivot_table(prepare_aim(low, goal), [2.0, 4.0])
