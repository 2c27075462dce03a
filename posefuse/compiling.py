"""How posefuse compiles its inner loops: one decorator, so that every kernel follows one rule.

Compiled functions release the interpreter lock, so that threads run trials side by side, and are
cached on disk beside the source. A cache does not notice a changed function or constant in an
imported module: after such a change delete the ``__pycache__`` folders (the checks do).
"""

import inspect
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numba

__all__ = ["inlined_kernel", "is_cached", "kernel"]

F = TypeVar("F")


def kernel(function: F) -> F:
    """Compile for contiguous arrays; division by zero gives inf or nan as numpy does."""
    compiled: Any = numba.njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract"})
    return compiled(function)  # type: ignore[no-any-return]


def inlined_kernel(function: F) -> F:
    """Compile like ``kernel``, and into the body of every kernel that calls it.

    For small parts of a tight loop: a call that hands over arrays counts each of them in and out,
    which costs more than a hundred flops.
    """
    compiled: Any = numba.njit(
        cache=True, nogil=True, error_model="numpy", fastmath={"contract"}, forceinline=True
    )
    return compiled(function)  # type: ignore[no-any-return]


def is_cached(function: Callable[..., object]) -> bool:
    """Whether the cache holds a compiled form of this kernel that is newer than its source."""
    compiled: Any = function
    name = compiled.py_func.__qualname__
    source = Path(inspect.getfile(compiled.py_func))
    python = f"py{sys.version_info.major}{sys.version_info.minor}"
    kept = Path(compiled.stats.cache_path).glob(f"{source.stem}.{name}-*.{python}.nbi")
    changed_at_s = source.stat().st_mtime
    return any(index.stat().st_mtime >= changed_at_s for index in kept)
