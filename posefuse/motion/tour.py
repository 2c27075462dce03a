"""The order of the waypoints: where the robot stops, and which way it faces at each visit."""

import math
from dataclasses import dataclass

import numpy as np

from posefuse.checks import BoolArray, FloatArray
from posefuse.errors import InputError
from posefuse.geometry.angles import angle_difference_rad
from posefuse.motion.waypoints import Waypoint

__all__ = ["Tour", "tour_of"]

_SAME_PLACE_M = 1e-3
_TURNED_BACK_RAD = math.radians(135.0)
"""A change of direction from which on the robot stops rather than swings round."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tour:
    """Visits, counted on without end when the tour repeats: visit v is at waypoint v mod count.

    Parameters
    ----------
    stops : (waypoints,) bools
        Where the robot comes to rest though the tour goes on: at a pause, at a turn in place, and
        where the way turns back on itself.
    moves : (waypoints,) bools
        Whether the leg that leaves each waypoint leads to another place.
    is_given : (waypoints,) bools
        Which waypoints name a heading.
    headings_rad : (waypoints,) array
        Of the first visits, unwrapped, and filled in where free.
    round_turn_rad
        How far the heading has gone on after a whole round.
    """

    waypoints: tuple[Waypoint, ...]
    repeats: bool
    stops: BoolArray
    moves: BoolArray
    is_given: BoolArray
    headings_rad: FloatArray
    round_turn_rad: float

    @property
    def faces_path(self) -> bool:
        """Whether the robot faces along its path: no waypoint names a heading."""
        return not self.is_given.any()

    def waypoint(self, visit: int) -> Waypoint:
        """The place of a visit."""
        return self.waypoints[visit % len(self.waypoints)]

    def legs_to_stop(self, visit: int) -> int | None:
        """Legs from a visit to the next stop; 0 at the very end, ``None`` without end."""
        count = len(self.waypoints)
        if not self.repeats:
            return next((n for n in range(1, count - visit) if self._ends(visit + n)), 0)
        ahead = range(1, count + 1)
        return next((n for n in ahead if self.stops[(visit + n) % count]), None)

    def _ends(self, visit: int) -> bool:
        return bool(self.stops[visit]) or visit == len(self.waypoints) - 1

    def heading_rad(self, visit: int) -> float:
        """The heading at a visit, free ones filled in; without meaning where it faces the path."""
        rounds, index = divmod(visit, len(self.waypoints))
        return float(self.headings_rad[index]) + rounds * self.round_turn_rad

    def run(self, visit: int, legs: int) -> tuple[FloatArray, FloatArray | None]:
        """Places (legs + 1, 2), and headings as ``curve_through`` takes them."""
        visits = range(visit, visit + legs + 1)
        places = np.array([self.waypoint(v).xy_in_world_m for v in visits])
        if self.faces_path:
            return places, None
        free = ~self.is_given[np.array(visits) % len(self.waypoints)]
        free[[0, -1]] = False
        headings = np.array([self.heading_rad(v) for v in visits])
        return places, np.where(free, np.nan, headings)


def tour_of(waypoints: tuple[Waypoint, ...], *, repeats: bool) -> Tour:
    """The tour through the waypoints in their order.

    Raises
    ------
    InputError
        Fewer than two waypoints, or none that differs from the first in place or heading.
    """
    if len(waypoints) < 2:
        raise InputError(f"waypoint: 2 or more are needed (got {len(waypoints)})")
    places = np.array([w.xy_in_world_m for w in waypoints])
    chords = np.roll(places, -1, axis=0) - places
    moves = np.hypot(chords[:, 0], chords[:, 1]) > _SAME_PLACE_M
    is_given = np.array([w.heading_rad is not None for w in waypoints])
    headings, round_turn = np.zeros(len(waypoints)), 0.0
    if is_given.any():
        headings, round_turn = _unwrapped(waypoints, chords, repeats=repeats)
    if not (moves.any() or np.ptp(headings) or round_turn):
        raise InputError("waypoint: all are the same place, so there is nothing to drive")
    return Tour(
        waypoints=waypoints,
        repeats=repeats,
        stops=np.array([w.pause_s > 0.0 for w in waypoints]) | _forced_stops(chords, moves),
        moves=moves,
        is_given=is_given,
        headings_rad=headings,
        round_turn_rad=round_turn,
    )


def _forced_stops(chords: FloatArray, moves: BoolArray) -> BoolArray:
    """Where the robot must stop: beside a leg that leads nowhere, and where the way turns back."""
    direction = np.arctan2(chords[:, 1], chords[:, 0])
    back = np.abs(angle_difference_rad(direction, np.roll(direction, 1))) > _TURNED_BACK_RAD
    return ~moves | ~np.roll(moves, 1) | back


def _unwrapped(
    waypoints: tuple[Waypoint, ...], chords: FloatArray, *, repeats: bool
) -> tuple[FloatArray, float]:
    """Headings of the first round and the turn of a whole one; free ones by the way between."""
    given = [i for i, w in enumerate(waypoints) if w.heading_rad is not None]
    named = [w.heading_rad for w in waypoints if w.heading_rad is not None]
    around = [*given[1:], given[0]]
    steps = [
        float(angle_difference_rad(after, before)) + 2.0 * math.pi * waypoints[i].turns
        for before, after, i in zip(named, [*named[1:], named[0]], around, strict=True)
    ]
    unwrapped = named[0] + np.concatenate([[0.0], np.cumsum(steps)])
    way = np.concatenate([[0.0], np.cumsum(np.hypot(chords[:, 0], chords[:, 1]))])
    at, place = way[given], way[:-1]
    turn = 0.0
    if repeats:
        turn = float(unwrapped[-1] - unwrapped[0])
        at = np.concatenate([[at[-1] - way[-1]], at, [at[0] + way[-1]]])
        unwrapped = np.concatenate([[unwrapped[-2] - turn], unwrapped])
        filled = np.interp(place, at, unwrapped)
        filled[given] = unwrapped[1:-1]
    else:
        filled = np.interp(place, at, unwrapped[:-1])
        filled[given] = unwrapped[:-1]
    return filled, turn
