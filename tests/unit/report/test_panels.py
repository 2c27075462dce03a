"""Grids of panels: nothing blank, labels where they are needed."""

import pytest

from posefuse.plots.style import new_figure
from posefuse.report.panels import (
    columns_of_maps,
    columns_of_sketches,
    show_outer_labels,
    wrapped,
)


@pytest.mark.parametrize("count", range(1, 13))
def test_at_most_one_map_is_missing_in_the_last_line(count: int) -> None:
    assert -count % columns_of_maps(count) <= 1


@pytest.mark.parametrize("count", range(1, 13))
def test_sketches_stand_three_abreast_or_fewer(count: int) -> None:
    assert 1 <= columns_of_sketches(count) <= 3
    assert count > 3 or columns_of_sketches(count) == count


def test_the_lowest_panel_of_each_column_keeps_its_labels() -> None:
    axes = list(new_figure(5.0, 4.0).subplots(2, 2).flat)[:3]
    for ax in axes:
        ax.set_xlabel("x")
        ax.set_ylabel("y")
    show_outer_labels(axes, 2)
    assert [ax.get_xlabel() for ax in axes] == ["", "x", "x"]
    assert [ax.get_ylabel() for ax in axes] == ["y", "", "y"]
    for ax, has_x in zip(axes, (False, True, True), strict=True):
        tick = ax.xaxis.get_major_ticks()[0]
        assert tick.tick1line.get_visible() == tick.label1.get_visible() == has_x


def test_long_names_lose_their_middle() -> None:
    assert wrapped("front and left", 8) == "front\nand left"
    assert "…" in wrapped("a name that is far too long for two lines", 12)
