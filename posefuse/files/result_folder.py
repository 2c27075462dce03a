"""Results appear whole or not at all, and never in the place of something else."""

import shutil
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from posefuse.errors import FileError

__all__ = ["new_folder", "refuse_present"]


def refuse_present(path: Path) -> None:
    """Raises when a result cannot be written as a new file of that name, for there is one."""
    if path.exists():
        raise FileError(path, "a file of that name exists: name a new one")


@contextmanager
def new_folder(path: Path) -> Iterator[Path]:
    """A folder to write into, which becomes ``path`` when the block ends well.

    Until then it is a sibling of ``path``; when the block fails it is removed.

    Raises
    ------
    FileError
        ``path`` is a file or a folder that holds something: nothing of it is touched.
    """
    _refuse_filled(path)
    whole = path.resolve()  # "." and "..", too, have a name and a place beside them
    unfinished = whole.with_name(f".{whole.name}.{uuid.uuid4().hex[:8]}.unfinished")
    made = _missing_parents(unfinished)
    try:
        unfinished.mkdir(parents=True)
    except OSError as error:
        raise FileError(path, f"the folder cannot be created: {error.strerror}") from None
    try:
        yield unfinished
    except BaseException:
        shutil.rmtree(unfinished, ignore_errors=True)
        _remove_empty(made)
        raise
    _put_in_place(unfinished, path)


def _refuse_filled(path: Path) -> None:
    """Raises when ``path`` is anything but absent or an empty folder."""
    if path.is_dir():
        if any(path.iterdir()):
            raise FileError(path, "the folder is not empty: name a new one")
    elif path.exists() or path.is_symlink():
        raise FileError(path, "a file of that name exists: name a new folder")


def _missing_parents(path: Path) -> list[Path]:
    return [parent for parent in path.parents if not parent.exists()]


def _remove_empty(folders: list[Path]) -> None:
    for folder in folders:  # the innermost first
        try:
            folder.rmdir()
        except OSError:  # something else was put there meanwhile
            return


def _put_in_place(unfinished: Path, path: Path) -> None:
    try:
        if path.is_dir():  # an empty one that was there before is filled, not replaced
            _refuse_filled(path)
            for part in list(unfinished.iterdir()):
                part.rename(path / part.name)
            unfinished.rmdir()
        else:
            unfinished.rename(path)
    except (FileError, OSError) as error:
        why = error.problem if isinstance(error, FileError) else error.strerror
        raise FileError(path, f"{why}; the results are kept in {unfinished}") from None
