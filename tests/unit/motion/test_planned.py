"""Paths planned from waypoints: where they stop, pass, turn and end."""

import math

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.motion.planned import planned_path
from posefuse.motion.profile import PERIOD_S
from posefuse.motion.waypoints import Waypoint

SMOOTHING_S = 0.2


def speed(path, t):
    v = path.velocities(t)
    return np.hypot(v[..., 0], v[..., 1])


def rest_since(path) -> float:
    t = np.arange(path.start_s, path.end_s, 0.001)
    moving = (speed(path, t) > 1e-5) | (np.abs(path.velocities(t)[:, 2]) > 1e-5)
    return float(t[moving].max())


def once(waypoints, limits, **more):
    return planned_path(tuple(waypoints), limits=limits, **{"repeats": False, **more})


@pytest.mark.parametrize("way_m", [0.5, 2.0, 12.0])
def test_straight_line_takes_the_textbook_time(way_m, limits, waypoint) -> None:
    """From rest to rest: d/v + v/a, or 2 sqrt(d/a) where the speed is never reached (elementary
    mechanics); the rounding of the acceleration adds its window.
    """
    path, _ = once([waypoint(0, 0, 0), waypoint(way_m, 0, 0)], limits, duration_s=20.0, still_s=0.0)
    v, a = limits.speed_m_per_s, limits.acceleration_m_per_s2
    fastest_s = way_m / v + v / a if way_m > v**2 / a else 2.0 * math.sqrt(way_m / a)
    assert fastest_s < rest_since(path) < 1.02 * fastest_s + SMOOTHING_S


def test_turn_in_place_takes_the_textbook_time(limits, waypoint) -> None:
    places = [waypoint(1, 1, 0), waypoint(1, 1, 90, turns=1)]
    path, _ = once(places, limits, duration_s=10.0, still_s=0.0)
    angle, w, b = 2.5 * math.pi, limits.turn_rate_rad_per_s, limits.turn_acceleration_rad_per_s2
    fastest_s = angle / w + w / b
    assert fastest_s < rest_since(path) < 1.02 * fastest_s + SMOOTHING_S
    assert path.poses(10.0).values == pytest.approx([1.0, 1.0, angle], abs=1e-9)


def test_circle_is_driven_as_fast_as_its_pull_allows(limits, waypoint) -> None:
    """Speed sqrt(a r) on a circle of radius r."""
    radius = 1.5
    places = [
        waypoint(radius * math.cos(k * math.pi / 4), radius * math.sin(k * math.pi / 4), 0.0)
        for k in range(8)
    ]
    path, _ = planned_path(tuple(places), limits=limits, duration_s=30.0)
    fastest = math.sqrt(limits.acceleration_m_per_s2 * radius)
    middle = speed(path, np.linspace(10.0, 20.0, 500))
    assert (middle < 1.01 * fastest).all()
    assert middle.mean() > 0.95 * fastest


def test_stands_still_before_it_starts(limits, waypoint) -> None:
    places = (waypoint(1, 1, 30), waypoint(3, 2, 30))
    path, _ = planned_path(places, limits=limits, duration_s=10.0, still_s=1.5)
    t = np.linspace(0.0, 1.5, 40)
    assert path.poses(t).values == pytest.approx(np.tile([1.0, 1.0, math.pi / 6], (40, 1)))
    assert speed(path, t).max() < 1e-5
    assert speed(path, 1.9) > 0.1


def test_pause_is_full_rest_with_the_shot_in_its_middle(limits, waypoint) -> None:
    places = [waypoint(1, 1, 0), waypoint(3, 1, 40, pause_s=0.6, shot="crate"), waypoint(4, 3, 0)]
    path, (shot,) = once(places, limits, duration_s=10.0)
    t = shot.at_s + np.linspace(-0.3, 0.3, 50)
    assert shot.goal == "crate"
    assert path.poses(t).values == pytest.approx(
        np.tile([3.0, 1.0, math.radians(40)], (50, 1)), abs=1e-7
    )
    assert np.abs(path.velocities(t)).max() < 1e-5
    assert speed(path, shot.at_s + 0.3 + SMOOTHING_S) > 0.05
    assert speed(path, shot.at_s - 0.3 - SMOOTHING_S) > 0.05


def test_waypoint_without_pause_is_passed_at_speed_and_shot_at(limits, waypoint) -> None:
    places = [waypoint(1, 1, 0), waypoint(4, 1.4, 40, shot="crate"), waypoint(7, 1, 0)]
    path, (shot,) = once(places, limits, duration_s=10.0)
    assert path.poses(shot.at_s).values == pytest.approx([4.0, 1.4, math.radians(40)], abs=2e-3)
    assert speed(path, shot.at_s) > 2.0


def test_first_waypoint_shoots_after_the_start(limits, waypoint) -> None:
    places = [waypoint(1, 1, 0, pause_s=0.4, shot="crate"), waypoint(4, 1, 0)]
    _, (shot,) = once(places, limits, duration_s=10.0, still_s=1.0)
    assert shot.at_s == pytest.approx(1.2)


