"""Pictures of what a lens was measured with."""

import numpy as np
import pytest

from posefuse.plots.lens import draw_board_places, draw_board_tilts
from posefuse.plots.style import drawing, new_figure, png_bytes


def test_the_image_lies_with_its_first_row_on_top() -> None:
    corners = [np.array([[10.0, 20.0], [200.0, 30.0], [100.0, 300.0]]), np.eye(3)[:, :2] * 600.0]
    with drawing():
        figure = new_figure(4.0, 3.0)
        ax = draw_board_places(figure.subplots(), corners_px=corners, width_px=640, height_px=400)
        assert png_bytes(figure).startswith(b"\x89PNG")
    low, high = ax.get_ylim()
    assert low > 400 > 0 > high
    assert ax.get_title(loc="left") == "Where the board was seen: 6 corners"
    frame = ax.patches[0].get_bbox()
    assert (frame.x0, frame.y0, frame.x1, frame.y1) == (-0.5, -0.5, 639.5, 399.5)


@pytest.mark.parametrize("most_deg", [30.0, 70.0])
def test_every_tilt_is_on_the_axes(most_deg: float) -> None:
    tilts = np.array([[most_deg, 0.0], [-10.0, -most_deg]])
    with drawing():
        ax = draw_board_tilts(new_figure(3.0, 3.0).subplots(), tilts)
    assert ax.get_xlim()[1] > most_deg
    assert ax.get_ylim()[0] > most_deg > ax.get_ylim()[1]
    assert "less than 20 deg" in ax.get_title(loc="left")
