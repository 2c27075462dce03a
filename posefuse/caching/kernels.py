"""Compiled kernels on disk, in one folder for each state of the source and of what compiles it.

Numba's own cache looks at the file of a kernel alone, and so keeps code that holds the old form of
a function or a constant of another file. Here the folder's name is a digest of the package's
source, of the versions of Python, numpy and numba, of numba's settings and of the processor. Numba
still decides what is kept and for which types; this module decides where, and writes one file for
each, so that processes side by side have no index to share.
"""

import atexit
import hashlib
import inspect
import logging
import pickle
import sys
import uuid
from contextlib import suppress
from functools import cache
from pathlib import Path
from threading import RLock
from typing import Any, BinaryIO, NamedTuple

import llvmlite
import numba
import numpy as np
from llvmlite import binding
from numba.core import config
from numba.core.caching import CompileResultCacheImpl, FunctionCache, _CacheLocator
from numba.core.dispatcher import Dispatcher
from numba.core.serialize import dumps

from posefuse.caching.folder import hold, remove_old, temporary_folder, user_folder
from posefuse.caching.source import (
    PACKAGE,
    SourceState,
    holds_kernels,
    names_what_is_left_out,
    source_state,
)

__all__ = ["is_kept", "keep"]

_FOLDERS_KEPT = 6
"""How many states of the source are kept; a complete one takes about 20 MB."""
_SUFFIX = ".kernel"
_DIGEST_BYTES = 32
_WITHOUT_EFFECT_ON_CODE = {"CACHE_DIR", "NUMBA_NUM_THREADS", "NUMBA_DEFAULT_NUM_THREADS"}
_log = logging.getLogger("posefuse")
_one_at_a_time = RLock()


class _Place(NamedTuple):
    """A folder for kernels, held while the process runs, and the source that it is good for."""

    folder: Path
    mark: BinaryIO
    source: SourceState


def keep(kernel: Any) -> None:  # noqa: ANN401
    """Lets a kernel of the package load what is kept of it, and keep what is compiled of it."""
    if not isinstance(kernel, Dispatcher):  # numba's setting DISABLE_JIT
        return
    place = _place()
    if place is not None and holds_kernels(Path(inspect.getfile(kernel.py_func)), PACKAGE):
        kernel._cache = _KernelCache(kernel.py_func, place)


def is_kept(kernel: Any) -> bool:  # noqa: ANN401
    """Whether a compiled form of this kernel is kept."""
    kept: object = getattr(kernel, "_cache", None)
    return isinstance(kept, _KernelCache) and len(kept.files.paths()) > 0


def _place() -> _Place | None:
    with _one_at_a_time:
        return _found_place()


@cache
def _found_place() -> _Place | None:
    """The folder for the source as it is now; none where nothing can be read or written."""
    try:
        source = source_state(PACKAGE)
    except OSError:
        return None
    name = _digest_of_all(source)
    try:
        return _held_place(_kernels_of_user(), name, source)
    except (OSError, RuntimeError) as fault:
        return _temporary_place(name, source, fault)


def _temporary_place(name: str, source: SourceState, fault: Exception) -> _Place | None:
    try:
        place = _held_place(temporary_folder() / "kernels", name, source)
    except OSError:
        _log.warning("posefuse: compiled code cannot be kept: %s", fault)
        return None
    _log.warning("posefuse: compiled code is kept in %s: %s", place.folder.parent, fault)
    return place


def _kernels_of_user() -> Path:
    """Numba's own setting for its caches, where it is given, else the user's cache."""
    chosen: str = config.CACHE_DIR
    return (Path(chosen) / "posefuse" if chosen else user_folder()) / "kernels"


def _held_place(kernels: Path, name: str, source: SourceState) -> _Place:
    is_new = not (kernels / name).exists()
    place = _Place(folder=kernels / name, mark=hold(kernels / name), source=source)
    atexit.register(place.mark.close)
    if is_new:
        remove_old(kernels, keep=_FOLDERS_KEPT)
    return place


