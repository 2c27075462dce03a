"""Schema of a study file."""

from math import radians
from typing import Annotated

import numpy as np
from pydantic import Field

from posefuse.build_errors.schema import AsBuiltTable
from posefuse.checks import FloatArray
from posefuse.files.toml_file import FileModel
from posefuse.files.types import Name, NotNegative, Positive
from posefuse.fusion.schema import FilterTable
from posefuse.simulation.scene import SightingSource

__all__ = ["PlanTable", "StudyTable"]


class StartTable(FileModel):
    """The error of the stated start pose."""

    position_std_m: NotNegative = 0.0
    heading_std_deg: NotNegative = 0.0

    @property
    def start_std(self) -> FloatArray:
        """x_m, y_m, heading_rad."""
        return np.array([self.position_std_m, self.position_std_m, radians(self.heading_std_deg)])


class PlanTable(FileModel):
    """One ``[[plan]]``."""

    name: Name
    rig: str
    camera: str | None = None
    filter: str | None = None


class StudyTable(FileModel):
    """A study file; paths are relative to it."""

    name: Name
    arena: str
    goal: str
    trials: Annotated[int, Field(ge=1, le=1_000_000)]
    seed: Annotated[int, Field(ge=0, le=2**63 - 1)]
    courses: Annotated[list[str], Field(min_length=1)]
    plan: Annotated[list[PlanTable], Field(min_length=1)]
    filter: str | FilterTable
    start: StartTable | None = None
    as_built: AsBuiltTable = AsBuiltTable()
    sightings: SightingSource = SightingSource.CORNERS
    course_duration_s: Positive | None = None
