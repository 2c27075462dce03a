"""The arena from above: floor, obstacles, tags and goals."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.patches import Polygon, Rectangle
from matplotlib.ticker import MaxNLocator

from posefuse.arena.arena import Arena, Goal, Obstacle, Tag
from posefuse.checks import FloatArray
from posefuse.geometry.plane import PlanePose
from posefuse.plots.style import INK, floor_unit, in_unit
from posefuse.units import metres_to

__all__ = ["court_margin_m", "draw_court", "draw_goals", "draw_obstacles", "frame_court"]

_GOAL_COLOUR = "#D55E00"
_TAG_COLOUR = "#005a8c"


def draw_court(ax: Axes, arena: Arena, *, length_unit: str = "m", has_tag_ids: bool = True) -> Axes:
    """Floor, obstacles, goals with their names, and tags with a tick the way each faces."""
    frame_court(ax, arena, length_unit=length_unit)
    draw_obstacles(ax, arena, length_unit=length_unit)
    _draw_tags(ax, arena, length_unit=length_unit, has_ids=has_tag_ids)
    for beacon in arena.beacons:
        x, y = _floor(beacon.position_in_world_m[:2], length_unit)
        ax.plot(x, y, marker="^", markersize=7, color=_TAG_COLOUR, linestyle="none")
        ax.annotate(
            str(beacon.id),
            (x, y),
            xytext=(0, 6),
            textcoords="offset points",
            ha="center",
            fontsize=7,
            color=_TAG_COLOUR,
        )
    return draw_goals(ax, arena, length_unit=length_unit)


def draw_goals(ax: Axes, arena: Arena, *, length_unit: str = "m", has_names: bool = True) -> Axes:
    """Each goal's opening as a bar, with its name."""
    for goal in arena.goals:
        _draw_goal(ax, goal, arena, length_unit=length_unit, has_name=has_names)
    return ax


def court_margin_m(arena: Arena) -> float:
    """What is drawn around the floor; small marks on it are sized by it, so that they are seen."""
    return max(arena.length_m, arena.width_m) / 30.0


def frame_court(ax: Axes, arena: Arena, *, length_unit: str = "m") -> Axes:
    """Axes that hold the floor to scale, with its walls."""
    length, width = _floor(np.array([arena.length_m, arena.width_m]), length_unit)
    unit = floor_unit(length_unit)
    margin = metres_to(unit, court_margin_m(arena))
    ax.add_patch(Rectangle((0.0, 0.0), length, width, fill=False, edgecolor=INK, linewidth=1.4))
    ax.set_xlim(-margin, length + margin)
    ax.set_ylim(-margin, width + margin)
    ax.set_aspect("equal")
    ax.spines[:].set_visible(False)
    ax.set_xticks(_ticks_within(length))
    ax.set_yticks(_ticks_within(width))
    ax.set_xlabel(in_unit("x", unit))
    ax.set_ylabel(in_unit("y", unit))
    return ax


def _ticks_within(end: float) -> FloatArray:
    """Round numbers from 0 to the wall, none beyond it."""
    ticks = np.asarray(MaxNLocator(7, steps=[1, 2, 5, 10]).tick_values(0.0, end))
    return ticks[(ticks >= 0.0) & (ticks <= end)]


def draw_obstacles(ax: Axes, arena: Arena, *, length_unit: str = "m") -> Axes:
    """The obstacles' outlines: filled where they block the way, hatched where they only hide."""
    for obstacle in arena.obstacles:
        ax.add_patch(
            Polygon(
                _floor(_outline_m(obstacle), length_unit),
                closed=True,
                facecolor="#cfcfcf" if obstacle.blocks_course else "none",
                edgecolor="#777777",
                linewidth=0.8,
                hatch=None if obstacle.blocks_course else "////",
                zorder=2,
            )
        )
    return ax


