"""Panels side by side in one picture: no cell of the grid stays blank."""

import textwrap
from collections.abc import Sequence

from posefuse.plots.style import Axes

__all__ = ["columns_of_maps", "columns_of_sketches", "show_outer_labels", "wrapped"]


def columns_of_maps(count: int) -> int:
    """Columns of wide panels that leave one cell free at most.

    >>> [columns_of_maps(count) for count in (1, 2, 3, 5, 6, 9)]
    [1, 2, 3, 2, 2, 3]
    """
    if count == 1:
        return 1
    return 3 if count % 2 and count % 3 == 0 else 2


def columns_of_sketches(count: int) -> int:
    """Columns of square panels.

    >>> [columns_of_sketches(count) for count in (1, 2, 3, 4, 5, 6)]
    [1, 2, 3, 2, 3, 3]
    """
    return 2 if count == 4 else min(count, 3)


def show_outer_labels(axes: Sequence[Axes], columns: int) -> None:
    """Leaves ticks and labels to the lowest panel of each column and the first one of each row."""
    for place, ax in enumerate(axes):
        is_lowest, is_first = place + columns >= len(axes), place % columns == 0
        ax.tick_params(axis="x", bottom=is_lowest, labelbottom=is_lowest)
        ax.tick_params(axis="y", left=is_first, labelleft=is_first)
        if not is_lowest:
            ax.set_xlabel("")
        if not is_first:
            ax.set_ylabel("")


def wrapped(name: str, width: int) -> str:
    """The name on two lines at most; of a longer one the middle is left out."""
    if len(name) > 2 * width:
        name = f"{name[: width - 2].rstrip()} … {name[1 - width :].lstrip()}"
    return "\n".join(textwrap.wrap(name, width)) or name
