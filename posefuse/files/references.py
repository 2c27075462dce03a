"""Files that name other files."""

import difflib
from pathlib import Path

from posefuse.errors import InputError

__all__ = ["referenced"]


def referenced(path: Path, name: str) -> Path:
    """The file ``name`` as seen from the file at ``path``.

    Raises
    ------
    InputError
        There is no such file; call it inside ``in_file`` or ``Faults.at``, which add the place.
    """
    target = path.parent / name
    if target.is_file():
        return target
    if target.is_dir():
        raise InputError(f"expected a file, got the folder {name!r}")
    folder = target.parent
    there = [file.name for file in folder.iterdir()] if folder.is_dir() else []
    near = difflib.get_close_matches(target.name, there, n=1)
    advice = f"; did you mean {near[0]!r}?" if near else f"; looked for {str(target)!r}"
    raise InputError(f"no such file (got {name!r}){advice}")
