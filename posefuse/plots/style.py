"""Colours, letters and files that all pictures share."""

import io
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from matplotlib import rc_context, rcdefaults, rcParams
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from posefuse.units import length_label

__all__ = [
    "CAMERA_COLOURS",
    "DIFFERENCE_COLOURS",
    "GREY",
    "INK",
    "MAP_COLOURS",
    "PLAN_COLOURS",
    "Axes",
    "Figure",
    "camera_colour",
    "drawing",
    "floor_unit",
    "in_unit",
    "new_figure",
    "plan_colour",
    "png_bytes",
    "set_finding",
    "svg_text",
]

PLAN_COLOURS = (
    "#0072B2",  # blue
    "#D55E00",  # vermilion
    "#009E73",  # bluish green
    "#CC79A7",  # reddish purple
    "#E69F00",  # orange
    "#56B4E9",  # sky blue
    "#000000",  # black
)
"""Distinct with any colour vision: M. Okabe and K. Ito, Color Universal Design, 2008. Their
yellow is left out: it is too pale for a line on white."""

CAMERA_COLOURS = ("#8a5a2b", "#5f6f86", "#8f1d3f", "#6d7a12", "#6a4c93", "#3f5d4b")
"""Of the cameras of one robot: none of them is near a plan's."""

MAP_COLOURS = "cividis"
DIFFERENCE_COLOURS = "BrBG"
"""Brown is worse, green is better."""
_LETTERS_PER_IN = 11.5  # of a bold title
INK = "#222222"
GREY = "#8a8a8a"

_DARK = {
    "#ffffff": "#16191d",
    INK: "#e8e8e8",
    "#000000": "#f4f4f4",
    "#dddddd": "#3a3f46",
    "#eeeeee": "#2b2f35",
    "#f4f4f4": "#24282d",
    "#f2f2f2": "#24282d",
    "#c8c8c8": "#565d66",
    "#cfcfcf": "#565d66",
    "#666666": "#a0a0a0",
    "#777777": "#a0a0a0",
    "#d7e9df": "#23402f",
    "#0072b2": "#4f86e8",
    "#005a8c": "#6ab0de",
    "#8a5a2b": "#c99a68",
    "#5f6f86": "#9fb0c9",
    "#8f1d3f": "#e0708f",
    "#6d7a12": "#b9c752",
    "#6a4c93": "#b295dc",
    "#3f5d4b": "#86b79a",
}
"""What stands for a colour on a dark page: paper, ink, greys, and what is too dark on dark."""

_SETTINGS: dict[Any, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial", "Helvetica", "sans-serif"],
    "font.size": 9.0,
    "axes.titlesize": 9.5,
    "axes.titleweight": "normal",
    "axes.titlelocation": "left",
    "axes.labelsize": 9.0,
    "axes.edgecolor": "#666666",
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.formatter.useoffset": False,
    "grid.color": "#dddddd",
    "grid.linewidth": 0.6,
    "text.color": INK,
    "axes.labelcolor": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 8.0,
    "ytick.labelsize": 8.0,
    "legend.fontsize": 8.0,
    "legend.frameon": False,
    "figure.titlesize": 10.0,
    "figure.titleweight": "bold",
    "figure.constrained_layout.w_pad": 0.06,
    "figure.constrained_layout.h_pad": 0.06,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    "text.parse_math": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "posefuse",
    "path.simplify": True,
    "path.simplify_threshold": 0.3,
}


@contextmanager
def drawing() -> Iterator[None]:
    """Within it, everything is drawn in the one style, whatever the user's own settings say."""
    with rc_context():
        rcdefaults()
        rcParams.update(_SETTINGS)
        yield


def new_figure(width_in: float, height_in: float) -> Figure:
    """An empty figure that spaces its axes itself."""
    return Figure(figsize=(width_in, height_in), layout="constrained")


def set_finding(figure: Figure, *lines: str) -> None:
    """What the picture shows, in bold at its top left."""
    letters = round(_LETTERS_PER_IN * figure.get_figwidth())
    wrapped = [part for line in lines for part in textwrap.wrap(line, letters)]
    figure.suptitle("\n".join(wrapped), x=0.01, ha="left")


def svg_text(figure: Figure) -> str:
    """The figure as SVG: the same figure gives the same bytes. Maps in it are bitmaps.

    Ink, paper and greys turn dark where whoever looks at it prefers dark pages.
    """
    buffer = io.StringIO()
    with drawing():
        _settle(figure)
        figure.savefig(buffer, format="svg", dpi=150, metadata={"Date": None, "Creator": None})
    return _themed(buffer.getvalue())


def _themed(svg: str) -> str:
    """The picture with its neutral colours as variables of a style sheet of its own."""
    used = [colour for colour in _DARK if f": {colour}" in svg]
    for colour in used:
        svg = svg.replace(f": {colour}", f": var(--{colour[1:]}, {colour})")
    dark = "".join(f"--{colour[1:]}: {_DARK[colour]};" for colour in used)
    sheet = f"@media (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}\n"
    return svg.replace('<style type="text/css">', f'<style type="text/css">{sheet}', 1)


def _settle(figure: Figure) -> None:
    """Spaces the axes once and for all: doing it again would move them a little, and takes long."""
    if figure.get_layout_engine() is not None:
        figure.draw_without_rendering()
        figure.set_layout_engine("none")


def png_bytes(figure: Figure, *, dots_per_inch: float = 150.0) -> bytes:
    """The figure as a PNG file: the same figure gives the same bytes."""
    buffer = io.BytesIO()
    with drawing():
        _settle(figure)
        figure.savefig(buffer, format="png", dpi=dots_per_inch, metadata={"Software": None})
    return buffer.getvalue()


def plan_colour(index: int) -> str:
    """The colour of the study's plan number ``index``; after seven they come again."""
    return PLAN_COLOURS[index % len(PLAN_COLOURS)]


def camera_colour(index: int) -> str:
    """The colour of the rig's camera number ``index``; after six they come again."""
    return CAMERA_COLOURS[index % len(CAMERA_COLOURS)]


def floor_unit(length_unit: str) -> str:
    """The unit of places on the floor: inches for those who ask for them, else metres."""
    return "in" if length_unit == "in" else "m"


def in_unit(label: str, length_unit: str) -> str:
    """An axis label with its unit.

    >>> in_unit("distance error", "in")
    'distance error (inch)'
    """
    return f"{label} ({length_label(length_unit)})"
