"""Schema of arena files.

A key that a file leaves out keeps the default of the type it is turned into.
"""

import difflib
from typing import Annotated

from pydantic import AfterValidator, Field

from posefuse.arena.placement import FAMILY_SIZES
from posefuse.files.toml_file import FileModel
from posefuse.files.types import Name, Point, Positive, QuarterTurn

__all__ = ["ArenaFile", "BeaconEntry", "GoalEntry", "ObstacleEntry", "TagEntry"]


def _known_family(family: str) -> str:
    if family not in FAMILY_SIZES:
        near = difflib.get_close_matches(family, FAMILY_SIZES, n=1)
        advice = (
            f"did you mean {near[0]!r}?" if near else f"must be one of {', '.join(FAMILY_SIZES)}"
        )
        raise ValueError(f"unknown family; {advice} (got {family!r})")
    return family


Family = Annotated[str, AfterValidator(_known_family)]


class TagEntry(FileModel):
    """One ``[[tag]]``."""

    id: Annotated[int, Field(ge=0)]
    position_m: Point
    facing_deg: float
    tilt_deg: QuarterTurn = 0.0
    family: Family | None = None
    edge_m: Positive | None = None


class GoalEntry(FileModel):
    """One ``[[goal]]``."""

    name: Name
    centre_m: Point
    width_m: Positive
    height_m: Positive
    facing_deg: float
    tilt_deg: QuarterTurn = 0.0


class ObstacleEntry(FileModel):
    """One ``[[obstacle]]``."""

    name: Name
    centre_m: Point
    size_m: tuple[Positive, Positive, Positive]
    heading_deg: float = 0.0
    blocks_course: bool = True


class BeaconEntry(FileModel):
    """One ``[[beacon]]``; it may stand outside the arena."""

    id: Annotated[int, Field(ge=0)]
    position_m: Point


class ArenaFile(FileModel):
    """An arena file."""

    name: Name
    length_m: Positive
    width_m: Positive
    tag_family: Family | None = None
    tag_edge_m: Positive | None = None
    tag: tuple[TagEntry, ...] = ()
    goal: tuple[GoalEntry, ...] = ()
    obstacle: tuple[ObstacleEntry, ...] = ()
    beacon: tuple[BeaconEntry, ...] = ()
