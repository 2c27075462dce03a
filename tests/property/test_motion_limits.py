"""Planned paths keep to their limits, whatever the waypoints."""

import math
from dataclasses import astuple, replace

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from posefuse.motion.planned import planned_path
from posefuse.motion.profile import PERIOD_S
from posefuse.motion.waypoints import MotionLimits, Waypoint

LIMITS = MotionLimits(
    speed_m_per_s=4.0,
    acceleration_m_per_s2=3.5,
    turn_rate_rad_per_s=6.0,
    turn_acceleration_rad_per_s2=25.0,
)
WITHIN = 1.02

coordinates = st.floats(0.0, 13.0).map(lambda x: round(x, 2))
pauses = st.sampled_from([0.0, 0.0, 0.25, 0.8])


@st.composite
def waypoint(draw: st.DrawFn, *, faces_path: bool) -> Waypoint:
    heading = None if faces_path else draw(st.one_of(st.none(), st.floats(-10.0, 10.0)))
    return Waypoint(
        xy_in_world_m=np.array([draw(coordinates), draw(coordinates) / 2.0]),
        heading_rad=heading,
        turns=0 if heading is None else draw(st.integers(-2, 2)),
        pause_s=draw(pauses),
    )


tours = st.booleans().flatmap(
    lambda faces_path: st.lists(waypoint(faces_path=faces_path), min_size=2, max_size=7)
)


def demands(path, count: int) -> np.ndarray:
    """The most of speed, acceleration, turn rate and turn acceleration, between samples too."""
    t = np.linspace(path.start_s, path.end_s, count)
    v, a = path.velocities(t), path.accelerations(t)
    each = [
        np.hypot(v[:, 0], v[:, 1]),
        np.hypot(a[:, 0], a[:, 1]),
        np.abs(v[:, 2]),
        np.abs(a[:, 2]),
    ]
    return np.array([values.max() for values in each])


@settings(max_examples=30)
@given(places=tours, repeats=st.booleans(), turn_acceleration=st.sampled_from([4.0, 25.0]))
def test_paths_keep_to_their_limits(
    *, places: list[Waypoint], repeats: bool, turn_acceleration: float
) -> None:
    chords = np.diff([w.xy_in_world_m for w in (*places, places[0])], axis=0)
    assume(np.hypot(chords[:, 0], chords[:, 1]).min() > 0.3)
    limits = replace(LIMITS, turn_acceleration_rad_per_s2=turn_acceleration)
    path, _ = planned_path(tuple(places), limits=limits, duration_s=150.0, repeats=repeats)
    count = int(5.3 * path.end_s / PERIOD_S)
    assert (demands(path, count) <= WITHIN * np.array(astuple(limits))).all()


@settings(max_examples=15)
@given(tours)
def test_every_waypoint_is_passed(places: list[Waypoint]) -> None:
    chords = np.diff([w.xy_in_world_m for w in places], axis=0)
    assume(np.hypot(chords[:, 0], chords[:, 1]).min() > 0.3)
    path, _ = planned_path(tuple(places), limits=LIMITS, duration_s=150.0, repeats=False)
    way = path.poses(np.arange(0.0, 150.0, PERIOD_S / 4.0)).values
    for place in places:
        off_m = np.hypot(*(way[:, :2] - place.xy_in_world_m).T)
        if place.heading_rad is not None:
            turned = np.abs(np.sin((way[:, 2] - place.heading_rad) / 2.0))
            off_m = np.maximum(off_m, turned / 2.0)
        # the path is planned in steps of PERIOD_S: a waypoint lies half a step off it at most
        assert off_m.min() < LIMITS.speed_m_per_s * PERIOD_S / 2.0


@settings(max_examples=15)
@given(tours, st.floats(-math.pi, math.pi), coordinates, coordinates)
def test_a_moved_tour_is_driven_alike(places, turn_rad: float, x_m: float, y_m: float) -> None:
    """Move and turn the floor: the path moves and turns with it."""
    chords = np.diff([w.xy_in_world_m for w in places], axis=0)
    assume(np.hypot(chords[:, 0], chords[:, 1]).min() > 0.3)
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    turned = np.array([[c, -s], [s, c]])
    moved = [
        Waypoint(
            xy_in_world_m=turned @ w.xy_in_world_m + [x_m, y_m],
            heading_rad=None if w.heading_rad is None else w.heading_rad + turn_rad,
            turns=w.turns,
            pause_s=w.pause_s,
        )
        for w in places
    ]
    one, _ = planned_path(tuple(places), limits=LIMITS, duration_s=150.0, repeats=False)
    other, _ = planned_path(tuple(moved), limits=LIMITS, duration_s=150.0, repeats=False)
    t = np.linspace(0.0, 150.0, 1000)
    expected = one.poses(t).xy_m @ turned.T + [x_m, y_m]
    late_m = LIMITS.speed_m_per_s * PERIOD_S * len(places)  # rounding may add a period at a stop
    np.testing.assert_allclose(other.poses(t).xy_m, expected, atol=late_m)
