"""The folder of the user's cache: found, held while in use, and rid of what is old.

A folder in use holds an open file ``in_use``. Where there are file locks it is locked, shared among
those that use the folder; on Windows an open file alone keeps its folder from being moved.
"""

import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import BinaryIO

__all__ = ["hold", "remove_old", "temporary_folder", "user_folder"]

_IN_USE = "in_use"
_REMOVED = ".removed"
_TRIES = 100
_WAIT_S = 0.01


def user_folder() -> Path:
    """Where this system keeps what a program of this user may lose: the folder for posefuse.

    ``%LOCALAPPDATA%`` on Windows, ``~/Library/Caches`` on macOS, else ``$XDG_CACHE_HOME`` or
    ``~/.cache`` (XDG base directory specification 0.8).

    Raises
    ------
    RuntimeError
        The user has no home folder.
    """
    if sys.platform == "win32":
        local = os.environ.get("LOCALAPPDATA", "")
        return (Path(local) if local else Path.home() / "AppData" / "Local") / "posefuse" / "Cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "posefuse"
    given = os.environ.get("XDG_CACHE_HOME", "")
    return (Path(given) if Path(given).is_absolute() else Path.home() / ".cache") / "posefuse"


def temporary_folder() -> Path:
    """A folder for temporary files that is this user's alone, made if it is missing.

    What is kept in it is run later. So it must be a folder that nobody else can write.

    Raises
    ------
    OSError
        It cannot be made, or it is somebody else's.
    """
    if sys.platform == "win32":  # the folder for temporary files is the user's own
        folder = Path(tempfile.gettempdir()) / "posefuse"
        folder.mkdir(exist_ok=True)
        return folder
    folder = Path(tempfile.gettempdir()) / f"posefuse-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    status = folder.lstat()
    if folder.is_symlink() or status.st_uid != os.getuid() or status.st_mode & 0o022:
        raise PermissionError(f"{folder} can be written by others")
    return folder


def hold(folder: Path) -> BinaryIO:
    """Makes the folder if it is missing, and keeps it from being removed until this is closed.

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    for _ in range(_TRIES):
        folder.mkdir(parents=True, exist_ok=True)
        try:
            mark = (folder / _IN_USE).open("ab")
        except FileNotFoundError:  # removed meanwhile
            continue
        if _is_shared(mark) and _is_still(mark, folder / _IN_USE):
            os.utime(folder / _IN_USE)
            return mark
        mark.close()
        time.sleep(_WAIT_S)
    raise OSError(f"{folder} is being removed again and again")


def remove_old(parent: Path, *, keep: int) -> None:
    """Removes all folders of ``parent`` but those used last, and those in use now."""
    for unfinished in parent.glob(f"*{_REMOVED}"):
        shutil.rmtree(unfinished, ignore_errors=True)
    used_last = sorted(parent.glob(f"*/{_IN_USE}"), key=_used_at_ns, reverse=True)
    for mark in used_last[keep:]:
        _remove_unless_in_use(mark.parent)


def _used_at_ns(mark: Path) -> int:
    try:
        return mark.stat().st_mtime_ns
    except OSError:  # removed meanwhile
        return 0


def _is_still(mark: BinaryIO, path: Path) -> bool:
    """Whether the open file is the one that stands there."""
    try:
        return os.path.samestat(os.fstat(mark.fileno()), path.stat())
    except OSError:
        return False


if sys.platform == "win32":

    def _is_shared(mark: BinaryIO) -> bool:  # noqa: ARG001
        return True

    def _remove_unless_in_use(folder: Path) -> None:
        away = folder.with_name(folder.name + _REMOVED)
        try:
            folder.rename(away)  # fails while a file in it is open
        except OSError:
            return
        shutil.rmtree(away, ignore_errors=True)

else:
    import fcntl

    def _is_shared(mark: BinaryIO) -> bool:
        """Whether the mark is locked now; a file system without locks counts as locked."""
        try:
            fcntl.flock(mark, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            return True
        return True

    def _remove_unless_in_use(folder: Path) -> None:
        away = folder.with_name(folder.name + _REMOVED)
        try:
            with (folder / _IN_USE).open("ab") as mark:
                fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
                folder.rename(away)
        except OSError:
            return
        shutil.rmtree(away, ignore_errors=True)
