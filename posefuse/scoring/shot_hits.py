"""How likely each shot goes in, by the estimate it was taken with and by a perfect one.

A shot is decided by the estimate at its row, with the velocity that the wheels measure there,
turned by the estimated heading. The piece leaves the shooter's delay later; until then the robot is
taken to keep its motion. It is taken to face as it commands itself to.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from posefuse.aim.aim import Aim, is_reached, prepare_aim
from posefuse.aim.arcs import Arc, within_range
from posefuse.aim.hit_probability import hit_probability
from posefuse.aim.pivot import arc_pivots_rad
from posefuse.aim.shots import Shots
from posefuse.arena.arena import Goal
from posefuse.checks import BoolArray, FloatArray, IntArray, locked
from posefuse.fusion.estimate import Estimate
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.recording.recording import Odometry
from posefuse.robot.shooter import Shooter, ShooterSpread
from posefuse.scoring.instants import InstantErrors

__all__ = [
    "ShotHits",
    "aims_for",
    "arcs_for",
    "believed_motions",
    "can_miss",
    "shot_hits",
    "true_motions",
]

WINDOW_S = 0.04
"""Time before and after a shot over which its true motion is taken."""
REST_M_PER_S = 0.02
REST_RAD_PER_S = 0.02
"""A robot whose wheels measure less takes itself to be at rest, and shoots without lead."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShotHits:
    """Probabilities of a hit, (n,) each; nan where the truth is not known.

    Parameters
    ----------
    shares
        With the estimate as it stood and the shooter's own spread.
    perfect_shares
        With a perfect estimate.
    is_moving
        Whether the robot truly moved.
    unled_shares
        With the same estimate by a robot that aims as if it were at rest.
    stopped_shares
        With the same pose error from the same place by a robot at rest.
    """

    shares: FloatArray
    perfect_shares: FloatArray
    is_moving: BoolArray
    unled_shares: FloatArray
    stopped_shares: FloatArray


def can_miss(shooter: Shooter | None) -> bool:
    """Whether it is known how the shooter throws: by its piece or by its spread."""
    return shooter is not None and (
        shooter.projectile is not None or shooter.spread != ShooterSpread()
    )


def shot_hits(
    shots: InstantErrors,
    *,
    goals: Sequence[Goal],
    estimate: Estimate,
    odometry: Odometry,
    true_poses: FloatArray,
    shooter: Shooter,
) -> ShotHits:
    """The probability that each shot goes in.

    On the low arc where the pivot for the believed distance lies in the range, else on the high one
    where that does; a goal that neither arc reaches from anywhere is never hit.

    Parameters
    ----------
    goals
        Of each shot.
    true_poses : (rows, 3) array
        At every odometry row.
    """
    moving = true_motions(true_poses, odometry.stamps_s, shots.rows)
    is_known = np.asarray(np.isfinite(shots.errors + moving).all(axis=-1))
    believed = believed_motions(estimate, odometry, shots.rows)
    is_moving = is_known & np.asarray((moving != 0.0).any(axis=-1))
    cases = _Cases(
        positions_m=shots.true_poses[:, :2] + shooter.release_delay_s * moving[:, :2],
        motions=moving,
        errors=np.concatenate([shots.errors, believed - moving], axis=-1),
        place=np.arange(len(goals)),
    )
    known = cases.among(is_known)
    wanted = [
        known,
        cases.at_rest().among(is_moving),
        cases.believed_at_rest().among(is_moving),
    ]
    led, stopped, unled, perfect = (np.full(len(goals), np.nan) for _ in range(4))
    led[is_known], at_rest, unaware = _shares(wanted, goals, shooter)
    stopped[is_known] = unled[is_known] = led[is_known]
    stopped[is_moving], unled[is_moving] = at_rest, unaware
    perfect[is_known] = _perfect_shares(
        shooter,
        tuple(goals[place] for place in known.place),
        known.positions_m.tobytes(),
        known.motions.tobytes(),
    )
    return ShotHits(
        shares=led,
        perfect_shares=perfect,
        is_moving=is_moving,
        unled_shares=unled,
        stopped_shares=stopped,
    )


def true_motions(true_poses: FloatArray, stamps_s: FloatArray, rows: IntArray) -> FloatArray:
    """True velocity along x and y and turn rate at some rows, (n, 3), from the poses around them.

    A robot slower than a millimetre a second in all of them stands: exactly 0.
    """
    step = max(1, round(WINDOW_S / float(np.median(np.diff(stamps_s)))))
    before, after = np.maximum(rows - step, 0), np.minimum(rows + step, len(stamps_s) - 1)
    change = true_poses[after] - true_poses[before]
    change[:, 2] = wrap_angle_rad(change[:, 2])
    motions = change / (stamps_s[after] - stamps_s[before])[:, None]
    motions[(np.abs(motions) < 1e-3).all(axis=-1)] = 0.0
    return np.asarray(motions)


