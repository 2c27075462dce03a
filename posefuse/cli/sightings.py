"""Where a command's sightings come from."""

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from posefuse.study.study import Study

__all__ = ["with_sightings"]


def with_sightings(study: "Study", sightings: str | None) -> "Study":
    """The study with sightings from ``corners`` or ``images``; ``None``: as it says itself."""
    from posefuse.simulation.scene import SightingSource

    return study if sightings is None else replace(study, sightings=SightingSource(sightings))
