"""Text and tables on the terminal."""

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

__all__ = ["plain_console", "terminal_table"]

_GAP = 2  # columns between two of a table, and around it
_NAME_WIDTH = 24
_HEADER_LETTERS = (16, 12, 9, 6, 0)


def plain_console(*, stderr: bool = False) -> "Console":
    """Shows text as it is: rich takes square brackets for styles, and names may hold them."""
    from rich.console import Console

    return Console(stderr=stderr, markup=False, emoji=False, highlight=False)


def terminal_table(
    headers: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    width: int,
    dropped_first: Sequence[str] = (),
    name_width: int = _NAME_WIDTH,
    dropped_last: Sequence[str] = (),
) -> "Table":
    """The table with figures and their intervals on two lines; under it, what had no room.

    Parameters
    ----------
    width
        Of the terminal, in columns.
    dropped_first
        How the headers begin of the columns that are left out when the terminal is too narrow, the
        first of them first.
    name_width
        Where the first column's texts are broken when that does not make the table narrow enough.
    dropped_last
        As ``dropped_first``, of the columns that go when even that does not help; after them the
        columns at the right end.
    """
    from rich import box
    from rich.table import Table

    cells = [[row[0], *(_two_lines(cell) for cell in row[1:])] for row in rows]
    shown = _that_fit(headers, cells, list(range(len(headers))), dropped_first, width)
    if _width(_titles(headers, cells, shown, 0), cells, shown) > width:
        for row in cells:
            row[0] = "\n".join(textwrap.wrap(row[0], name_width, break_long_words=False))
    shown = _that_fit(headers, cells, shown, dropped_last, width)
    shown = _that_fit(headers, cells, shown, [headers[place] for place in shown[:1:-1]], width)
    choices = [_titles(headers, cells, shown, letters) for letters in _HEADER_LETTERS]
    titles = next((t for t in choices if _width(t, cells, shown) <= width), choices[-1])
    table = Table(box=box.SIMPLE_HEAD, collapse_padding=True, pad_edge=False)
    for column, title in enumerate(titles):
        justify: Literal["left", "right"] = "left" if column == 0 else "right"
        table.add_column(title, justify=justify, no_wrap=True)
    for row in cells:
        table.add_row(*(row[place] for place in shown))
    hidden = [header for place, header in enumerate(headers) if place not in shown]
    if hidden:
        table.caption = f"No room for: {', '.join(hidden)}."
        table.caption_justify = "left"
    return table


def _that_fit(
    headers: Sequence[str],
    cells: Sequence[Sequence[str]],
    shown: Sequence[int],
    dropped: Sequence[str],
    width: int,
) -> list[int]:
    """Places of the columns that are left when those are dropped, in this order, that must be."""
    left = list(shown)
    for beginning in dropped:
        if _width(_titles(headers, cells, left, 0), cells, left) <= width:
            break
        left = [place for place in left if not headers[place].startswith(beginning)]
    return left


def _width(titles: Sequence[str], cells: Sequence[Sequence[str]], shown: Sequence[int]) -> int:
    """Columns that the table takes."""
    widths = [
        max(_widest(title), *(_widest(row[place]) for row in cells))
        for title, place in zip(titles, shown, strict=True)
    ]
    return sum(widths) + _GAP * len(shown)


def _titles(
    headers: Sequence[str], cells: Sequence[Sequence[str]], shown: Sequence[int], letters: int
) -> list[str]:
    """The headers shown, on as many lines as keep them as narrow as their column, or letters."""
    return [
        "\n".join(
            textwrap.wrap(
                headers[place],
                max(letters, *(_widest(row[place]) for row in cells), 1),
                break_long_words=False,
            )
        )
        for place in shown
    ]


def _widest(text: str) -> int:
    return max((len(line) for line in text.split("\n")), default=0)


def _two_lines(cell: str) -> str:
    """A figure with its interval below it; a tie is marked beside the figure."""
    figure, bracket, rest = cell.partition(" [")
    interval, _, tie = rest.partition("] ")
    return f"{figure} {tie}".rstrip() + f"\n[{interval.rstrip(']')}]" if bracket else cell
