"""Sheets of one arc, paths for pictures, tables read from files."""

from dataclasses import replace

import numpy as np
import pytest

from posefuse.aim.aim import prepare_aim, reachable_spans_m
from posefuse.aim.arcs import Arc
from posefuse.aim.flight import flight_paths_m, flight_reference
from posefuse.aim.flight_law import flight_law
from posefuse.aim.hit_probability import hit_probability
from posefuse.aim.load import load_pivot_table
from posefuse.aim.sheet import arc_sheets, refuse_unreachable
from posefuse.aim.shots import Shots
from posefuse.aim.table import write_pivot_table
from posefuse.aim.tabulate import pivot_table
from posefuse.errors import FileError, InputError


def test_a_sheet_covers_the_reach_at_multiples_of_the_spacing(shooter, goal):
    (sheet,) = arc_sheets(shooter, goal, arc=Arc.LOW, spacing_m=0.5)
    (span,) = reachable_spans_m(shooter, goal, arc=Arc.LOW)
    assert sheet.span_m == tuple(span)
    distances = sheet.table.distances_m
    assert distances == pytest.approx(0.5 * np.arange(1, len(distances) + 1))
    assert span[0] <= distances[0]
    assert span[1] - 0.5 < distances[-1] <= span[1]
    count = len(distances)
    assert sheet.interpolation_rad.shape == (count - 1,)
    assert sheet.roomiest.shape == (count, 3)
    assert (sheet.roomiest[:, 1] >= sheet.roomiest[:, 2])[np.isfinite(sheet.roomiest[:, 0])].all()
    shots = Shots.straight_ahead(distances, goal=goal)
    assert sheet.hit_shares == pytest.approx(hit_probability(shots, aim=sheet.aim))


def test_a_gap_in_the_pivots_gives_a_sheet_for_each_side(exact_shooter, goal):
    # pivots below 36 degrees are missing: near throws that rise, far ones that fall
    steep = replace(exact_shooter, pivot_low_rad=np.radians(36.0))
    sheets = arc_sheets(steep, goal, arc=Arc.LOW, spacing_m=0.25)
    assert len(sheets) == 2
    assert sheets[0].span_m[1] < sheets[1].span_m[0]
    for sheet in sheets:
        assert (sheet.table.pivots_rad >= steep.pivot_low_rad).all()


def test_throws_drawn_bear_the_integral_out(shooter, goal):
    (sheet,) = arc_sheets(shooter, goal, arc=Arc.LOW, spacing_m=0.5)
    rows = sheet.drawn_rows
    assert (rows[0], rows[-1]) == (0, len(sheet.table.distances_m) - 1)
    assert len(rows) == len(sheet.drawn.hits) == 8
    assert np.abs(sheet.drawn.shares - sheet.hit_shares[rows]).max() < 0.025
    low, high = sheet.drawn.bounds().T
    assert ((low <= sheet.drawn.shares) & (sheet.drawn.shares <= high)).all()


def test_a_reach_shorter_than_the_spacing_is_given_by_its_ends(exact_shooter, goal):
    (sheet,) = arc_sheets(exact_shooter, goal, arc=Arc.HIGH, spacing_m=100.0)
    near, far = sheet.span_m
    assert sheet.table.distances_m == pytest.approx([near, far - 0.05 * (far - near)])
    assert (np.abs(sheet.table.slopes_rad_per_m) < 2.0).all()


def test_what_nothing_reaches_is_refused(exact_shooter, goal):
    weak = replace(exact_shooter, exit_speed_m_per_s=3.0)
    assert arc_sheets(weak, goal, arc=Arc.LOW, spacing_m=0.5) == ()
    with pytest.raises(InputError, match="goal crate: out of reach"):
        refuse_unreachable(weak, goal)
    refuse_unreachable(exact_shooter, goal)


@pytest.mark.parametrize(
    ("spacing", "message"),
    [(0.0, "spacing: must be greater than 0"), (1e-4, "at most 2000 are allowed")],
)
def test_bad_spacings_are_reported(exact_shooter, goal, spacing, message):
    with pytest.raises(InputError, match=message):
        arc_sheets(exact_shooter, goal, arc=Arc.LOW, spacing_m=spacing)


def test_paths_are_scipys_and_end_in_the_middle(exact_shooter, goal):
    aim = prepare_aim(exact_shooter, goal)
    distances = np.array([2.0, 5.0])
    table = pivot_table(aim, distances)
    paths = flight_paths_m(aim.shooter, distances, table.pivots_rad, points=9)
    assert paths[:, -1] == pytest.approx(np.array([[0.0, 1.6]] * 2), abs=1e-6)
    starts = exact_shooter.release_at(table.pivots_rad)
    assert paths[:, 0, 0] == pytest.approx(starts[:, 0] - distances)
    pivot, middle = table.pivots_rad[1], paths[1, 4]
    # SciPy's DOP853 through the same plane
    reference = flight_reference(
        starts[1],
        9.5 * np.array([np.cos(pivot), 0.0, np.sin(pivot)]),
        law=flight_law(exact_shooter),
        plane_point_m=[middle[0] + distances[1], 0.0, 0.0],
        plane_normal=[-1.0, 0.0, 0.0],
    )
    assert middle[1] == pytest.approx(reference.points_m[2], abs=1e-4)


def test_a_written_table_is_read_again(exact_shooter, goal, tmp_path):
    aim = prepare_aim(exact_shooter, goal)
    table = pivot_table(aim, np.arange(2.0, 6.1, 0.5))
    write_pivot_table(tmp_path / "pivots.csv", table)
    read = load_pivot_table(tmp_path / "pivots.csv", aim=aim)
    for name in ("distances_m", "pivots_rad", "times_s", "entries_rad"):
        assert getattr(read, name) == pytest.approx(getattr(table, name), abs=2e-5)  # rounded


def test_a_table_that_repeats_itself_is_reported(exact_shooter, goal, tmp_path):
    path = tmp_path / "pivots.csv"
    path.write_text("distance_m,pivot_deg\n2,40\n2,41\n", encoding="utf-8")
    with pytest.raises(FileError) as caught:
        load_pivot_table(path, aim=prepare_aim(exact_shooter, goal))
    assert str(caught.value) == f"{path}: the distance 2 m appears twice"
