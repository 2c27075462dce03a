"""From waypoints and limits to the true path over time, with its shots."""

from dataclasses import dataclass, field

import numpy as np

from posefuse.checks import FloatArray, not_negative, positive
from posefuse.errors import InputError
from posefuse.motion.course import Shot
from posefuse.motion.curve import curve_through, turn_in_place
from posefuse.motion.path import TruePath
from posefuse.motion.profile import PERIOD_S, Drive, drive_curve
from posefuse.motion.tour import Tour, tour_of
from posefuse.motion.waypoints import MotionLimits, Waypoint

__all__ = ["planned_path"]

_SAME_HEADING_RAD = 1e-6


def planned_path(
    waypoints: tuple[Waypoint, ...],
    *,
    limits: MotionLimits,
    duration_s: float,
    repeats: bool = True,
    still_s: float = 1.0,
) -> tuple[TruePath, tuple[Shot, ...]]:
    """The path from time 0 to ``duration_s``, and the shots on it in order.

    It stands still for ``still_s``, then drives as fast as the limits let it, passing through the
    waypoints (within about a millimetre) and resting where they pause. Where the way turns back on
    itself, or two waypoints are the same place, it stops for an instant and may turn in place. When
    it repeats, it ends standing at the last waypoint it can reach in time.

    Raises
    ------
    InputError
        Waypoints that lead nowhere, or a way that takes longer than ``duration_s``.
    """
    positive("duration_s", duration_s)
    not_negative("still_s", still_s)
    planner = _Planner(tour=tour_of(waypoints, repeats=repeats), limits=limits)
    log = _Log(pieces=[planner.start_pose()[None]])
    log.hold(still_s)
    log.visit(waypoints[0])
    visit = 0
    while True:
        legs = planner.legs_in_time(visit, log, duration_s if repeats else np.inf)
        if not legs:
            break
        log.drive(planner.drive(visit, legs, log.pose), planner.tour, visit)
        visit += legs
        log.visit(planner.tour.waypoint(visit))
    _refuse_too_short(log.now_s, visit, duration_s, still_s)
    return log.path_until(duration_s), tuple(log.shots)


def _refuse_too_short(needed_s: float, visit: int, duration_s: float, still_s: float) -> None:
    if needed_s > duration_s + PERIOD_S / 2.0:
        raise InputError(f"duration_s: the course takes {needed_s:.2f} s (got {duration_s:g})")
    if visit == 0:
        raise InputError(
            f"duration_s: too short to reach the second waypoint after standing still for "
            f"{still_s:g} s (got {duration_s:g})"
        )


