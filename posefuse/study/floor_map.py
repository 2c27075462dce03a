"""How accurate the cameras can be from every place on the floor, before any course is driven."""

import math
from dataclasses import dataclass

import numpy as np

from posefuse.arena.arena import Arena, Goal
from posefuse.checks import BoolArray, FloatArray, in_range, positive
from posefuse.errors import InputError
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.motion.clearance import touches_box
from posefuse.robot.rig import Rig
from posefuse.sensing.arrays import RobotBoxes, WorldBoxes
from posefuse.sensing.information import corner_information
from posefuse.sensing.views import still_views

__all__ = ["FloorMap", "floor_map"]

PRIOR_POSITION_STD_M = 0.5
PRIOR_HEADING_STD_RAD = math.radians(10.0)
_MOST_CELLS = 250_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FloorMap:
    """One figure a cell of the floor; nan where the robot cannot stand.

    Parameters
    ----------
    x_edges_m, y_edges_m : (columns + 1,), (rows + 1,) arrays
        Where the cells begin and end.
    tags_seen : (rows, columns) array
        Tags all cameras together are expected to find in one frame each, a tag in two cameras
        counted twice; with the robot facing the goal, or the mean over ``headings`` directions.
    distance_std_m : (rows, columns) array
        Least spread of the distance to the goal after one frame of each camera, the robot facing
        the goal, from a prior that knows the pose to ``prior_position_std_m`` on each axis and
        ``prior_heading_std_rad``.
    pose_covs : (rows, columns, 3, 3) array
        Least covariance of x, y and heading, of which ``distance_std_m`` is a part.
    headings
        1: facing the goal.
    """

    goal: Goal
    x_edges_m: FloatArray
    y_edges_m: FloatArray
    tags_seen: FloatArray
    distance_std_m: FloatArray
    pose_covs: FloatArray
    prior_position_std_m: float
    prior_heading_std_rad: float
    headings: int

    @property
    def is_standable(self) -> BoolArray:
        """Where the robot can stand."""
        return np.isfinite(self.distance_std_m)

    @property
    def median_distance_std_m(self) -> float:
        """Median over the cells in which the robot can stand."""
        return float(np.nanmedian(self.distance_std_m))

    @property
    def no_tag_share(self) -> float:
        """Share of those cells from which less than half a tag is expected to be found."""
        return float(np.mean(self.tags_seen[self.is_standable] < 0.5))


def floor_map(
    *,
    arena: Arena,
    rig: Rig,
    goal: Goal,
    cell_m: float = 0.3,
    prior_position_std_m: float = PRIOR_POSITION_STD_M,
    prior_heading_std_rad: float = PRIOR_HEADING_STD_RAD,
    headings: int = 1,
) -> FloorMap:
    """The map of a robot that stands still in the middle of each cell and faces the goal.

    The spread is the Cramer-Rao bound with a prior: the root of ``u' (J + P^-1)^-1 u``, u the
    direction to the goal, J the information in the corners, P the prior covariance (S. M. Kay,
    Fundamentals of Statistical Signal Processing, vol. 1, 1993, ch. 3 and 10). Build errors are
    left out.

    Parameters
    ----------
    cell_m
        Edge of a cell; stretched a little so that whole cells fill the floor.
    headings
        Over how many evenly spaced directions ``tags_seen`` is averaged, the goal's first.

    Raises
    ------
    InputError
        The rig carries no camera, the arena no tag, or the cells are too many.
    """
    if not rig.mounts:
        raise InputError(f"rig {rig.name!r}: no floor map, it has no camera")
    if not arena.tags:
        raise InputError(f"arena {arena.name!r}: no floor map, it has no tag")
    prior = np.array([prior_position_std_m, prior_position_std_m, prior_heading_std_rad])
    for name, value in (("prior_position_std_m", prior[0]), ("prior_heading_std_rad", prior[2])):
        positive(name, float(value))
    in_range("headings", headings, 1, 360)
    x_edges_m, y_edges_m = _edges(arena, cell_m)
    shape = (len(y_edges_m) - 1, len(x_edges_m) - 1)
    poses = _poses_facing(goal, x_edges_m, y_edges_m)
    is_free = _outline_is_free(arena, rig, poses)
    tags_seen, information = _seen_from(arena, rig, poses[is_free])
    turned = [tags_seen] + [
        _seen_from(arena, rig, poses[is_free] + [0.0, 0.0, 2.0 * np.pi * k / headings])[0]
        for k in range(1, headings)
    ]
    covs = np.asarray(np.linalg.inv(information + np.diag(prior**-2)), dtype=np.float64)
    return FloorMap(
        goal=goal,
        x_edges_m=x_edges_m,
        y_edges_m=y_edges_m,
        tags_seen=_on_floor(np.mean(turned, axis=0), is_free, shape),
        distance_std_m=_on_floor(_distance_std_m(covs, poses[is_free]), is_free, shape),
        pose_covs=_on_floor(covs, is_free, shape),
        prior_position_std_m=prior_position_std_m,
        prior_heading_std_rad=prior_heading_std_rad,
        headings=headings,
    )


