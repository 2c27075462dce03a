"""How large errors may be at the shots of a run or a study, and how large they are."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from posefuse.aim.arcs import Arc
from posefuse.aim.hit_probability import enough_distance_std_m
from posefuse.aim.tolerance import ToleranceBand, tolerance_band
from posefuse.arena.arena import Arena, Goal
from posefuse.checks import FloatArray, IntArray
from posefuse.robot.shooter import Shooter
from posefuse.scoring.instants import InstantErrors
from posefuse.scoring.shot_hits import aims_for, arcs_for

__all__ = ["PlaceSpreads", "ShotRoom", "SpreadAtPlaces", "shot_room", "spreads_at_places"]

_PLACE_SHARE = 0.06
"""Shots whose distances differ by less than this share of the farthest count as one place."""
_BAND_POINTS = 40
_BAND_MARGIN = 1.15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShotRoom:
    """How far off estimates may be at the distances of some shots.

    Parameters
    ----------
    band_enough_m
        At the band's distances, the error (std) below which better vision adds less than one hit in
        100.
    places_m, places_enough_m
        The distances shot from, and the same at them.
    """

    arc: Arc
    goal: Goal
    band: ToleranceBand
    band_enough_m: FloatArray
    places_m: FloatArray
    places_enough_m: FloatArray

    @property
    def tightest_place(self) -> int | None:
        """Which of the places forgives least; ``None`` where the shooter scores from none."""
        enough_m = np.where(self.places_enough_m > 0.0, self.places_enough_m, np.inf)
        tightest = int(np.argmin(enough_m))
        return tightest if np.isfinite(enough_m[tightest]) else None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpreadAtPlaces:
    """Errors of one quantity at the places shot from.

    Parameters
    ----------
    distances_m : (n,) array
    means, lows, highs : (n,) arrays
        Mean, 2.5th and 97.5th percentile of the errors (estimate minus truth), in m or rad.
    """

    distances_m: FloatArray
    means: FloatArray
    lows: FloatArray
    highs: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlaceSpreads:
    """Errors of distance and bearing at the places shot from."""

    distance: SpreadAtPlaces
    bearing: SpreadAtPlaces

    @property
    def largest_distance_error_m(self) -> float:
        """The farthest end of the distance errors' percentiles; nan without a place."""
        ends = np.maximum(np.abs(self.distance.lows), np.abs(self.distance.highs))
        return float(ends.max()) if len(ends) else math.nan


def shot_room(
    shots: Sequence[InstantErrors], *, arena: Arena, goal: Goal, shooter: Shooter
) -> ShotRoom | None:
    """The room around the shots at a goal and those like it; ``None`` without one in reach.

    Of a robot at rest straight before the goal, on the arc that most of the shots are on.
    """
    distances = np.concatenate([one.true_distance_m[_like(one, arena, goal)] for one in shots])
    distances = distances[np.isfinite(distances)]
    if not len(distances):
        return None
    arc = Arc(int(np.bincount(arcs_for(distances, shooter, goal)).argmax()))
    aim = aims_for(shooter, goal)[arc]
    if aim is None:
        return None
    reach_m = aim.curve.distances_m
    nearest = max(float(reach_m[0]), float(distances.min()) / _BAND_MARGIN)
    farthest = min(float(reach_m[-1]), float(distances.max()) * _BAND_MARGIN)
    if nearest >= farthest:
        return None
    along = np.linspace(nearest, farthest, _BAND_POINTS)
    place_of = _places(distances)
    places = np.array([distances[place_of == k].mean() for k in range(place_of.max() + 1)])
    return ShotRoom(
        arc=arc,
        goal=goal,
        band=tolerance_band(aim, along),
        band_enough_m=enough_distance_std_m(aim, along),
        places_m=places,
        places_enough_m=enough_distance_std_m(aim, places),
    )


def spreads_at_places(shots: Sequence[InstantErrors], *, arena: Arena, goal: Goal) -> PlaceSpreads:
    """The errors of all trials at each place shot from, at a goal and those like it."""
    kept = [(one, _like(one, arena, goal)) for one in shots]
    distances, errors, bearings = (
        np.concatenate([getattr(one, name)[rows] for one, rows in kept])
        for name in ("true_distance_m", "distance_error_m", "bearing_error_rad")
    )
    known = np.isfinite(distances + errors + bearings)
    distances = distances[known]
    place_of = _places(distances)
    places = range(int(place_of.max(initial=-1)) + 1)

    def spread(values: FloatArray) -> SpreadAtPlaces:
        at_place = [values[place_of == place] for place in places]
        ends = np.array([np.percentile(each, [2.5, 97.5]) for each in at_place]).reshape(-1, 2)
        return SpreadAtPlaces(
            distances_m=np.array([distances[place_of == place].mean() for place in places]),
            means=np.array([each.mean() for each in at_place]),
            lows=ends[:, 0],
            highs=ends[:, 1],
        )

    return PlaceSpreads(distance=spread(errors[known]), bearing=spread(bearings[known]))


def _places(distances_m: FloatArray) -> IntArray:
    """The number of the place of each distance, nearest first: neighbours share one."""
    width = _PLACE_SHARE * float(distances_m.max(initial=0.0))
    place_of = np.zeros(len(distances_m), dtype=np.int64)
    place, start = -1, -np.inf
    for row in np.argsort(distances_m, kind="stable"):
        if distances_m[row] > start + width:
            place, start = place + 1, distances_m[row]
        place_of[row] = place
    return place_of


def _like(shots: InstantErrors, arena: Arena, goal: Goal) -> IntArray:
    """The shots at goals whose opening is the same as this one's."""

    def opening(one: Goal) -> tuple[float, ...]:
        height_m = float(one.centre_in_world_m[2])
        return (height_m, one.width_m, one.height_m, one.tilt_rad)

    alike = {one.name for one in arena.goals if opening(one) == opening(goal)}
    return np.flatnonzero([name in alike for name in shots.goals])
