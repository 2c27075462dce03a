"""From where on the floor a plan's shots go in."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from posefuse.aim.arcs import Arc
from posefuse.aim.hit_probability import hit_probability
from posefuse.aim.shots import Shots
from posefuse.arena.arena import Arena
from posefuse.checks import FloatArray
from posefuse.robot.shooter import Shooter
from posefuse.scoring.shot_hits import aims_for, arcs_for
from posefuse.study.comparison import PlanTrials
from posefuse.study.floor_map import FloorMap

__all__ = ["LIKELY_SHARE", "HitMap", "hit_map", "shot_second_moments"]

LIKELY_SHARE = 0.9
"""A cell from which this share of the shots goes in is a good one."""
_HOPELESS = 0.001


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HitMap:
    """The probability of a hit from each cell of a floor map.

    Parameters
    ----------
    shares : (rows, columns) array
        nan where the robot cannot stand.
    extra_std : (3,) array
        What was added to the map's own spread: along and across the line of sight in m, and of the
        heading in rad.
    """

    floor: FloorMap
    shares: FloatArray
    extra_std: FloatArray

    @property
    def likely_share(self) -> float:
        """Share of the floor, where the robot can stand, from which nine of ten shots go in."""
        return float(np.mean(self.shares[self.floor.is_standable] >= LIKELY_SHARE))


def shot_second_moments(plan_trials: Sequence[PlanTrials], *, arena: Arena) -> FloatArray:
    """Mean products of the errors at the shots of some trials, (3, 3): bias and spread together.

    Along the line of sight, across it, heading.
    """
    parts = []
    for trials in plan_trials:
        for card in trials.cards:
            if card.shots is not None:
                goal_xy = np.array([arena.goal(name).xy_in_world_m for name in card.shots.goals])
                toward = goal_xy - card.shots.true_poses[:, :2]
                c, s = (toward / np.linalg.norm(toward, axis=-1, keepdims=True)).T
                x, y, heading = card.shots.errors.T
                parts.append(np.stack([c * x + s * y, c * y - s * x, heading], axis=-1))
    errors = np.concatenate(parts)
    errors = errors[np.isfinite(errors).all(axis=-1)]
    return np.asarray(errors.T @ errors / len(errors))


def hit_map(
    floor: FloorMap, *, shooter: Shooter, extra_cov: FloatArray, workers: int = 1
) -> HitMap:
    """The map of a robot that stands still in the middle of each cell and shoots at the goal.

    The error of its estimate is normal about zero: the least covariance that one frame of each
    camera leaves, and ``extra_cov`` on top of it. From where even a perfect estimate scores one
    shot in 1000 at most, 0. Obstacles in the way of the piece are not looked at.

    Parameters
    ----------
    extra_cov : (3, 3) array
        What that bound leaves out, such as the errors of the build: along the line of sight, across
        it, and of the heading.
    workers
        Threads.
    """
    stands = floor.is_standable
    x, y = np.meshgrid(
        (floor.x_edges_m[:-1] + floor.x_edges_m[1:]) / 2.0,
        (floor.y_edges_m[:-1] + floor.y_edges_m[1:]) / 2.0,
    )
    positions = np.stack([x, y], axis=-1)[stands]
    toward = floor.goal.xy_in_world_m - positions
    distances = np.linalg.norm(toward, axis=-1)
    covs = floor.pose_covs[stands] + _turned(extra_cov, toward / distances[:, None])
    arcs = arcs_for(distances, shooter, floor.goal)
    found = np.zeros(len(positions))
    for arc, aim in zip(Arc, aims_for(shooter, floor.goal), strict=True):
        if aim is None:
            continue
        chosen = np.flatnonzero(arcs == arc)
        at_best = hit_probability(Shots.at(positions[chosen]), aim=aim)
        chosen = chosen[at_best > _HOPELESS]
        shots = Shots.at(positions[chosen], error_covs=covs[chosen])
        found[chosen] = hit_probability(shots, aim=aim, workers=workers)
    shares = np.full(stands.shape, np.nan)
    shares[stands] = found
    shares.setflags(write=False)
    return HitMap(floor=floor, shares=shares, extra_std=np.sqrt(np.diag(extra_cov)))


def _turned(cov: FloatArray, toward: FloatArray) -> FloatArray:
    """A covariance along and across lines of sight (n, 2), in the world's x and y."""
    turn = np.zeros((len(toward), 3, 3))
    turn[:, 0, 0], turn[:, 0, 1] = toward[:, 0], -toward[:, 1]
    turn[:, 1, 0], turn[:, 1, 1] = toward[:, 1], toward[:, 0]
    turn[:, 2, 2] = 1.0
    return np.asarray(turn @ cov @ np.swapaxes(turn, -1, -2))
