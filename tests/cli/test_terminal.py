"""Tables on terminals of any width."""

import io

import pytest
from rich.console import Console

from posefuse.cli.terminal import plain_console, terminal_table

HEADERS = ("plan", "distance error RMS (cm)", "bound (cm)", "NEES")
ROWS = (("four corners, tilted up", "1.24 [1.10, 1.42] tie", "0.07", "17.5"),)


def shown(width: int, **options: object) -> list[str]:
    out = io.StringIO()
    Console(file=out, width=width).print(terminal_table(HEADERS, ROWS, width=width, **options))
    return out.getvalue().splitlines()


def headers_shown(width: int, **options: object) -> str:
    lines = shown(width, **options)
    return " ".join(lines[: next(place for place, line in enumerate(lines) if "──" in line)])


def test_an_interval_stands_below_its_figure() -> None:
    lines = shown(100)
    assert any(line.split()[-4:] == ["1.24", "tie", "0.07", "17.5"] for line in lines)
    assert any(line.strip() == "[1.10, 1.42]" for line in lines)


def test_columns_go_in_the_order_given_and_only_when_they_must() -> None:
    order = ("bound", "distance")
    assert "bound" in headers_shown(80, dropped_first=order)
    narrow = headers_shown(50, dropped_first=order)
    assert "bound" not in narrow
    assert "distance" in narrow
    assert "distance" not in headers_shown(38, dropped_first=order)


def test_names_are_broken_at_last() -> None:
    narrow = shown(44, dropped_first=("bound",), name_width=14)
    assert max(len(line) for line in narrow) <= 44
    assert any(line.startswith(" four corners, ") for line in narrow)
    assert any(line.startswith(" tilted up ") for line in narrow)


def test_some_columns_go_only_when_broken_names_do_not_help() -> None:
    options = {"dropped_first": ("bound",), "name_width": 14, "dropped_last": ("NEES",)}
    at_44, at_34 = (" ".join(shown(width, **options)) for width in (44, 34))
    assert "17.5" in at_44
    assert "17.5" not in at_34
    assert " four corners, " in at_44


def test_columns_at_the_right_end_go_before_letters_are_lost() -> None:
    for width in (40, 44, 48):
        lines = shown(width)
        assert "…" not in " ".join(lines)
        assert max(len(line) for line in lines) <= width
    assert "NEES" not in headers_shown(40)
    assert "distance" in headers_shown(40)


def test_what_has_no_room_is_named() -> None:
    assert "No room" not in " ".join(shown(80, dropped_first=("bound",)))
    narrow = " ".join(" ".join(shown(50, dropped_first=("bound",))).split())
    assert "No room for: bound (cm)." in narrow


def test_headers_take_as_few_lines_as_fit() -> None:
    assert len(shown(100)) < len(shown(52))


def test_square_brackets_in_names_are_shown_as_they_are(
    capsys: pytest.CaptureFixture[str],
) -> None:
    console, name = plain_console(), "[bold]two[/bold] [/red] :warning: 12"
    console.print(name)
    console.print(terminal_table(("plan", "NEES"), [(name, "3.0")], width=80))
    first, *table = capsys.readouterr().out.splitlines()
    assert first == name
    assert any(name in line for line in table)
