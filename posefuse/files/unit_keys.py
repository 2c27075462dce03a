"""Which spellings a key may have: ``height_m`` is also taken as ``height_cm``, ``_mm``, ``_in``."""

import difflib
import math
from collections.abc import Iterable, Mapping
from typing import Any

from posefuse.units import LENGTHS_M

__all__ = ["SEVERAL_UNITS", "key_advice", "spellings", "to_main_unit", "with_main_units"]

SEVERAL_UNITS: Mapping[str, Mapping[str, float]] = {
    "m": LENGTHS_M,
    "s": {"s": 1.0, "ms": 0.001},
}
"""Units that have variants, by the unit of the key's main spelling; how many of it each one is."""


def spellings(key: str) -> dict[str, float]:
    """Every allowed spelling of a key, the main one first, with its worth in the main unit.

    Compound units (``speed_m_per_s``) have one spelling only.

    Examples
    --------
    >>> list(spellings("height_m"))
    ['height_m', 'height_cm', 'height_mm', 'height_in']
    >>> list(spellings("speed_m_per_s"))
    ['speed_m_per_s']
    """
    stem, _, unit = key.rpartition("_")
    if not stem or "_per_" in key or unit not in SEVERAL_UNITS:
        return {key: 1.0}
    return {f"{stem}_{variant}": worth for variant, worth in SEVERAL_UNITS[unit].items()}


def to_main_unit(value: object, worth: float) -> object:
    """A number, or nested lists of numbers, times ``worth``; anything else is handed back."""
    if isinstance(value, list):
        return [to_main_unit(item, worth) for item in value]
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return value
    try:
        return value * worth
    except OverflowError:
        return math.inf


def with_main_units(table: Mapping[str, Any], keys: Iterable[str]) -> dict[str, Any]:
    """The table with each length and time under its main key.

    A second spelling of a key that is already there is left in place, so that it counts as unknown.
    """
    taken = dict(table)
    for key in keys:
        for spelling, worth in spellings(key).items():
            if spelling != key and spelling in table and key not in taken:
                taken[key] = to_main_unit(taken.pop(spelling), worth)
    return taken


def key_advice(wrong: str, *, given: Iterable[str], keys: Iterable[str]) -> tuple[str, str | None]:
    """The message for a key that no field takes, and the field it was most likely meant for.

    Parameters
    ----------
    given
        All keys that stand in the same table of the file.
    keys
        The main spellings of the fields.
    """
    keys = list(keys)
    every = {spelling: key for key in keys for spelling in spellings(key)}
    if wrong in every:
        repeated = [spelling for spelling in given if every.get(spelling) == every[wrong]]
        return f"given more than once ({', '.join(repeated)}): keep one of them", every[wrong]
    same_stem = [key for key in keys if _stem(key) in (_stem(wrong), wrong)]
    if same_stem:
        allowed = ", ".join(name for key in same_stem for name in spellings(key))
        return f"unknown key, or a wrong unit; allowed: {allowed}", same_stem[0]
    near = difflib.get_close_matches(wrong, every, n=1, cutoff=0.7)
    if near:
        return f"unknown key; did you mean {near[0]!r}?", every[near[0]]
    return f"unknown key; allowed: {', '.join(keys) or 'none'}", None


def _stem(key: str) -> str:
    """The key without its unit: everything before the last part that is one."""
    parts = key.split("_")
    for place in range(1, len(parts)):
        if parts[place] in _UNITS:
            return "_".join(parts[:place])
    return key


# fmt: off
_UNITS = frozenset((
    "m", "cm", "mm", "in", "km", "ft", "feet", "inch", "inches", "yd", "metres", "meters",
    "s", "ms", "us", "min", "sec", "seconds", "deg", "rad", "degrees", "px", "hz",
))
# fmt: on
"""Parts of a key that name a unit, whether it is allowed or not."""
