"""Human units at the borders: files, commands and plots speak them, nothing inside does."""

import math

__all__ = ["LENGTHS_M", "length_label", "metres_to", "to_degrees"]

LENGTHS_M = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254}
"""Metres in one of each length unit a key's suffix may name (the inch is exact: ISO 31-1)."""

to_degrees = math.degrees


def metres_to(unit: str, length_m: float) -> float:
    """A length in another unit.

    >>> metres_to("in", 0.0254)
    1.0
    """
    return length_m / LENGTHS_M[unit]


def length_label(unit: str) -> str:
    """The unit as a plot or table spells it."""
    return {"in": "inch"}.get(unit, unit)
