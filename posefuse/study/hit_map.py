"""From where on the floor a plan's shots go in."""

from dataclasses import dataclass

import numpy as np

from posefuse.aim.arcs import Arc
from posefuse.aim.hit_probability import hit_probability
from posefuse.aim.shots import Shots
from posefuse.checks import FloatArray
from posefuse.robot.shooter import Shooter
from posefuse.scoring.shot_hits import aims_for, arcs_for
from posefuse.study.floor_map import FloorMap

__all__ = ["LIKELY_SHARE", "HitMap", "hit_map"]

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
    """

    floor: FloorMap
    shares: FloatArray

    @property
    def likely_share(self) -> float:
        """Share of the floor, where the robot can stand, from which nine of ten shots go in."""
        return float(np.mean(self.shares[self.floor.is_standable] >= LIKELY_SHARE))


def hit_map(floor: FloorMap, *, shooter: Shooter, workers: int = 1) -> HitMap:
    """The map of a robot that stands still in the middle of each cell and shoots at the goal.

    The error of its estimate is taken as normal about zero, with the map's mean square error. From
    where even a perfect estimate scores one shot in 1000 at most, 0. Obstacles in the way of the
    piece are not looked at.

    Parameters
    ----------
    workers
        Threads.
    """
    stands = floor.is_standable
    x, y = np.meshgrid(
        (floor.x_edges_m[:-1] + floor.x_edges_m[1:]) / 2.0,
        (floor.y_edges_m[:-1] + floor.y_edges_m[1:]) / 2.0,
    )
    positions = np.stack([x, y], axis=-1)[stands]
    distances = np.linalg.norm(floor.goal.xy_in_world_m - positions, axis=-1)
    covs = floor.pose_covs[stands]
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
    return HitMap(floor=floor, shares=shares)
