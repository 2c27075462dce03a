"""The exceptions posefuse raises for what a caller or a file got wrong.

::

    PosefuseError            anything known; the command line prints its one line and exits 2
    ├── InputError           a value given in code is outside what is allowed
    ├── FileError            a file: names the file, the line or key path, the value, what is allowed
    └── DegenerateView       corners from which no pose can be solved

A message is never empty: it names the thing, the value found and the values allowed.
"""

from pathlib import Path

__all__ = ["DegenerateView", "FileError", "InputError", "PosefuseError"]


class PosefuseError(Exception):
    """Anything posefuse knows to be wrong with what it was given."""


class InputError(PosefuseError, ValueError):
    """A value given in code is outside what is allowed."""


class DegenerateView(PosefuseError):
    """Corners from which no pose can be solved."""


class FileError(PosefuseError):
    """Something wrong in a file, told in one line.

    Parameters
    ----------
    path
        The file (or recording folder) at fault.
    problem
        What is wrong: the value found and what is allowed.
    line
        1-based line number, where it is known.
    key
        Dotted key path such as ``tag.3.edge_m`` or a column name, where there is one.

    Examples
    --------
    >>> str(FileError("rig.toml", "should be less than 180 (got 270)", line=16, key="width_deg"))
    'rig.toml:16: width_deg: should be less than 180 (got 270)'
    """

    def __init__(
        self, path: Path | str, problem: str, *, line: int | None = None, key: str | None = None
    ) -> None:
        self.path = Path(path)
        self.problem = problem
        self.line = line
        self.key = key
        place = f"{path}:{line}" if line is not None else f"{path}"
        super().__init__(f"{place}: {key}: {problem}" if key else f"{place}: {problem}")
