"""How far off a plan's own filter is to be expected from every place on the floor."""

from dataclasses import dataclass

import numpy as np

from posefuse.arena.arena import Arena, Goal
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.checks import BoolArray, FloatArray, in_range, positive
from posefuse.errors import InputError
from posefuse.fusion.settings import BuildErrors, FilterSettings
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.motion.clearance import touches_box
from posefuse.robot.rig import Rig
from posefuse.sensing.arrays import RobotBoxes, WorldBoxes
from posefuse.sensing.views import TagViews, still_views
from posefuse.study.standstill import Arrival, standstill_covs
from posefuse.threads import side_by_side

__all__ = ["FloorMap", "floor_map"]

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
    distance_rms_m : (rows, columns) array
        Root mean square of the error of the distance to the goal, over all builds and all noise,
        after the standstill of ``arrival``, the robot facing the goal.
    pose_covs : (rows, columns, 3, 3) array
        Mean square error of x, y and heading, of which ``distance_rms_m`` is a part.
    headings
        1: facing the goal.
    considers_build, estimates_build
        What the filter makes of errors of the build; both false where it takes builds for exact.
    """

    goal: Goal
    x_edges_m: FloatArray
    y_edges_m: FloatArray
    tags_seen: FloatArray
    distance_rms_m: FloatArray
    pose_covs: FloatArray
    arrival: Arrival
    headings: int
    considers_build: bool
    estimates_build: bool

    @property
    def is_standable(self) -> BoolArray:
        """Where the robot can stand."""
        return np.isfinite(self.distance_rms_m)

    @property
    def median_distance_rms_m(self) -> float:
        """Median over the cells in which the robot can stand."""
        return float(np.nanmedian(self.distance_rms_m))

    @property
    def no_tag_share(self) -> float:
        """Share of those cells from which less than half a tag is expected to be found."""
        return float(np.mean(self.tags_seen[self.is_standable] < 0.5))


def floor_map(
    *,
    arena: Arena,
    rig: Rig,
    goal: Goal,
    settings: FilterSettings,
    spreads: BuildSpreads,
    cell_m: float = 0.3,
    arrival: Arrival | None = None,
    headings: int = 1,
    workers: int = 1,
) -> FloorMap:
    """The map of a robot that stands still in the middle of each cell and faces the goal.

    Parameters
    ----------
    settings
        Of the filter that the robot uses.
    spreads
        Of the errors of the build.
    cell_m
        Edge of a cell; stretched a little so that whole cells fill the floor.
    arrival
        ``Arrival()`` when not given.
    headings
        Over how many evenly spaced directions ``tags_seen`` is averaged, the goal's first.
    workers
        Threads.

    Raises
    ------
    InputError
        The rig carries no camera, the arena no tag, the settings fuse beacons, or the cells are too
        many.
    """
    if not rig.mounts:
        raise InputError(f"rig {rig.name!r}: no floor map, it has no camera")
    if not arena.tags:
        raise InputError(f"arena {arena.name!r}: no floor map, it has no tag")
    in_range("headings", headings, 1, 360)
    arrival = arrival or Arrival()
    x_edges_m, y_edges_m = _edges(arena, cell_m)
    shape = (len(y_edges_m) - 1, len(x_edges_m) - 1)
    poses = _poses_facing(goal, x_edges_m, y_edges_m)
    is_free = _outline_is_free(arena, rig, poses)
    turns = np.array([[0.0, 0.0, 2.0 * np.pi * k / headings] for k in range(headings)])

    def of_part(part: FloatArray) -> tuple[FloatArray, FloatArray]:
        views = _views_from(arena, rig, part)
        covs = standstill_covs(
            part,
            views,
            rig=rig,
            arena=arena,
            settings=settings,
            spreads=spreads,
            arrival=arrival,
        )
        turned = [_views_from(arena, rig, part + turn) for turn in turns[1:]]
        seen = [_tags_seen(each, len(part), rig) for each in (views, *turned)]
        return np.mean(seen, axis=0), covs

    parts = np.array_split(poses[is_free], workers)
    with side_by_side(workers) as pool:
        made = list(pool.map(of_part, parts))
    tags_seen, covs = (np.concatenate(values) for values in zip(*made, strict=True))
    return FloorMap(
        goal=goal,
        x_edges_m=x_edges_m,
        y_edges_m=y_edges_m,
        tags_seen=_on_floor(tags_seen, is_free, shape),
        distance_rms_m=_on_floor(_distance_rms_m(covs, poses[is_free]), is_free, shape),
        pose_covs=_on_floor(covs, is_free, shape),
        arrival=arrival,
        headings=headings,
        considers_build=settings.build_errors is BuildErrors.CONSIDERED,
        estimates_build=settings.build_errors is BuildErrors.ESTIMATED,
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


def _views_from(arena: Arena, rig: Rig, poses: FloatArray) -> TagViews:
    """One frame of each camera from each of the poses."""
    return still_views(
        SpacePose.from_plane(PlanePose(poses)).matrix,
        rig.mounts,
        arena.tags,
        WorldBoxes.from_obstacles(arena.obstacles),
        RobotBoxes.from_body(rig.body),
    )


def _tags_seen(views: TagViews, places: int, rig: Rig) -> FloatArray:
    """Expected tags (places,) in one frame of each camera."""
    place, found = views.frame // len(rig.mounts), views.found_probability
    return np.bincount(place, weights=found, minlength=places).astype(np.float64)


def _distance_rms_m(covs: FloatArray, poses: FloatArray) -> FloatArray:
    toward = np.stack([np.cos(poses[:, 2]), np.sin(poses[:, 2])], axis=-1)
    square: FloatArray = np.einsum("ni,nij,nj->n", toward, covs[:, :2, :2], toward)
    return np.sqrt(square)


def _on_floor(values: FloatArray, is_free: BoolArray, shape: tuple[int, int]) -> FloatArray:
    floor = np.full((len(is_free), *values.shape[1:]), np.nan)
    floor[is_free] = values
    floor.setflags(write=False)
    return floor.reshape(*shape, *values.shape[1:])
