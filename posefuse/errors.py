"""The exceptions posefuse raises for what a caller or a file got wrong.

::

    PosefuseError            anything known; the command line prints its lines and exits 2
    ├── InputError           a value given in code is outside what is allowed
    ├── FileError            a file: names the file, the line or key path, the value and what is
    │                        allowed; its ``faults`` hold one FileError for each thing wrong in it
    └── DegenerateView       corners from which no pose can be solved

A message is never empty: it names the thing, the value found and the values allowed.
"""

from collections.abc import Sequence
from pathlib import Path

__all__ = ["DegenerateView", "FileError", "InputError", "PosefuseError"]


class PosefuseError(Exception):
    """Anything posefuse knows to be wrong with what it was given."""


class InputError(PosefuseError, ValueError):
    """A value given in code is outside what is allowed."""


class DegenerateView(PosefuseError):  # noqa: N818  (it names a state of the view)
    """Corners from which no pose can be solved."""


class FileError(PosefuseError):
    """Something wrong in a file, told in one line; one more line for each further fault.

    Parameters
    ----------
    path
        The file (or recording folder) at fault.
    problem
        What is wrong: the value found and what is allowed.
    line
        1-based line number, where it is known.
    key
        Dotted key path such as ``tag.3.edge_m`` (counted from 1) or a column name, where there is
        one.
    others
        Further faults, of this file or of files it names.

    Examples
    --------
    >>> str(FileError("rig.toml", "should be less than 180 (got 270)", line=16, key="width_deg"))
    'rig.toml:16: width_deg: should be less than 180 (got 270)'
    """

    def __init__(
        self,
        path: Path | str,
        problem: str,
        *,
        line: int | None = None,
        key: str | None = None,
        others: Sequence["FileError"] = (),
    ) -> None:
        self.path = Path(path)
        self.problem = problem
        self.line = line
        self.key = key
        self.others = tuple(others)
        place = f"{path}:{line}" if line is not None else f"{path}"
        own = f"{place}: {key}: {problem}" if key else f"{place}: {problem}"
        super().__init__("\n".join([own, *(str(other) for other in self.others)]))

    def __reduce__(self) -> tuple[object, ...]:
        return _file_error, (self.path, self.problem, self.line, self.key, self.others)

    @property
    def faults(self) -> tuple["FileError", ...]:
        """Every fault as a ``FileError`` of its own."""
        alone = FileError(self.path, self.problem, line=self.line, key=self.key)
        return (alone, *(fault for other in self.others for fault in other.faults))

    @classmethod
    def joined(cls, faults: Sequence["FileError"]) -> "FileError":
        """One error that tells all ``faults``, each once; the first gives path, line and key."""
        every = {str(single): single for fault in faults for single in fault.faults}
        first, *others = every.values()
        return cls(first.path, first.problem, line=first.line, key=first.key, others=others)


def _file_error(
    path: Path, problem: str, line: int | None, key: str | None, others: tuple[FileError, ...]
) -> FileError:
    # worker processes send their errors home: exceptions with keyword arguments need this to travel
    return FileError(path, problem, line=line, key=key, others=others)
