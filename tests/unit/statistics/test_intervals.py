"""A figure with its interval."""

import pytest

from posefuse.statistics.intervals import Interval


@pytest.mark.parametrize(
    ("value", "is_inside"), [(-0.1, False), (0.0, True), (1.0, True), (2.0, True), (2.1, False)]
)
def test_an_interval_holds_its_ends_and_nothing_beyond(value, is_inside):
    assert Interval(value=1.0, low=0.0, high=2.0).holds(value) is is_inside


def test_an_unknown_interval_holds_nothing():
    assert not Interval(value=1.0, low=float("nan"), high=float("nan")).holds(1.0)
