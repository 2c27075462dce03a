"""A course: the true path with its shots, and what happens to the robot on the way."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from posefuse.checks import FloatArray, finite, frozen_array, increasing, not_negative, positive
from posefuse.errors import InputError
from posefuse.motion.path import TruePath

__all__ = ["Bump", "Course", "Knock", "Lift", "Shot", "Traffic"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """A shot at a goal."""

    at_s: float
    goal: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bump:
    """A sudden slip: over ``duration_s`` each wheel mis-reads its travel by a normal error.

    Parameters
    ----------
    slip_m
        Spread of the whole error of one wheel over the bump.
    """

    at_s: float
    duration_s: float
    slip_m: float

    def __post_init__(self) -> None:
        finite("bump: at_s", self.at_s)
        positive("bump: duration_s", self.duration_s)
        not_negative("bump: slip_m", self.slip_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Knock:
    """From ``at_s`` on, the named mount is turned by these angles; the filter does not know."""

    mount: str
    at_s: float
    pan_rad: float = 0.0
    tilt_rad: float = 0.0
    roll_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lift:
    """A box of the robot that moves up and down: raised by ``raise_m`` at ``at_s``, linear between.

    Before the first and after the last instant the box stays where it is then.
    """

    box: str
    at_s: FloatArray
    raise_m: FloatArray

    def __post_init__(self) -> None:
        at = increasing(f"lift {self.box}: at_s", frozen_array("lift at_s", self.at_s, (None,)))
        object.__setattr__(self, "at_s", at)
        raised = frozen_array(f"lift {self.box}: raise_m", self.raise_m, (len(at),))
        object.__setattr__(self, "raise_m", raised)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Traffic:
    """A box that crosses the floor and hides tags: another robot.

    Parameters
    ----------
    size_m : (3,) array
        Its box; it stands on the floor.
    at_s, xy_in_world_m : (n,), (n, 2) arrays
        Where its middle is, linear between; it stays put before the first and after the last.
    heading_rad
        Fixed.
    """

    name: str
    size_m: FloatArray
    at_s: FloatArray
    xy_in_world_m: FloatArray
    heading_rad: float = 0.0

    def __post_init__(self) -> None:
        size = frozen_array(f"traffic {self.name}: size", self.size_m, (3,))
        object.__setattr__(self, "size_m", size)
        at = increasing(f"traffic {self.name}: at_s", frozen_array("at_s", self.at_s, (None,)))
        object.__setattr__(self, "at_s", at)
        xy = frozen_array(f"traffic {self.name}: xy", self.xy_in_world_m, (len(at), 2))
        object.__setattr__(self, "xy_in_world_m", xy)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """One run as it truly happens."""

    name: str
    path: TruePath
    shots: tuple[Shot, ...] = ()
    bumps: tuple[Bump, ...] = ()
    knocks: tuple[Knock, ...] = ()
    lifts: tuple[Lift, ...] = ()
    traffic: tuple[Traffic, ...] = ()

    def __post_init__(self) -> None:
        timed: list[tuple[str, Sequence[Shot | Bump | Knock]]] = [
            ("shot", self.shots),
            ("bump", self.bumps),
            ("knock", self.knocks),
        ]
        for kind, events in timed:
            for event in events:
                self._refuse_outside(kind, event.at_s)
        for before, shot in pairwise(self.shots):
            if shot.at_s <= before.at_s:
                raise InputError(
                    f"shot at {shot.at_s:g} s: must come later than the shot before, at "
                    f"{before.at_s:g} s"
                )

    def first(self, duration_s: float) -> "Course":
        """Its first seconds, with what happens in them; the whole course where it is shorter."""
        path = self.path.first(duration_s)
        return replace(
            self,
            path=path,
            shots=tuple(shot for shot in self.shots if shot.at_s <= path.end_s),
            bumps=tuple(bump for bump in self.bumps if bump.at_s <= path.end_s),
            knocks=tuple(knock for knock in self.knocks if knock.at_s <= path.end_s),
        )

    def _refuse_outside(self, kind: str, at_s: float) -> None:
        start_s, end_s = self.path.start_s, self.path.end_s
        if not start_s <= at_s <= end_s:
            raise InputError(
                f"{kind} at {at_s:g} s: must lie within the course ({start_s:g} to {end_s:g} s)"
            )
