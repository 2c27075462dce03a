"""One frame of a camera in words and as a picture."""

import numpy as np

from posefuse.plots.camera import draw_camera_view
from posefuse.plots.style import Axes
from posefuse.study.camera_views import SeenFrame

__all__ = ["brightness_for", "draw_frame", "found_text", "shortened"]

_TITLE_POINTS = 8.0
_LETTERS_PER_IN = 15.5
"""Of a title at this size."""


def brightness_for(frames: list[SeenFrame]) -> float:
    """One factor for all the frames that lets the brightest hundredth come out near white."""
    white = max((float(np.quantile(frame.image, 0.99)) for frame in frames), default=255.0)
    return max(1.0, round(230.0 / max(white, 1.0), 1))


def found_text(frame: SeenFrame) -> str:
    """What was found and missed, in words."""
    found, missed = (
        ", ".join(str(id) for id in ids.tolist()) for ids in (frame.found_ids, frame.missed_ids)
    )
    if not found and not missed:
        return "no tag in view"
    words = f"tag{'s' * (len(frame.found_ids) > 1)} {found}" if found else "no tag found"
    return f"{words}; missed {missed}" if missed else words


def draw_frame(
    ax: Axes,
    frame: SeenFrame | None,
    *,
    name: str,
    panel_width_in: float,
    brightness: float,
) -> None:
    """The frame's image and marks, with its camera's name, its time and what was found above it."""
    letters = round(_LETTERS_PER_IN * panel_width_in)
    if frame is None:
        ax.set_axis_off()
        ax.set_title(f"{shortened(name, letters)}\nno frame", fontsize=_TITLE_POINTS)
        return
    draw_camera_view(
        ax,
        frame.image,
        found_ids=frame.found_ids,
        found_corners_px=frame.found_corners_px,
        missed_ids=frame.missed_ids,
        missed_corners_px=frame.missed_corners_px,
        panel_width_in=panel_width_in,
        step_px=frame.step_px,
        brightness=brightness,
    )
    taken = f", {frame.captured_at_s:.3f} s"
    first = shortened(name, letters - len(taken)) + taken
    ax.set_title(f"{first}\n{shortened(found_text(frame), letters)}", fontsize=_TITLE_POINTS)


def shortened(text: str, letters: int) -> str:
    """The text, its end cut off where it is longer than so many letters.

    >>> shortened("a long name", 7)
    'a long…'
    """
    return text if len(text) <= letters else text[: max(letters - 1, 1)].rstrip() + "…"
