"""Tables as CSV: a header row whose names carry units, then numbers (or, where declared, texts)."""

import csv
import difflib
import io
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posefuse.checks import FloatArray
from posefuse.errors import FileError, InputError
from posefuse.files.numbers import LARGEST, number_of
from posefuse.files.text_file import read_text
from posefuse.files.toml_faults import shown_value

__all__ = ["read_table", "write_table"]


def read_table(
    path: Path,
    columns: Sequence[str],
    *,
    optional: Collection[str] = (),
    text: Collection[str] = (),
    whole: Collection[str] = (),
) -> dict[str, NDArray[Any]]:
    """Each column under its name: float64, or int64 or text for those declared so.

    The order of the columns is free; blank lines are passed over; a table may have no rows. A first
    line that starts with ``#`` is a remark: the columns are then named on the second.

    Parameters
    ----------
    columns
        Names that must be there.
    optional
        Names that may be there; absent ones are absent from the result.
    text
        Which of them hold texts, such as names of cameras.
    whole
        Which of them hold whole numbers, such as ids.

    Raises
    ------
    FileError
        An unknown or missing column, a row that is too short or too long, or a cell that is empty
        or no finite number: with file, line and column.
    """
    content = read_text(path)
    header_line = 1
    if content.startswith("#"):
        content, header_line = _without_remark(content), 2
    lines = content.split("\n")
    names = _column_names(path, lines[0], columns, optional, line=header_line)
    table = _fast_columns(lines, names, text)
    if table is None:
        table = _checked_columns(path, content, names, text)
    for name in names:
        if name in whole:
            table[name] = _whole(path, lines, name, table[name])
    return table


def write_table(path: Path, columns: Mapping[str, Sequence[Any] | NDArray[Any]]) -> None:
    """Writes the columns so that re-reading them gives the same bits; booleans as 0 and 1.

    Raises
    ------
    InputError
        Columns of different lengths, or a number that is not finite or beyond ``LARGEST`` (it could
        not be read again).
    """
    arrays = {name: np.asarray(column) for name, column in columns.items()}
    arrays = {n: a.astype(np.int64) if a.dtype == np.bool_ else a for n, a in arrays.items()}
    lengths = {name: len(array) for name, array in arrays.items()}
    if len(set(lengths.values())) > 1:
        raise InputError(f"{path.name}: columns of different lengths: {lengths}")
    for name, array in arrays.items():
        if array.dtype.kind == "f" and not (np.abs(array) <= LARGEST).all():
            row = int(np.argmin(np.abs(array) <= LARGEST))
            what = f"beyond {LARGEST:g}" if np.isfinite(array[row]) else "not finite"
            raise InputError(f"{path.name}: {name}: row {row} is {what} (got {array[row]})")
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")  # spells a float by repr: exact
        writer.writerow(arrays)
        writer.writerows(zip(*(array.tolist() for array in arrays.values()), strict=True))


def _without_remark(content: str) -> str:
    """The text with the remark on its first line gone, and the number of every row kept."""
    _, _, rest = content.partition("\n")
    header, _, rows = rest.partition("\n")
    return f"{header}\n\n{rows}"


def _column_names(
    path: Path, header: str, columns: Sequence[str], optional: Collection[str], *, line: int
) -> list[str]:
    names = [name.strip() for name in next(csv.reader([header]), [])]
    known = [*columns, *optional]
    expected = f"the columns are {', '.join(columns)}"
    expected += f" (optional: {', '.join(optional)})" if optional else ""
    if not any(name in known for name in names):
        hint = "; cells are separated by commas" if re.search("[;\t]", header) else ""
        got = shown_value(header)
        raise FileError(path, f"must name the columns: {expected}{hint} (got {got})", line=line)
    faults = []
    for name in dict.fromkeys(names):
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            advice = f"did you mean {near[0]!r}?" if near else expected
            faults.append(FileError(path, f"unknown column {name!r}; {advice}", line=line))
        elif names.count(name) > 1:
            faults.append(FileError(path, f"the column {name!r} appears twice", line=line))
    missing = [name for name in columns if name not in names]
    if missing:
        faults.append(FileError(path, f"missing column: {', '.join(missing)}", line=line))
    if faults:
        raise FileError.joined(faults)
    return names