def test_repeats_until_the_time_is_up_and_then_stands(limits, waypoint) -> None:
    places = (
        waypoint(1, 1, 0, pause_s=0.3, shot="a"),
        waypoint(4, 1, 90),
        waypoint(4, 3, 180, pause_s=0.3, shot="b"),
        waypoint(1, 3, -90, turns=1),
    )
    path, shots = planned_path(places, limits=limits, duration_s=60.0)
    assert (path.start_s, path.end_s) == (0.0, 60.0)
    assert [shot.goal for shot in shots] == (["a", "b"] * 20)[: len(shots)]
    round_s = shots[2].at_s - shots[0].at_s
    assert shots[4].at_s - shots[2].at_s == pytest.approx(round_s, abs=1e-9)
    t = np.linspace(2.0, 2.0 + round_s, 200)
    two_turns = np.array([0.0, 0.0, 4.0 * math.pi])  # one by the way the headings go, one extra
    later = path.poses(t + round_s).values
    np.testing.assert_allclose(later, path.poses(t).values + two_turns, atol=1e-6)
    end = path.poses(60.0).values
    assert min(np.hypot(*(end[:2] - w.xy_in_world_m)) for w in places) < 1e-9
    assert rest_since(path) > 60.0 - round_s


def test_a_loop_without_stops_ends_at_a_waypoint_in_time(limits, waypoint) -> None:
    places = (waypoint(1, 1), waypoint(4, 1), waypoint(4, 3), waypoint(1, 3))
    path, _ = planned_path(places, limits=limits, duration_s=41.3)
    t = np.arange(3.0, 35.0, 0.01)
    assert speed(path, t).min() > 0.5
    end = path.poses(41.3).values
    assert min(np.hypot(*(end[:2] - w.xy_in_world_m)) for w in places) < 1e-9
    assert 38.0 < rest_since(path) < 41.3


def test_faces_along_its_path_and_turns_in_place_at_corners(limits, waypoint) -> None:
    places = [waypoint(1, 1), waypoint(4, 1, pause_s=0.2), waypoint(4, 3), waypoint(2, 4)]
    path, _ = once(places, limits, duration_s=20.0)
    t = np.arange(0.0, 20.0, 0.005)
    velocity, heading = path.velocities(t), path.poses(t).heading_rad
    left = np.cos(heading) * velocity[:, 1] - np.sin(heading) * velocity[:, 0]
    forward = np.cos(heading) * velocity[:, 0] + np.sin(heading) * velocity[:, 1]
    assert np.abs(left).max() < 1e-3
    assert forward.min() > -1e-4
    turning = (np.abs(velocity[:, 2]) > 0.5) & (speed(path, t) < 1e-6)
    assert turning.sum() * 0.005 > 0.3


def test_a_way_that_turns_back_stops_and_passes_its_turning_point(limits, waypoint) -> None:
    places = [waypoint(1, 1, 0), waypoint(4, 1, 0, shot="far"), waypoint(2, 1, 0)]
    path, (shot,) = once(places, limits, duration_s=20.0)
    assert path.poses(shot.at_s).xy_m == pytest.approx([4.0, 1.0], abs=1e-9)
    assert speed(path, shot.at_s) < 1e-4
    assert np.ptp(path.poses(np.arange(0.0, 20.0, 0.01)).values[:, 1]) < 1e-9


def test_free_headings_follow_the_way_between_given_ones(limits, waypoint) -> None:
    places = [waypoint(0, 0, 0), waypoint(1, 0, pause_s=0.3), waypoint(4, 0, 90)]
    path, _ = once(places, limits, duration_s=20.0)
    t = np.arange(0.0, 20.0, 0.01)
    pose = path.poses(t).values
    at_pause = pose[np.abs(pose[:, 0] - 1.0) < 1e-6, 2]
    assert at_pause == pytest.approx(np.full(len(at_pause), math.radians(22.5)), abs=1e-4)


def test_shortest_turn_and_extra_turns_either_way(limits, waypoint) -> None:
    for turns, gained_deg in [(0, -20.0), (1, 340.0), (-2, -740.0)]:
        places = [waypoint(0, 0, 10), waypoint(4, 0, 350, turns=turns)]
        path, _ = once(places, limits, duration_s=20.0)
        gained = path.poses(20.0).heading_rad - path.poses(0.0).heading_rad
        assert math.degrees(gained) == pytest.approx(gained_deg)


def test_duration_that_is_no_multiple_of_the_period(limits, waypoint) -> None:
    path, _ = once([waypoint(0, 0, 0), waypoint(1, 0, 0)], limits, duration_s=7.0 + PERIOD_S / 3.0)
    assert path.end_s == 7.0 + PERIOD_S / 3.0


def test_too_short_a_duration_is_refused(limits, waypoint) -> None:
    places = [waypoint(0, 0, 0), waypoint(9, 0, 0)]
    with pytest.raises(InputError, match=r"duration_s: the course takes 5\.\d\d s \(got 3\)"):
        once(places, limits, duration_s=3.0)
    with pytest.raises(InputError, match=r"too short to reach the second waypoint .* \(got 3\)"):
        planned_path(tuple(places), limits=limits, duration_s=3.0)


def test_waypoints_that_lead_nowhere_are_refused(limits, waypoint) -> None:
    with pytest.raises(InputError, match=r"2 or more are needed \(got 1\)"):
        planned_path((waypoint(0, 0),), limits=limits, duration_s=9.0)
    with pytest.raises(InputError, match="nothing to drive"):
        planned_path((waypoint(0, 0, 5), waypoint(0, 0, 5)), limits=limits, duration_s=9.0)
    with pytest.raises(InputError, match=r"needs a heading at the same waypoint \(got 1\)"):
        Waypoint(xy_in_world_m=[0, 0], turns=1)
