"""How posefuse compiles its inner loops: one decorator, so that every kernel follows one rule.

Compiled functions release the interpreter lock, so that threads run trials side by side, and are
cached on disk beside the source. A cache does not notice a changed function or constant in an
imported module: after such a change delete the ``__pycache__`` folders (the checks do).
"""

from typing import Any, TypeVar

import numba

__all__ = ["inlined_kernel", "kernel"]

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
