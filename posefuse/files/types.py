"""Kinds of values that file schemas share."""

from typing import Annotated, TypeAlias

from pydantic import Field

__all__ = [
    "LONGEST_S",
    "Count",
    "Name",
    "NotNegative",
    "Point",
    "PointOnFloor",
    "Positive",
    "QuarterTurn",
    "Rate",
    "Share",
    "Span",
]

Name: TypeAlias = Annotated[str, Field(min_length=1)]
Positive: TypeAlias = Annotated[float, Field(gt=0.0)]
NotNegative: TypeAlias = Annotated[float, Field(ge=0.0)]
Share: TypeAlias = Annotated[float, Field(ge=0.0, le=1.0)]
Count: TypeAlias = Annotated[int, Field(gt=0)]
QuarterTurn: TypeAlias = Annotated[float, Field(ge=-90.0, le=90.0)]
"""An angle in degrees between straight down and straight up."""
Point: TypeAlias = tuple[float, float, float]
_OnFloor: TypeAlias = Annotated[float, Field(ge=-1000.0, le=1000.0)]
PointOnFloor: TypeAlias = tuple[_OnFloor, _OnFloor]
Rate: TypeAlias = Annotated[float, Field(gt=0.0, le=10_000.0)]
"""In Hz."""
LONGEST_S = 36_000.0
"""Ten hours."""
Span: TypeAlias = Annotated[float, Field(ge=0.0, le=LONGEST_S)]
"""Of time."""
