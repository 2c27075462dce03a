"""Hits in 100 shots of a comparison."""

import math
from dataclasses import replace

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.study.compare import compare
from posefuse.study.comparison import Comparison
from small_court import SHOOTER, armed, small_study


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    return compare(armed(small_study(), SHOOTER, SHOOTER), workers=1)


def test_hits_are_the_means_over_all_shots(comparison: Comparison) -> None:
    means = {}
    for row in comparison.ranking:
        cards = comparison.trials_of(row.plan, "half a round").cards
        shares = np.array([card.hits.shares for card in cards])
        assert shares.shape == (3, 3)
        means[row.plan] = 100.0 * shares.mean()
        assert row.hits.per_100.value == pytest.approx(means[row.plan])
        assert row.hits.per_100.low <= row.hits.per_100.value <= row.hits.per_100.high
        perfect = np.array([card.hits.perfect_shares for card in cards])
        assert row.hits.perfect_per_100 == pytest.approx(100.0 * perfect.mean())
    best, other = sorted(comparison.ranking, key=lambda row: -means[row.plan])
    assert best.hits.difference_to_best is None
    assert not best.hits.is_tie
    assert other.hits.difference_to_best.value == pytest.approx(
        means[other.plan] - means[best.plan]
    )
    assert other.hits.perfect_per_100 == best.hits.perfect_per_100
    assert 0.0 < best.hits.per_100.value < 100.0


def test_shots_on_the_move_are_set_against_stopping(comparison: Comparison) -> None:
    for row in comparison.ranking:
        moving = row.hits.moving
        assert moving.shot_count == 3
        assert moving.led_per_100 == pytest.approx(row.hits.per_100.value)
        assert moving.unled_per_100 < moving.led_per_100 < moving.stopped_per_100 + 5.0


def test_without_a_shooter_no_hits_are_known() -> None:
    plain = compare(small_study(trials=1), workers=1)
    assert [row.hits for row in plain.ranking] == [None, None]
    for place in range(2):
        shooters = [None, None]
        shooters[place] = SHOOTER
        mixed = compare(armed(small_study(trials=1), *shooters), workers=1)
        known = [row.hits for row in mixed.ranking]
        assert sum(hits is not None for hits in known) == 1
        hits = next(hits for hits in known if hits is not None)
        assert hits.difference_to_best is None
        assert math.isnan(hits.per_100.low)  # one trial


def test_shots_that_nothing_helps_are_mentioned() -> None:
    weak = replace(SHOOTER, exit_speed_m_per_s=3.0)
    both = compare(armed(small_study(trials=1), weak, weak), workers=1).warnings
    assert (
        "3 of 3 shots cannot go in, even with a perfect estimate: the goal is out of the "
        "shooter's reach"
    ) in both
    one = compare(armed(small_study(trials=1), weak, SHOOTER), workers=1).warnings
    assert any(line.startswith("plan 'front <b>&amp;': 3 of 3 shots cannot") for line in one)


def test_a_piece_too_large_for_the_opening_is_refused_in_one_line() -> None:
    big = replace(SHOOTER, projectile=replace(SHOOTER.projectile, diameter_m=0.6))
    with pytest.raises(InputError) as caught:
        compare(armed(small_study(trials=1), big, big), workers=1)
    assert str(caught.value).startswith("goal <east> & crate: the opening of 0.8 by 0.5 m is too")
    assert len(str(caught.value).splitlines()) == 1