def believed_motions(estimate: Estimate, odometry: Odometry, rows: IntArray) -> FloatArray:
    """The same as the robot believes it, by its wheels; 0 for one that believes itself at rest."""
    before = np.maximum(rows - 1, 0)
    step_s = np.where(rows > before, odometry.stamps_s[rows] - odometry.stamps_s[before], 1.0)
    forward, left, turn = (odometry.twists[rows] / step_s[:, None]).T
    c, s = np.cos(estimate.poses[rows, 2]), np.sin(estimate.poses[rows, 2])
    motions = np.stack([c * forward - s * left, s * forward + c * left, turn], axis=-1)
    rests = (np.hypot(forward, left) < REST_M_PER_S) & (np.abs(turn) < REST_RAD_PER_S)
    motions[rests] = 0.0
    return motions


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cases:
    """Shots as they leave: positions (n, 2), motions (n, 3), errors (n, 6), and whose they are."""

    positions_m: FloatArray
    motions: FloatArray
    errors: FloatArray
    place: IntArray

    def among(self, chosen: BoolArray) -> "_Cases":
        return _Cases(
            positions_m=self.positions_m[chosen],
            motions=self.motions[chosen],
            errors=self.errors[chosen],
            place=self.place[chosen],
        )

    def at_rest(self) -> "_Cases":
        still = np.zeros_like(self.motions)
        return replace(self, motions=still, errors=self._errors_with(still))

    def believed_at_rest(self) -> "_Cases":
        return replace(self, errors=self._errors_with(-self.motions))

    def _errors_with(self, motion_errors: FloatArray) -> FloatArray:
        return np.concatenate([self.errors[:, :3], motion_errors], axis=-1)


@lru_cache(maxsize=64)
def _perfect_shares(
    shooter: Shooter, goals: tuple[Goal, ...], positions: bytes, motions: bytes
) -> FloatArray:
    """Probabilities with a perfect estimate: all trials of a course share them.

    Parameters
    ----------
    positions, motions
        The bytes of arrays (n, 2) and (n, 3).
    """
    count = len(goals)
    cases = _Cases(
        positions_m=np.frombuffer(positions).reshape(count, 2),
        motions=np.frombuffer(motions).reshape(count, 3),
        errors=np.zeros((count, 6)),
        place=np.arange(count),
    )
    return locked(_shares([cases], goals, shooter)[0])


def _shares(wanted: Sequence[_Cases], goals: Sequence[Goal], shooter: Shooter) -> list[FloatArray]:
    """Probability of each case, all that go to one goal on one arc at once."""
    positions = np.concatenate([cases.positions_m for cases in wanted])
    motions = np.concatenate([cases.motions for cases in wanted])
    errors = np.concatenate([cases.errors for cases in wanted])
    place = np.concatenate([cases.place for cases in wanted])
    shares = np.zeros(len(place))
    names = np.array([goal.name for goal in goals])[place]
    for goal in {goal.name: goal for goal in goals}.values():
        at_goal = names == goal.name
        toward = goal.xy_in_world_m - positions - errors[:, :2]
        arcs = arcs_for(np.hypot(*toward.T), shooter, goal)
        for arc, aim in zip(Arc, aims_for(shooter, goal), strict=True):
            chosen = at_goal & (arcs == arc)
            if aim is not None and chosen.any():
                shots = Shots.at(
                    positions[chosen], motions=motions[chosen], error_means=errors[chosen]
                )
                shares[chosen] = hit_probability(shots, aim=aim)
    ends = np.cumsum([len(cases.place) for cases in wanted])
    return np.split(shares, ends[:-1])


def arcs_for(distances_m: FloatArray, shooter: Shooter, goal: Goal) -> IntArray:
    """The arc that a robot chooses for each distance."""
    low, high = arc_pivots_rad(distances_m, shooter=shooter, goal=goal)
    takes_high = ~within_range(low, shooter) & within_range(high, shooter)
    if aims_for(shooter, goal)[Arc.LOW] is None:
        takes_high[:] = True
    return np.where(takes_high, Arc.HIGH, Arc.LOW)


@lru_cache(maxsize=64)
def aims_for(shooter: Shooter, goal: Goal) -> tuple[Aim | None, Aim | None]:
    """The shooter made ready on both arcs; ``None`` for one that reaches nothing."""
    low, high = (
        prepare_aim(shooter, goal, arc=arc) if is_reached(shooter, goal, arc=arc) else None
        for arc in Arc
    )
    return low, high
