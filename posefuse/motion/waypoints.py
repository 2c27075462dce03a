"""What a course is planned from: places to go, and how hard the robot may be driven."""

from dataclasses import dataclass

from posefuse.checks import FloatArray, finite, frozen_array, not_negative, positive
from posefuse.errors import InputError

__all__ = ["MotionLimits", "Waypoint"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MotionLimits:
    """The most a planned course asks of the robot.

    Parameters
    ----------
    acceleration_m_per_s2
        Of the position, along the path and across it together.
    """

    speed_m_per_s: float
    acceleration_m_per_s2: float
    turn_rate_rad_per_s: float
    turn_acceleration_rad_per_s2: float

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            positive(name, getattr(self, name))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Waypoint:
    """A place on the way.

    Parameters
    ----------
    heading_rad
        ``None``: the heading is free here. When no waypoint of a course has one, the robot faces
        along its path.
    turns
        Full turns, counter-clockwise, made on the way here on top of the shortest turn.
    pause_s
        How long the robot stands still here; 0: it passes at speed.
    shot
        Goal shot at: in the middle of the pause, or in passing.
    """

    xy_in_world_m: FloatArray
    heading_rad: float | None = None
    turns: int = 0
    pause_s: float = 0.0
    shot: str | None = None

    def __post_init__(self) -> None:
        xy = frozen_array("position_m", self.xy_in_world_m, (2,))
        object.__setattr__(self, "xy_in_world_m", xy)
        not_negative("pause_s", self.pause_s)
        if self.heading_rad is not None:
            finite("heading", self.heading_rad)
        elif self.turns:
            raise InputError(f"turns: needs a heading at the same waypoint (got {self.turns})")
