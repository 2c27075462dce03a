"""What is said of a shooter and its arcs."""

from dataclasses import replace

import numpy as np
import pytest

from posefuse.aim.arcs import Arc
from posefuse.aim.sheet import arc_sheets
from posefuse.report.aim import sheet_table
from posefuse.report.aim_wording import (
    bearing_text,
    drawn_sentence,
    enough_sentence,
    enough_text,
    hits_sentence,
    left_out_sentence,
    shooter_text,
)
from posefuse.robot.shooter import Drag, ShooterSpread
from small_court import SHOOTER, small_arena

GOAL = small_arena().goals[0]
EXACT = replace(SHOOTER, spread=ShooterSpread())


@pytest.fixture(scope="module")
def sheet():
    return arc_sheets(SHOOTER, GOAL, arc=Arc.LOW, spacing_m=0.5)[0]


@pytest.fixture(scope="module")
def exact_sheet():
    return arc_sheets(EXACT, GOAL, arc=Arc.LOW, spacing_m=0.5)[0]


def test_drawn_throws_come_with_their_interval(sheet):
    sentence = drawn_sentence(sheet, "cm")
    assert sentence.startswith(
        "10,000 throws drawn from each of 8 distances differ from this most at "
    )
    worst = int(np.argmax(np.abs(sheet.drawn.shares - sheet.hit_shares[sheet.drawn_rows])))
    low, high = 100.0 * sheet.drawn.bounds()[worst]
    assert sentence.endswith(f"(95 % interval {low:.1f} to {high:.1f}).")


def test_a_shooter_that_never_errs_takes_one_sentence(exact_sheet):
    assert drawn_sentence(exact_sheet, "cm") == ""
    assert hits_sentence(exact_sheet, "cm") == (
        "With a perfect estimate the low arc scores 100.0 of 100 shots from everywhere."
    )


def test_hits_are_given_from_least_to_most(sheet):
    sentence = hits_sentence(sheet, "cm")
    assert f"between {100.0 * sheet.hit_shares.min():.1f} (at " in sentence
    assert f" and {100.0 * sheet.hit_shares.max():.1f} (at " in sentence


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, ""),
        ({"spread": ShooterSpread()}, "[shooter] has no spread such as exit_speed_std_m_per_s ("),
        ({"projectile": None}, "[shooter] has no [shooter.projectile] (the piece is taken for a "),
    ],
)
def test_what_a_shooter_leaves_out_is_named(changes, words):
    assert left_out_sentence(replace(SHOOTER, **changes)).startswith(words)


def test_spin_is_named_with_what_it_does():
    spinning = replace(SHOOTER, spin_rad_per_s=10.0 * np.pi)
    piece = replace(SHOOTER.projectile, lift_per_spin_ratio=1.0, drag=Drag.SPHERE)
    assert "spin" not in shooter_text(SHOOTER, "cm")
    assert shooter_text(spinning, "cm").endswith(
        "backspin of 5 turns/s without lift (lift_per_spin_ratio is not given)"
    )
    lifted = replace(spinning, projectile=piece, spin_rad_per_s=-10.0 * np.pi)
    assert shooter_text(lifted, "cm").endswith(", topspin of 5 turns/s")


def test_errors_beyond_what_was_looked_at_are_any():
    assert enough_text(0.123, "cm") == "12.3"
    assert enough_text(2.0, "cm") == "any"
    distances = np.array([1.0, 2.0, 3.0])
    some = enough_sentence(distances, np.array([0.05, 2.0, 0.10]), "cm")
    assert "below 5.0 cm at 1.00 m, 10.0 cm at 3.00 m: from" in some
    none = enough_sentence(distances, np.array([2.0, 2.0, 0.0]), "cm")
    assert none.endswith("errors of 200.0 cm (1 sigma) do no more.")
    lost = enough_sentence(distances, np.zeros(3), "cm")
    assert lost.startswith("From none of these distances")


def test_bearings_have_their_dash_and_their_any():
    assert [bearing_text(turn) for turn in (0.0, 0.1, 0.8)] == ["–", "5.7", "any"]


def test_the_table_has_all_four_sides(sheet):
    table = sheet_table(sheet)
    sides = [table.headers.index(name) for name in ("left by (°)", "right by (°)")]
    for row, left, right in zip(table.rows, sheet.band.left_rad, sheet.band.right_rad, strict=True):
        assert [row[side] for side in sides] == [bearing_text(left), bearing_text(right)]
    short = table.headers.index("short by (cm)")
    low = replace(GOAL, centre_in_world_m=np.array([8.7, 2.5, 0.4]))
    near = arc_sheets(EXACT, low, arc=Arc.LOW, spacing_m=0.5)[0]
    all_the_way = near.band.short_m >= near.table.distances_m
    for row, is_any in zip(sheet_table(near).rows, all_the_way, strict=True):
        assert (row[short] == "any") == is_any
