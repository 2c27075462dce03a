"""Marks lie on the tags they belong to, and a moving figure forgets what moved."""

import numpy as np
import pytest
from matplotlib.text import Text

from posefuse.plots.camera import camera_legend_handles, draw_camera_view
from posefuse.plots.camera_movie import MovingFigure
from posefuse.plots.style import Axes, drawing, new_figure

SQUARE = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
IMAGE = np.full((80, 128), 50, dtype=np.uint8)


def view(found: list[np.ndarray], missed: list[np.ndarray], **changes) -> Axes:
    given = {
        "found_ids": np.arange(len(found)) + 10,
        "found_corners_px": np.array(found).reshape(-1, 4, 2),
        "missed_ids": np.arange(len(missed)) + 70,
        "missed_corners_px": np.array(missed).reshape(-1, 4, 2),
        "panel_width_in": 4.0,
        "step_px": 10,
    }
    with drawing():
        return draw_camera_view(new_figure(4.0, 2.5).subplots(), IMAGE, **{**given, **changes})


def test_the_image_spans_the_cameras_pixels() -> None:
    ax = view([], [])
    assert ax.get_xlim() == (-0.5, 1279.5)
    assert ax.get_ylim() == (799.5, -0.5)  # the first row on top
    assert not ax.texts
    assert not ax.collections


def test_outlines_ids_and_corner_0_are_where_the_tags_are() -> None:
    found, missed = 100.0 + 60.0 * SQUARE, 600.0 + 40.0 * SQUARE
    ax = view([found], [missed])
    outlines = [path.vertices[:4] for c in ax.collections for path in c.get_paths()]
    np.testing.assert_allclose(outlines, [missed, found])
    assert [text.get_text() for text in ax.texts] == ["10", "70"]
    (dot,) = ax.lines
    np.testing.assert_allclose(dot.get_xydata(), [found[0]])
    lines = [c.get_linestyle()[0][1] for c in ax.collections]
    assert lines[0] is not None  # dashed
    assert lines[1] is None
    assert len({text.get_color() for text in ax.texts}) == 2


def test_ids_hide_neither_tags_nor_each_other_nor_leave_the_image() -> None:
    places = [
        (0.0, 0.0),
        (130.0, 0.0),
        (0.0, 110.0),
        (1240.0, 760.0),
        (640.0, 400.0),
        (640.0, 345.0),
    ]
    tags = [np.array(place) + 38.0 * SQUARE for place in places]
    with drawing():
        ax = view(tags, [])
        ax.set_position((0.0, 0.0, 1.0, 1.0))
        ax.figure.set_layout_engine("none")
        ax.figure.set_dpi(300.0)
        ax.figure.draw_without_rendering()
        into_px = ax.transData.inverted()
        boxes = [into_px.transform_bbox(text.get_window_extent()) for text in ax.texts]
    for place, box in enumerate(boxes):
        assert 0.0 <= box.x0 < box.x1 <= 1279.5
        assert 0.0 <= min(box.y0, box.y1) < max(box.y0, box.y1) <= 799.5
        for other in boxes[:place]:
            assert not box.overlaps(other)
        for tag in tags:
            (left, top), (right, bottom) = tag[0], tag[2]
            apart = box.x1 <= left or box.x0 >= right
            assert apart or max(box.y0, box.y1) <= top or min(box.y0, box.y1) >= bottom


def test_brightness_is_a_factor_on_the_grey_levels() -> None:
    (image,) = view([], [], brightness=2.0).images
    assert image.get_clim() == (0.0, 127.5)


def test_the_legend_tells_of_missed_tags_where_there_are_some() -> None:
    labels = [[h.get_label() for h in camera_legend_handles(has_missed=m)] for m in (False, True)]
    assert len(labels[0]) == 2
    assert "not found" in labels[1][2]


def test_a_moving_figure_changes_only_for_the_moment() -> None:
    with drawing():
        figure = new_figure(2.0, 1.0)
        ax = figure.subplots()
        ax.set_xlim(0.0, 1.0)
        ax.set_ylim(0.0, 1.0)
        figure.set_layout_engine("none")
        moving = MovingFigure(figure, dots_per_inch=50.0)
        still = moving.moment(lambda: None)
        drawn = moving.moment(lambda: ax.plot([0.0, 1.0], [0.0, 1.0], color="red") and None)

        def write() -> None:
            ax.set_title("now")
            figure.text(0.5, 0.5, "here")

        written = moving.moment(write)
        again = moving.moment(lambda: None)
    assert still.shape == (50, 100, 3)
    assert (drawn != still).any()
    assert (written != still).any()
    np.testing.assert_array_equal(again, still)
    assert ax.get_title(loc="left") == ""
    assert not ax.lines
    assert not figure.texts


def test_a_moment_looks_like_the_figure_drawn_whole() -> None:
    """Against matplotlib's own full drawing of the same figure."""
    with drawing():
        figure = new_figure(2.0, 1.0)
        figure.set_layout_engine("none")
        ax = figure.add_axes((0.1, 0.1, 0.8, 0.6))
        ax.set_xlim(0.0, 1.0)
        ax.set_ylim(0.0, 1.0)

        def draw() -> None:
            ax.plot([0.1, 0.9], [0.2, 0.8], color="blue")
            ax.set_title("now")

        moment = MovingFigure(figure, dots_per_inch=50.0).moment(draw)
        draw()
        whole = MovingFigure(figure, dots_per_inch=50.0).moment(lambda: None)
    assert any(isinstance(child, Text) for child in ax.get_children())
    assert np.abs(moment.astype(int) - whole).mean() < 0.5


@pytest.mark.parametrize("count", [0, 3])
def test_any_number_of_tags(count: int) -> None:
    tags = [50.0 + 200.0 * place + 30.0 * SQUARE for place in range(count)]
    assert len(view(tags, tags).texts) == 2 * count
