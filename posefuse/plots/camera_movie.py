"""A figure of which only a part changes from one moment to the next: the rest is drawn once."""

from collections.abc import Callable
from typing import Any, cast

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from numpy.typing import NDArray

__all__ = ["MovingFigure"]


class MovingFigure:
    """Moments of a figure as pictures; what it holds at first stays as it is.

    Create and use it within ``style.drawing``. Axes keep their places and limits.
    """

    def __init__(self, figure: Figure, *, dots_per_inch: float) -> None:
        figure.set_dpi(dots_per_inch)
        self._figure = figure
        self._canvas = cast(Any, FigureCanvasAgg(figure))  # its methods are untyped
        self._canvas.draw()
        self._still = self._canvas.copy_from_bbox(figure.bbox)

    def moment(self, draw: Callable[[], None]) -> NDArray[np.uint8]:
        """The figure with what ``draw`` adds or writes, (h, w, 3); afterwards that is undone."""
        holders: list[Figure | Axes] = [self._figure, *self._figure.axes]
        before = [{child: _text(child) for child in holder.get_children()} for holder in holders]
        draw()
        self._canvas.restore_region(self._still)
        for holder, old in zip(holders, before, strict=True):
            changed = [c for c in holder.get_children() if c not in old or _text(c) != old[c]]
            for artist in sorted(changed, key=lambda artist: artist.get_zorder()):
                artist.draw(self._canvas.get_renderer())
                if artist not in old:
                    artist.remove()
                elif isinstance(artist, Text):
                    artist.set_text(old[artist])
        return np.array(np.asarray(self._canvas.buffer_rgba())[:, :, :3])


def _text(artist: Artist) -> str:
    return artist.get_text() if isinstance(artist, Text) else ""
