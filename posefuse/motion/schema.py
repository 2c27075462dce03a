"""Schemas of a course file."""

import math
from typing import Annotated

import numpy as np
from pydantic import Field

from posefuse.files.toml_file import FileModel
from posefuse.files.types import LONGEST_S, Name, NotNegative, PointOnFloor, Positive, Span
from posefuse.motion.course import Bump, Knock, Lift, Shot, Traffic
from posefuse.motion.waypoints import MotionLimits, Waypoint

__all__ = ["CourseFile"]

Instants = Annotated[tuple[float, ...], Field(min_length=1)]
Turns = Annotated[int, Field(ge=-100, le=100)]
_Limit = Annotated[float, Field(ge=0.01, le=10_000.0)]
"""Of speeds and accelerations: slower, a course would last for days."""


class LimitsTable(FileModel):
    """``[limits]``: how hard the waypoints are driven."""

    speed_m_per_s: _Limit
    acceleration_m_per_s2: _Limit
    turn_rate_deg_per_s: _Limit
    turn_acceleration_deg_per_s2: _Limit

    def limits(self) -> MotionLimits:
        """The limits themselves."""
        return MotionLimits(
            speed_m_per_s=self.speed_m_per_s,
            acceleration_m_per_s2=self.acceleration_m_per_s2,
            turn_rate_rad_per_s=math.radians(self.turn_rate_deg_per_s),
            turn_acceleration_rad_per_s2=math.radians(self.turn_acceleration_deg_per_s2),
        )


class WaypointEntry(FileModel):
    """One ``[[waypoint]]``."""

    position_m: PointOnFloor
    heading_deg: float | None = None
    turns: Turns = 0
    pause_s: Span = 0.0
    shot: Name | None = None

    def waypoint(self) -> Waypoint:
        """The waypoint itself."""
        return Waypoint(
            xy_in_world_m=np.array(self.position_m),
            heading_rad=None if self.heading_deg is None else math.radians(self.heading_deg),
            turns=self.turns,
            pause_s=self.pause_s,
            shot=self.shot,
        )


class ShotEntry(FileModel):
    """One ``[[shot]]``."""

    at_s: float
    goal: Name

    def shot(self) -> Shot:
        """The shot itself."""
        return Shot(at_s=self.at_s, goal=self.goal)


class BumpEntry(FileModel):
    """One ``[[bump]]``."""

    at_s: float
    duration_s: Positive
    slip_m: NotNegative

    def bump(self) -> Bump:
        """The bump itself."""
        return Bump(at_s=self.at_s, duration_s=self.duration_s, slip_m=self.slip_m)


class KnockEntry(FileModel):
    """One ``[[knock]]``."""

    mount: Name
    at_s: float
    pan_deg: float = 0.0
    tilt_deg: float = 0.0
    roll_deg: float = 0.0

    def knock(self) -> Knock:
        """The knock itself."""
        return Knock(
            mount=self.mount,
            at_s=self.at_s,
            pan_rad=math.radians(self.pan_deg),
            tilt_rad=math.radians(self.tilt_deg),
            roll_rad=math.radians(self.roll_deg),
        )


class LiftEntry(FileModel):
    """One ``[[lift]]``."""

    box: Name
    at_s: Instants
    raise_m: tuple[float, ...]

    def lift(self) -> Lift:
        """The lift itself."""
        return Lift(box=self.box, at_s=np.array(self.at_s), raise_m=np.array(self.raise_m))


class TrafficEntry(FileModel):
    """One ``[[traffic]]``."""

    name: Name
    size_m: tuple[Positive, Positive, Positive]
    at_s: Instants
    positions_m: tuple[PointOnFloor, ...]
    heading_deg: float = 0.0

    def traffic(self) -> Traffic:
        """The box itself."""
        return Traffic(
            name=self.name,
            size_m=np.array(self.size_m),
            at_s=np.array(self.at_s),
            xy_in_world_m=np.array(self.positions_m),
            heading_rad=math.radians(self.heading_deg),
        )


class CourseFile(FileModel):
    """A course file: waypoints with limits and a duration, or a recorded trajectory."""

    name: Name
    duration_s: Annotated[float, Field(gt=0.0, le=LONGEST_S)] | None = None
    repeat: bool | None = None
    still_s: Span | None = None
    limits: LimitsTable | None = None
    waypoint: tuple[WaypointEntry, ...] = ()
    trajectory: Name | None = None
    shot: tuple[ShotEntry, ...] = ()
    bump: tuple[BumpEntry, ...] = ()
    knock: tuple[KnockEntry, ...] = ()
    lift: tuple[LiftEntry, ...] = ()
    traffic: tuple[TrafficEntry, ...] = ()