def _fast_columns(
    lines: list[str], names: list[str], text: Collection[str]
) -> dict[str, NDArray[Any]] | None:
    """The table by numpy's own parser; ``None`` when anything in it is out of order."""
    if not any(line.strip() for line in lines[1:]):
        return {name: _column([], is_text=name in text) for name in names}
    if any(line.count('"') % 2 for line in lines):  # numpy takes a quote that is never closed
        return None
    places = [names.index(name) for name in names if name in text]
    codes: list[dict[str, int]] = [{} for _ in places]
    try:
        values = np.loadtxt(
            lines[1:],
            delimiter=",",
            comments=None,
            quotechar='"',
            ndmin=2,
            converters={p: _coder(known) for p, known in zip(places, codes, strict=True)},
        )
    except ValueError:
        return None
    if values.shape[1] != len(names) or not (np.abs(values) <= LARGEST).all():
        return None
    table: dict[str, NDArray[Any]] = {
        name: np.ascontiguousarray(column) for name, column in zip(names, values.T, strict=True)
    }
    for place, known in zip(places, codes, strict=True):
        table[names[place]] = np.array(list(known))[values[:, place].astype(np.int64)]
    return table


def _coder(known: dict[str, int]) -> Callable[[str], Any]:
    """Turns a text cell into its number among those known so far."""

    def code(cell: str) -> int:
        if not cell.strip():
            raise ValueError("empty")
        return known.setdefault(cell.strip(), len(known))

    return code


def _checked_columns(
    path: Path, content: str, names: list[str], text: Collection[str]
) -> dict[str, NDArray[Any]]:
    """The same cell by cell: slow, and says where the first fault is."""
    is_cut_off = not content.endswith("\n")
    last_line = content.count("\n") + 1
    rows = csv.reader(io.StringIO(content), strict=True)
    cells: list[list[Any]] = [[] for _ in names]
    try:
        next(rows)
        for row in rows:
            if not any(cell.strip() for cell in row) and len(row) < 2:
                continue
            if len(row) != len(names):
                is_last = is_cut_off and rows.line_num == last_line
                why = "the last line is cut off: " if is_last and len(row) < len(names) else ""
                problem = f"{why}must hold {len(names)} cells (got {len(row)})"
                raise FileError(path, problem, line=rows.line_num)
            for name, cell, column in zip(names, row, cells, strict=True):
                column.append(_cell(path, rows.line_num, name, cell.strip(), name in text))
    except csv.Error as error:
        raise FileError(path, f"not valid CSV: {error}", line=rows.line_num) from None
    return {
        name: _column(column, is_text=name in text)
        for name, column in zip(names, cells, strict=True)
    }


def _cell(path: Path, line: int, name: str, cell: str, is_text: bool) -> str | float:  # noqa: FBT001
    if not cell:
        raise FileError(path, "the cell is empty", line=line, key=name)
    if is_text:
        return cell
    try:
        return number_of(cell)
    except InputError as error:
        raise FileError(path, str(error), line=line, key=name) from None


def _column(cells: list[Any], *, is_text: bool) -> NDArray[Any]:
    return np.array(cells, dtype=np.str_ if is_text else np.float64)


def _whole(path: Path, lines: list[str], name: str, values: FloatArray) -> NDArray[np.int64]:
    """The column as integers; float64 holds every whole number up to 2**53."""
    wrong = (values != np.floor(values)) | (np.abs(values) > 2.0**53)
    if wrong.any():
        row = int(np.argmax(wrong))
        filled = [number for number, line in enumerate(lines, start=1) if line.strip()]
        problem = f"must be a whole number (got {values[row]:g})"
        raise FileError(path, problem, line=filled[row + 1], key=name)
    return values.astype(np.int64)
