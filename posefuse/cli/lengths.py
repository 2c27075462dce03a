"""Lengths on the command line: a number and its unit in one word."""

import math
import re

import click

from posefuse.units import LENGTHS_M

__all__ = ["Length"]

_LENGTH = re.compile(r"([0-9]*\.?[0-9]+)\s*([a-z]+)")


class Length(click.ParamType):  # type: ignore[type-arg]  # older clicks take no argument
    """A length such as ``25cm``, in metres.

    >>> Length().convert("10in", None, None)
    0.254
    """

    name = "length"

    def convert(
        self,
        value: str | float,
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> float:
        """The length in metres; a word without a unit is refused."""
        if isinstance(value, float):
            return value
        parts = _LENGTH.fullmatch(value.strip())
        if parts is None or parts[2] not in LENGTHS_M:
            units = ", ".join(LENGTHS_M)
            self.fail(
                f"{value!r}: expected a number with its unit ({units}), such as 25cm", param, ctx
            )
        length_m = float(parts[1]) * LENGTHS_M[parts[2]]
        return length_m if math.isfinite(length_m) else self.fail(f"{value!r} is too long")
