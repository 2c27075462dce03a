"""What is shown of a shooter and its goal, beside the parts it is made of."""

from dataclasses import replace

import numpy as np
import pytest

from posefuse.aim.aim import prepare_aim
from posefuse.aim.arcs import Arc
from posefuse.aim.hit_probability import hit_probability
from posefuse.aim.sheet import arc_sheets
from posefuse.aim.shots import Shots
from posefuse.aim.tabulate import interpolation_errors_rad
from posefuse.study.aimed_goal import AimedGoal, aimed_goal
from small_court import SHOOTER, small_arena

GOAL = small_arena().goals[0]


@pytest.fixture(scope="module")
def aimed() -> AimedGoal:
    (sheet,) = arc_sheets(SHOOTER, GOAL, arc=Arc.LOW, spacing_m=0.5)
    off = replace(sheet.table, pivots_rad=sheet.table.pivots_rad + 0.01)
    return aimed_goal(SHOOTER, GOAL, sheets=[sheet], rig="rig", arena="court", own=off)


def test_flights_lead_through_the_middle_of_the_opening(aimed: AimedGoal) -> None:
    (flights,), (sheet,) = aimed.flights, aimed.sheets
    assert len(flights.paths_m) == len(flights.pivots_rad) == 9
    height_m = float(GOAL.centre_in_world_m[2])
    for path in flights.paths_m:
        assert path[-1] == pytest.approx([0.0, height_m], abs=1e-6)
    starts = -flights.paths_m[:, 0, 0]
    assert (np.diff(starts) > 0.0).all()  # from all over the reach
    assert starts[-1] < sheet.span_m[1] < starts[-1] + 0.5


def test_a_table_that_is_off_everywhere_is_judged(aimed: AimedGoal) -> None:
    own, (sheet,) = aimed.own, aimed.sheets
    assert own.exact_rad == pytest.approx(sheet.table.pivots_rad, abs=1e-9)
    assert own.table.pivots_rad - own.exact_rad == pytest.approx(np.full(len(own.exact_rad), 0.01))
    shots = Shots.straight_ahead(own.table.distances_m, goal=GOAL)
    exact = prepare_aim(SHOOTER, GOAL, arc=Arc.LOW)
    gaps = interpolation_errors_rad(own.table, aim=exact)
    assert own.interpolation_rad == pytest.approx(gaps)
    assert own.exact_hit_shares == pytest.approx(hit_probability(shots, aim=exact))
    by_table = prepare_aim(SHOOTER, GOAL, arc=Arc.LOW, table=own.table)
    assert own.hit_shares == pytest.approx(hit_probability(shots, aim=by_table))
    assert own.hit_shares.mean() < own.exact_hit_shares.mean()


def test_a_robot_without_a_table_has_none_to_judge(aimed: AimedGoal) -> None:
    assert aimed_goal(SHOOTER, GOAL, sheets=aimed.sheets, rig="r", arena="c").own is None
