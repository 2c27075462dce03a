"""Trajectories as open plain text: one line ``t x y z qx qy qz qw``, the quaternion's scalar last.

Seconds, metres, one pose a line, blanks between the numbers; lines that start with ``#`` are
comments.
"""

from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import FileError, InputError
from posefuse.files.numbers import number_of
from posefuse.files.text_file import read_text

__all__ = ["headings_rad", "read_trajectory", "write_trajectory"]

_COLUMNS = ("t", "x", "y", "z", "qx", "qy", "qz", "qw")
_UNIT_WITHIN = 0.01
"""How far off 1 the length of a quaternion may be: files round it."""


def read_trajectory(path: Path) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Stamps (n,) as the file has them, positions (n, 3), quaternions (n, 4), scalar last.

    Raises
    ------
    FileError
        A line that is not eight finite numbers, a stamp that does not rise, a quaternion that is
        not of length 1, or no pose at all: with file and line.
    """
    rows: list[list[float]] = []
    text = read_text(path)
    for number, line in enumerate(text.split("\n"), start=1):
        if line.strip() and not line.lstrip().startswith("#"):
            rows.append(_row(path, number, line, rows[-1][0] if rows else -np.inf))
    if not rows:
        raise FileError(path, f"holds no pose: each line is {' '.join(_COLUMNS)}")
    values = np.array(rows)
    return values[:, 0], values[:, 1:4], values[:, 4:]


def write_trajectory(path: Path, stamps_s: ArrayLike, poses: ArrayLike) -> None:
    """Writes plane poses (n, 3) (x_m, y_m, heading_rad) at stamps (n,), exactly to the last bit.

    The heading becomes a quaternion, so that whole turns are lost.
    """
    stamps = frozen_array("trajectory t", stamps_s, (None,))
    values = frozen_array("trajectory", poses, (len(stamps), 3))
    zero, half = np.zeros(len(stamps)), values[:, 2] / 2.0
    columns = [stamps, values[:, 0], values[:, 1], zero, zero, zero, np.sin(half), np.cos(half)]
    lines = [" ".join(map(repr, row)) for row in np.column_stack(columns).tolist()]
    text = "\n".join([f"# {' '.join(_COLUMNS)}", *lines, ""])
    path.write_text(text, encoding="utf-8", newline="\n")


def headings_rad(quaternions: FloatArray) -> FloatArray:
    """Headings of the x axis seen from above, unwrapped, for quaternions (n, 4), scalar last.

    >>> headings_rad(np.array([[0.0, 0.0, 1.0, 0.0]]))
    array([3.14159265])
    """
    x, y, z, w = quaternions.T
    return np.unwrap(np.arctan2(2.0 * (w * z + x * y), 1.0 - 2.0 * (y * y + z * z)))


def _row(path: Path, number: int, line: str, before_s: float) -> list[float]:
    cells = line.split()
    if len(cells) != len(_COLUMNS):
        problem = f"must hold 8 numbers, {' '.join(_COLUMNS)} (got {len(cells)})"
        raise FileError(path, problem, line=number)
    row = []
    for name, cell in zip(_COLUMNS, cells, strict=True):
        try:
            row.append(number_of(cell))
        except InputError as error:
            raise FileError(path, str(error), line=number, key=name) from None
    if row[0] <= before_s:
        problem = f"must be later than the line before, {before_s!r} (got {row[0]!r})"
        raise FileError(path, problem, line=number, key="t")
    length = float(np.linalg.norm(row[4:]))
    if abs(length - 1.0) > _UNIT_WITHIN:
        problem = f"the quaternion must be of length 1 (got {length:g})"
        raise FileError(path, problem, line=number, key="qx qy qz qw")
    return [*row[:4], *(part / length for part in row[4:])]
