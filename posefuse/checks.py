"""Caller input to checked, read-only arrays and numbers."""

import math
from typing import Any, TypeAlias, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from posefuse.errors import InputError

__all__ = [
    "BoolArray",
    "FloatArray",
    "IntArray",
    "finite",
    "frozen_array",
    "frozen_ints",
    "in_range",
    "increasing",
    "locked",
    "not_negative",
    "positive",
]

FloatArray: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]
BoolArray: TypeAlias = NDArray[np.bool_]
Scalar = TypeVar("Scalar", bound=np.generic)


def frozen_array(name: str, value: ArrayLike, shape: tuple[int | None, ...]) -> FloatArray:
    """A read-only float64 array of exactly the wanted shape; copied if it can be written to.

    Parameters
    ----------
    shape
        ``None`` stands for any length; a leading ``...`` is not supported: say each axis.

    Raises
    ------
    InputError
        Wrong shape, or a value that is not finite.

    Examples
    --------
    >>> frozen_array("goal_in_world_m", [1, 2, 3], (3,))
    array([1., 2., 3.])
    >>> frozen_array("goal_in_world_m", [1, 2], (3,))
    Traceback (most recent call last):
    posefuse.errors.InputError: goal_in_world_m: shape (2,) given, (3,) wanted
    """
    array = _with_shape(name, _own(value, np.float64), shape)
    if not np.isfinite(array).all():
        raise InputError(f"{name}: holds a value that is not finite")
    array.setflags(write=False)
    return array


def frozen_ints(name: str, value: ArrayLike, shape: tuple[int | None, ...]) -> IntArray:
    """A read-only int64 array of exactly the wanted shape; copied if it can be written to."""
    array = _with_shape(name, _own(value, np.int64), shape)
    array.setflags(write=False)
    return array


def locked(array: NDArray[Scalar]) -> NDArray[Scalar]:
    """The same array made read-only, for one that nobody else holds: no copy is needed then.

    >>> locked(np.zeros(2)).flags.writeable
    False
    """
    array.setflags(write=False)
    return array


def _own(value: ArrayLike, dtype: type[np.generic]) -> NDArray[Any]:
    """``value`` itself where nobody can write to it, a copy otherwise."""
    array = np.asarray(value, dtype=dtype)
    is_shared = array is value or array.base is not None
    return array.copy() if is_shared and array.flags.writeable else array


def _with_shape(name: str, array: NDArray[Any], shape: tuple[int | None, ...]) -> NDArray[Any]:
    fits = array.ndim == len(shape) and all(
        want is None or have == want for have, want in zip(array.shape, shape, strict=True)
    )
    if not fits:
        wanted = str(tuple("any" if n is None else n for n in shape)).replace("'", "")
        raise InputError(f"{name}: shape {array.shape} given, {wanted} wanted")
    return array


def finite(name: str, value: float) -> float:
    """``value`` as a float that is neither NaN nor infinite."""
    if not math.isfinite(value):
        raise InputError(f"{name}: must be a finite number (got {value})")
    return float(value)


def positive(name: str, value: float) -> float:
    """``value`` as a float above zero."""
    if not finite(name, value) > 0.0:
        raise InputError(f"{name}: must be greater than 0 (got {value:g})")
    return float(value)


def not_negative(name: str, value: float) -> float:
    """``value`` as a float of zero or more."""
    if not finite(name, value) >= 0.0:
        raise InputError(f"{name}: must be 0 or more (got {value:g})")
    return float(value)


def in_range(name: str, value: float, low: float, high: float) -> float:
    """``value`` as a float with ``low <= value <= high``."""
    if not low <= finite(name, value) <= high:
        raise InputError(f"{name}: must be between {low:g} and {high:g} (got {value:g})")
    return float(value)


def increasing(name: str, stamps_s: FloatArray) -> FloatArray:
    """Stamps that rise strictly; the message gives the first row that does not."""
    steps = np.diff(stamps_s)
    if (steps <= 0.0).any():
        row = int(np.argmax(steps <= 0.0)) + 1
        kind = "repeats" if steps[row - 1] == 0.0 else "goes back"
        raise InputError(f"{name}: the stamp {kind} at row {row} ({stamps_s[row]!r})")
    return stamps_s
