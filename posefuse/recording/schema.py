"""Schema of ``recording.toml``."""

from typing import Annotated

from pydantic import Field

from posefuse.files.toml_file import FileModel
from posefuse.files.types import Name, NotNegative

__all__ = ["RecordingTable", "StartTable"]

_Row = tuple[float, float, float]


class StartTable(FileModel):
    """The pose at the first odometry row as stated.

    The heading in degrees or, exactly, in radians; the spread as two numbers or, exactly, as the
    covariance of x_m, y_m, heading_rad.
    """

    x_m: float
    y_m: float
    heading_deg: float | None = None
    heading_rad: float | None = None
    position_std_m: NotNegative | None = None
    heading_std_deg: NotNegative | None = None
    covariance: tuple[_Row, _Row, _Row] | None = None


class RecordingTable(FileModel):
    """``recording.toml``; paths are relative to it."""

    name: Name
    rig: str
    camera: str | None = None
    arena: str
    recorded_on: str = ""
    clock: str = ""
    goal: str | None = None
    dropped_frame_count: Annotated[int, Field(ge=0)] = 0
    start: StartTable | None = None