def _edges(arena: Arena, cell_m: float) -> tuple[FloatArray, FloatArray]:
    positive("cell_m", cell_m)
    columns = max(1, round(arena.length_m / cell_m))
    rows = max(1, round(arena.width_m / cell_m))
    if columns * rows > _MOST_CELLS:
        raise InputError(
            f"cell_m: makes {columns} x {rows} cells, at most {_MOST_CELLS} are allowed "
            f"(got {cell_m:g})"
        )
    return (
        np.linspace(0.0, arena.length_m, columns + 1),
        np.linspace(0.0, arena.width_m, rows + 1),
    )


def _poses_facing(goal: Goal, x_edges_m: FloatArray, y_edges_m: FloatArray) -> FloatArray:
    """Poses (rows * columns, 3) in the middles of the cells, row by row, facing the goal."""
    x, y = np.meshgrid((x_edges_m[:-1] + x_edges_m[1:]) / 2, (y_edges_m[:-1] + y_edges_m[1:]) / 2)
    to_goal = goal.xy_in_world_m - np.stack([x, y], axis=-1)
    heading = np.arctan2(to_goal[..., 1], to_goal[..., 0])
    return np.stack([x, y, heading], axis=-1).reshape(-1, 3)


def _outline_is_free(arena: Arena, rig: Rig, poses: FloatArray) -> BoolArray:
    """Where the robot's outline touches no obstacle that blocks the way."""
    is_free = np.ones(len(poses), dtype=np.bool_)
    for obstacle in arena.obstacles:
        if obstacle.blocks_course:
            is_free &= ~touches_box(
                rig.body.outline_in_robot_m,
                PlanePose(poses),
                box_xy_m=obstacle.centre_in_world_m[:2],
                box_size_m=obstacle.size_m,
                box_heading_rad=obstacle.heading_rad,
            )
    return is_free


def _seen_from(arena: Arena, rig: Rig, poses: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Expected tags (n,) and information about the pose (n, 3, 3) in one frame of each camera."""
    views = still_views(
        SpacePose.from_plane(PlanePose(poses)).matrix,
        rig.mounts,
        arena.tags,
        WorldBoxes.from_obstacles(arena.obstacles),
        RobotBoxes.from_body(rig.body),
    )
    pose = views.frame // len(rig.mounts)
    tags = np.zeros(len(poses))
    np.add.at(tags, pose, views.found_probability)
    information = np.zeros((len(poses), 3, 3))
    found = views.found_probability[:, None, None] * corner_information(views)
    np.add.at(information, pose, found)
    return tags, information


def _distance_std_m(covs: FloatArray, poses: FloatArray) -> FloatArray:
    toward = np.stack([np.cos(poses[:, 2]), np.sin(poses[:, 2])], axis=-1)
    variance: FloatArray = np.einsum("ni,nij,nj->n", toward, covs[:, :2, :2], toward)
    return np.sqrt(variance)


def _on_floor(values: FloatArray, is_free: BoolArray, shape: tuple[int, int]) -> FloatArray:
    floor = np.full((len(is_free), *values.shape[1:]), np.nan)
    floor[is_free] = values
    floor.setflags(write=False)
    return floor.reshape(*shape, *values.shape[1:])
