"""How large errors may be at the shots, and how large they are."""

import math
from dataclasses import replace

import numpy as np
import pytest

from posefuse.aim.arcs import Arc
from posefuse.study.compare import compare
from posefuse.study.comparison import Comparison
from posefuse.study.shot_room import (
    PlaceSpreads,
    ShotRoom,
    SpreadAtPlaces,
    shot_room,
    spreads_at_places,
)
from small_court import SHOOTER, armed, small_study


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    return compare(armed(small_study(), SHOOTER, SHOOTER), workers=1)


def room_of(comparison: Comparison, **changes) -> ShotRoom | None:
    study = comparison.study
    shots = [comparison.plan_trials[0].cards[0].shots]
    given = {"arena": study.arena, "goal": study.goal, "shooter": SHOOTER}
    return shot_room(shots, **{**given, **changes})


def test_the_room_is_at_the_places_shot_from(comparison: Comparison) -> None:
    room = room_of(comparison)
    true_m = np.sort(comparison.plan_trials[0].cards[0].shots.true_distance_m)
    assert room.arc is Arc.LOW
    assert room.places_m == pytest.approx(true_m)
    assert room.band.distances_m[0] <= true_m[0] < true_m[-1] <= room.band.distances_m[-1]
    assert (room.places_enough_m > 0.0).all()
    assert room.tightest_place == int(np.argmin(room.places_enough_m))
    assert replace(room, places_enough_m=np.zeros(3)).tightest_place is None
    some = replace(room, places_enough_m=np.array([0.3, 0.0, 0.2]))
    assert some.tightest_place == 2


def test_errors_are_pooled_over_the_trials_at_each_place(comparison: Comparison) -> None:
    study = comparison.study
    trials = comparison.trials_of(study.plans[0].name, "half a round")
    shots = [card.shots for card in trials.cards]
    spreads = spreads_at_places(shots, arena=study.arena, goal=study.goal)
    order = np.argsort(shots[0].true_distance_m)
    for name, spread in (
        ("distance_error_m", spreads.distance),
        ("bearing_error_rad", spreads.bearing),
    ):
        errors = np.array([getattr(one, name)[order] for one in shots])
        assert spread.means == pytest.approx(errors.mean(axis=0))
        assert spread.lows == pytest.approx(np.percentile(errors, 2.5, axis=0))
        assert spread.highs == pytest.approx(np.percentile(errors, 97.5, axis=0))
        assert spread.distances_m == pytest.approx(shots[0].true_distance_m[order])
    ends = np.abs([spreads.distance.lows, spreads.distance.highs])
    assert spreads.largest_distance_error_m == ends.max()


def test_without_a_place_there_is_no_largest_error() -> None:
    nothing = SpreadAtPlaces(
        distances_m=np.zeros(0), means=np.zeros(0), lows=np.zeros(0), highs=np.zeros(0)
    )
    assert math.isnan(PlaceSpreads(distance=nothing, bearing=nothing).largest_distance_error_m)


def test_out_of_reach_there_is_no_room(comparison: Comparison) -> None:
    study = comparison.study
    assert room_of(comparison, shooter=replace(SHOOTER, exit_speed_m_per_s=3.0)) is None
    tall = replace(study.goal, name="tall", height_m=0.9)
    arena = replace(study.arena, goals=(*study.arena.goals, tall))
    assert room_of(comparison, arena=arena, goal=tall) is None