def _digest_of_all(source: SourceState) -> str:
    """One digest of all that the code of a kernel hangs on, but for its types."""
    settings = sorted(
        (name, repr(value))
        for name, value in vars(config).items()
        if name.isupper()
        and name not in _WITHOUT_EFFECT_ON_CODE
        and isinstance(value, (bool, int, float, str, type(None)))
    )
    parts = (
        source.digest,
        sys.version,
        np.__version__,
        numba.__version__,
        llvmlite.__version__,
        binding.get_host_cpu_name(),
        settings,
    )
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]


class _KernelCache(FunctionCache):  # type: ignore[misc]
    """Numba's cache of one function, in files of our own."""

    def __init__(self, py_func: Any, place: _Place) -> None:  # noqa: ANN401
        path = Path(inspect.getfile(py_func)).relative_to(PACKAGE).with_suffix("")
        self._name = repr(py_func)
        self._py_func = py_func
        self._impl = _Implementation(py_func, place)
        self._cache_path = str(place.folder)
        self.files = _KernelFiles(place, ".".join((*path.parts, py_func.__qualname__)))
        self._cache_file = self.files
        self.enable()


class _Implementation(CompileResultCacheImpl):  # type: ignore[misc]
    """How numba turns compiled code into what can be pickled, without its search for a place."""

    def __init__(self, py_func: Any, place: _Place) -> None:  # noqa: ANN401
        self._lineno = py_func.__code__.co_firstlineno
        self._locator = _Locator(py_func, place)


class _Locator(_CacheLocator):  # type: ignore[misc]
    """What numba wants to know of a place."""

    def __init__(self, py_func: Any, place: _Place) -> None:  # noqa: ANN401
        self._py_file = inspect.getfile(py_func)
        self._place = place

    def ensure_cache_path(self) -> None:
        """Nothing: whatever cannot be written is left out."""

    def get_cache_path(self) -> str:
        return str(self._place.folder)

    def get_source_stamp(self) -> str:
        return self._place.source.digest

    def get_disambiguator(self) -> str:
        return ""


class _KernelFiles:
    """The compiled forms of one kernel, a file for each key, which is types and processor.

    A file holds a digest, and what it is the digest of: key and code. It appears whole or not at
    all. What cannot be read or written is compiled again.
    """

    def __init__(self, place: _Place, name: str) -> None:
        self._place = place
        self._name = name

    def load(self, key: object) -> Any:  # noqa: ANN401
        try:
            content = self._path(key).read_bytes()
        except OSError:
            return None
        if hashlib.sha256(content[_DIGEST_BYTES:]).digest() != content[:_DIGEST_BYTES]:
            return None
        kept_key, code = pickle.loads(content[_DIGEST_BYTES:])
        return code if kept_key == key else None

    def save(self, key: object, code: object) -> None:
        """Keeps the code, unless it hangs on other source than the digest of the folder.

        That is so when the source has changed since the process began, and for types of a room
        that the digest leaves out.
        """
        content = dumps((key, code))
        if not self._place.source.is_current() or names_what_is_left_out(content):
            return
        path = self._path(key)
        part = path.with_name(f"{uuid.uuid4().hex}.part")
        try:
            part.write_bytes(hashlib.sha256(content).digest() + content)
            part.replace(path)
        except OSError:
            _remove(part)

    def flush(self) -> None:
        for path in self.paths():
            _remove(path)

    def paths(self) -> list[Path]:
        return list(self._place.folder.glob(f"{self._name}-*{_SUFFIX}"))

    def _path(self, key: object) -> Path:
        digest = hashlib.sha256(repr(key).encode()).hexdigest()[:16]
        return self._place.folder / f"{self._name}-{digest}{_SUFFIX}"


def _remove(path: Path) -> None:
    with suppress(OSError):
        path.unlink()