@dataclass(slots=True, kw_only=True, eq=False)
class _Planner:
    """Drives between stops, each planned once; rounds repeat them."""

    tour: Tour
    limits: MotionLimits
    known: dict[tuple[int, int], Drive] = field(default_factory=dict)

    def start_pose(self) -> FloatArray:
        xy = self.tour.waypoint(0).xy_in_world_m
        if not self.tour.faces_path:
            return np.array([*xy, self.tour.heading_rad(0)])
        first = int(np.argmax(self.tour.moves))
        legs = self.tour.legs_to_stop(first) or len(self.tour.waypoints)
        return np.array([*xy, self._run(first, legs).poses[0, 2]])

    def drive(self, visit: int, legs: int, pose: FloatArray) -> Drive:
        """From a standing pose at a visit to rest some legs on."""
        heading = float(pose[2])
        if not self.tour.moves[visit % len(self.tour.waypoints)]:
            goal = heading if self.tour.faces_path else self.tour.heading_rad(visit + 1)
            return self._turn(pose[:2], heading, goal)
        run = self._run(visit, legs)
        # the run is planned on its first visit: later rounds have turned on by whole turns
        off = float(run.poses[0, 2]) - heading
        turn = 0.0
        if self.tour.faces_path:
            turn = float(np.mod(off + np.pi, 2.0 * np.pi) - np.pi)
        shifted = run.poses + np.array([0.0, 0.0, turn - off])
        before = self._turn(pose[:2], heading, heading + turn)
        return Drive(
            poses=np.concatenate([before.poses, shifted[1:]]),
            passed_s=run.passed_s + before.duration_s,
        )

    def legs_in_time(self, visit: int, log: "_Log", duration_s: float) -> int:
        """Most legs that lead to the next stop at most and end, with the pause, in time."""
        to_stop = self.tour.legs_to_stop(visit)
        if to_stop == 0:
            return 0
        left_s = duration_s - log.now_s + PERIOD_S / 2.0
        fit, too_many = 0, None if to_stop is None else to_stop + 1
        legs = to_stop or len(self.tour.waypoints)
        while True:
            needed_s = self.drive(visit, legs, log.pose).duration_s
            pause_s = _whole_periods(self.tour.waypoint(visit + legs).pause_s) * PERIOD_S
            if needed_s + pause_s <= left_s:
                fit = legs
            else:
                too_many = legs
            if too_many == fit + 1:
                return fit
            # the next guess supposes that every leg takes as long as these did
            guess = int(left_s / needed_s * legs) if needed_s > 0.0 else legs
            legs = min(max(guess, fit + 1), (too_many or guess + fit + 2) - 1)

    def _run(self, visit: int, legs: int) -> Drive:
        key = (visit % len(self.tour.waypoints), legs)
        if key not in self.known:
            self.known[key] = drive_curve(curve_through(*self.tour.run(*key)), self.limits)
        return self.known[key]

    def _turn(self, xy_m: FloatArray, from_rad: float, to_rad: float) -> Drive:
        if abs(to_rad - from_rad) < _SAME_HEADING_RAD:
            return Drive(poses=np.array([[*xy_m, to_rad]]), passed_s=np.zeros(2))
        return drive_curve(turn_in_place(xy_m, from_rad=from_rad, to_rad=to_rad), self.limits)


@dataclass(slots=True, kw_only=True, eq=False)
class _Log:
    """The path as it grows: a pose every period, and the shots."""

    pieces: list[FloatArray]
    steps: int = 0
    shots: list[Shot] = field(default_factory=list)

    @property
    def now_s(self) -> float:
        return self.steps * PERIOD_S

    @property
    def pose(self) -> FloatArray:
        return np.asarray(self.pieces[-1][-1])

    def hold(self, duration_s: float) -> None:
        self._add(np.tile(self.pose, (_whole_periods(duration_s), 1)))

    def visit(self, waypoint: Waypoint) -> None:
        """Stands at a waypoint as long as it says; its shot falls in the middle."""
        if waypoint.shot:
            self.shots.append(Shot(at_s=self.now_s + waypoint.pause_s / 2.0, goal=waypoint.shot))
        self.hold(waypoint.pause_s)

    def drive(self, drive: Drive, tour: Tour, visit: int) -> None:
        for legs, passed_s in enumerate(drive.passed_s[1:-1], start=1):
            goal = tour.waypoint(visit + legs).shot
            if goal:
                self.shots.append(Shot(at_s=self.now_s + float(passed_s), goal=goal))
        self._add(drive.poses[1:])

    def path_until(self, duration_s: float) -> TruePath:
        """Holds the last pose for the rest."""
        stamps, poses = PERIOD_S * np.arange(self.steps + 1), np.concatenate(self.pieces)
        left_s = duration_s - stamps[-1]
        if left_s > PERIOD_S / 2.0:
            more = np.linspace(stamps[-1], duration_s, _whole_periods(left_s) + 1)[1:]
            stamps = np.concatenate([stamps, more])
            poses = np.concatenate([poses, np.tile(poses[-1], (len(more), 1))])
        else:
            stamps[-1] = duration_s
        return TruePath.through(stamps, poses)

    def _add(self, poses: FloatArray) -> None:
        if len(poses):
            self.pieces.append(poses)
            self.steps += len(poses)


def _whole_periods(duration_s: float) -> int:
    return int(np.ceil(duration_s / PERIOD_S - 1e-6))
