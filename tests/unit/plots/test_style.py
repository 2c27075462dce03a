"""One style for all pictures, and the same bytes for the same picture."""

import xml.etree.ElementTree as ET

import matplotlib as mpl
import pytest

from posefuse.plots.style import (
    PLAN_COLOURS,
    drawing,
    floor_unit,
    new_figure,
    plan_colour,
    png_bytes,
    set_finding,
    svg_text,
)


def picture() -> str:
    with drawing():
        figure = new_figure(4.0, 3.0)
        ax = figure.subplots()
        ax.plot([0.0, 1.0, 2.0], [0.0, 1.0, 0.5], label="a < b & c")
        ax.legend()
        set_finding(figure, "first", "", "second $x_1$")
        return svg_text(figure)


def test_the_same_picture_gives_the_same_bytes_whatever_the_settings() -> None:
    first = picture()
    with mpl.rc_context({"lines.linewidth": 9.0, "font.size": 30.0, "svg.hashsalt": None}):
        second = picture()
    assert first == second
    assert "<dc:date>" not in first


def test_users_settings_come_back() -> None:
    with mpl.rc_context({"font.size": 31.0}):
        picture()
        assert mpl.rcParams["font.size"] == 31.0


def test_svg_is_well_formed_and_keeps_letters_as_letters() -> None:
    words = [e.text for e in ET.fromstring(picture()).iter() if e.text]
    assert "a < b & c" in words
    assert "second $x_1$" in words  # names are never read as formulas


def test_png_is_a_png_of_the_asked_size() -> None:
    with drawing():
        data = png_bytes(new_figure(4.0, 3.0), dots_per_inch=50.0)
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(data[16:20], "big") == 200


def test_colours_come_again_after_the_last() -> None:
    assert plan_colour(len(PLAN_COLOURS)) == plan_colour(0)
    assert len(set(PLAN_COLOURS)) == len(PLAN_COLOURS)


@pytest.mark.parametrize(("asked", "got"), [("m", "m"), ("cm", "m"), ("mm", "m"), ("in", "in")])
def test_places_on_the_floor_are_in_metres_or_inches(asked: str, got: str) -> None:
    assert floor_unit(asked) == got


def test_pictures_turn_dark_with_the_page() -> None:
    svg = picture()
    sheet, _, rest = svg.partition("</style>")
    assert "@media (prefers-color-scheme: dark)" in sheet
    assert "--ffffff: #16191d;" in sheet
    assert "fill: var(--ffffff, #ffffff)" in rest
    assert "var(--222222, #222222)" in rest
    for colour in ("#ffffff", "#222222"):
        assert f": {colour}" not in rest