def _outline_m(obstacle: Obstacle) -> FloatArray:
    half = obstacle.size_m[:2] / 2.0
    corners = half * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    pose = PlanePose([*obstacle.centre_in_world_m[:2], obstacle.heading_rad])
    return pose.transform(corners)


def _draw_tags(ax: Axes, arena: Arena, *, length_unit: str, has_ids: bool) -> None:
    """A bar as wide as the tag (never less than can be seen) and a tick the way it faces."""
    margin_m = court_margin_m(arena)
    bars, ticks = [], []
    for tag in arena.tags:
        centre = tag.world_from_tag.translation_m[:2]
        along, out = tag.world_from_tag.rotation[:2, 0], tag.world_from_tag.rotation[:2, 2]
        half = max(tag.edge_m, 0.36 * margin_m) / 2.0
        bars.append([centre - half * along, centre + half * along])
        ticks.append([centre, centre + 0.5 * margin_m * out])
    for lines, width in ((bars, 3.0), (ticks, 1.0)):
        ax.add_collection(
            LineCollection(
                [_floor(np.array(line), length_unit) for line in lines],
                colors=_TAG_COLOUR,
                linewidths=width,
                zorder=4,
            )
        )
    if has_ids:
        for group in _neighbours(arena.tags, near_m=0.9 * margin_m):
            _draw_ids(ax, group, length_unit=length_unit)


def _neighbours(tags: Sequence[Tag], *, near_m: float) -> list[list[Tag]]:
    """The tags in groups that hang so close together that one label must do."""
    groups: list[list[Tag]] = []
    for tag in tags:
        place = tag.world_from_tag.translation_m[:2]
        for group in groups:
            if np.hypot(*(group[0].world_from_tag.translation_m[:2] - place)) < near_m:
                group.append(tag)
                break
        else:
            groups.append([tag])
    return groups


def _draw_ids(ax: Axes, group: Sequence[Tag], *, length_unit: str) -> None:
    """The ids behind the tags; beside them where tags of the group face several ways."""
    centre = np.mean([tag.world_from_tag.translation_m[:2] for tag in group], axis=0)
    out = np.mean([tag.world_from_tag.rotation[:2, 2] for tag in group], axis=0)
    x, y = _floor(centre, length_unit)
    behind = -8.0 * out if np.hypot(*out) > 0.8 else np.array([11.0, 11.0])
    ax.annotate(
        ",".join(str(tag.id) for tag in group),
        (x, y),
        xytext=(float(behind[0]), float(behind[1])),
        textcoords="offset points",
        ha="center",
        va="center",
        fontsize=6.5,
        color=_TAG_COLOUR,
        zorder=5,
    )


def _draw_goal(ax: Axes, goal: Goal, arena: Arena, *, length_unit: str, has_name: bool) -> None:
    out = np.array([np.cos(goal.facing_rad), np.sin(goal.facing_rad)])
    along = np.array([-out[1], out[0]]) * goal.width_m / 2.0
    ends = _floor(np.array([goal.xy_in_world_m - along, goal.xy_in_world_m + along]), length_unit)
    ax.plot(*ends.T, color=_GOAL_COLOUR, linewidth=4.0, solid_capstyle="butt", zorder=6)
    if not has_name:
        return
    x, y = _floor(goal.xy_in_world_m, length_unit)
    middle = _floor(np.array([arena.length_m, arena.width_m]), length_unit) / 2.0
    ax.annotate(
        goal.name,
        (x, y),
        xytext=(7.0 if x < middle[0] else -7.0, 0.0),
        textcoords="offset points",
        ha="left" if x < middle[0] else "right",
        va="center",
        fontsize=8,
        fontweight="bold",
        color=_GOAL_COLOUR,
        zorder=7,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.8},
    )


def _floor(points_m: FloatArray, length_unit: str) -> FloatArray:
    """Points in the unit of the floor's axes."""
    return points_m * metres_to(floor_unit(length_unit), 1.0)
