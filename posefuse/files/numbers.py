"""Numbers as people's files spell them, and how large they may be."""

import math
import re

from posefuse.errors import InputError
from posefuse.files.toml_faults import shown_value

__all__ = ["LARGEST", "number_of"]

LARGEST = 2**53
"""As far as float64 counts without a gap; small enough to be squared and summed."""
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


def number_of(cell: str) -> float:
    """The number that a cell of a table holds, its dot before the decimals.

    Raises
    ------
    InputError
        Not a number, not finite, or beyond ``LARGEST``.
    """
    value = float(cell) if _NUMBER.fullmatch(cell) else math.nan
    if not math.isfinite(value):
        raise InputError(f"must be a finite number (got {shown_value(cell)})")
    if abs(value) > LARGEST:
        raise InputError(f"must lie between {-LARGEST:g} and {LARGEST:g} (got {shown_value(cell)})")
    return value
