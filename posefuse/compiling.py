"""How posefuse compiles its inner loops: one decorator, so that every kernel follows one rule.

Compiled functions release the interpreter lock, so that threads run trials side by side, and are
kept on disk (``caching.kernels``) for as long as the source is the same.
"""

from collections.abc import Callable
from typing import Any, TypeVar

import numba

from posefuse.caching.kernels import is_kept, keep

__all__ = ["inlined_kernel", "is_cached", "kernel"]

F = TypeVar("F")


def kernel(function: F) -> F:
    """Compile for contiguous arrays; division by zero gives inf or nan as numpy does."""
    return _compiled(function, {})


def inlined_kernel(function: F) -> F:
    """Compile like ``kernel``, and into the body of every kernel that calls it.

    For small parts of a tight loop: a call that hands over arrays counts each of them in and out,
    which costs more than a hundred flops.
    """
    return _compiled(function, {"forceinline": True})


def is_cached(function: Callable[..., object]) -> bool:
    """Whether a compiled form of this kernel is on disk, from the source as it is now."""
    return is_kept(function)


def _compiled(function: F, options: dict[str, bool]) -> F:
    compiled: Any = numba.njit(nogil=True, error_model="numpy", fastmath={"contract"}, **options)(
        function
    )
    keep(compiled)
    return compiled  # type: ignore[no-any-return]
