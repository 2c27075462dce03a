"""The shot over the distance: the pivots, the flights into the opening."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle

from posefuse.aim.arcs import Arc
from posefuse.aim.sheet import ArcSheet
from posefuse.arena.arena import Goal
from posefuse.checks import FloatArray
from posefuse.plots.style import GREY, INK, floor_unit, in_unit, plan_colour
from posefuse.robot.shooter import Shooter
from posefuse.units import metres_to

__all__ = ["ARC_COLOURS", "draw_flights", "draw_pivots"]

ARC_COLOURS = {Arc.LOW: plan_colour(0), Arc.HIGH: plan_colour(1)}
_GOAL_COLOUR = plan_colour(2)


def draw_pivots(
    ax: Axes, sheets: Sequence[ArcSheet], shooter: Shooter, *, length_unit: str = "m"
) -> Axes:
    """The pivot over the distance: through the middle, and where it tolerates the largest error."""
    unit = floor_unit(length_unit)
    scale = metres_to(unit, 1.0)
    for arc in Arc:
        of_arc = [sheet for sheet in sheets if sheet.aim.arc is arc]
        for place, sheet in enumerate(of_arc):
            x, colour = scale * sheet.table.distances_m, ARC_COLOURS[arc]
            name = None if place else f"{arc.name.lower()} arc, through the middle"
            ax.plot(x, np.degrees(sheet.table.pivots_rad), color=colour, label=name)
            roomiest = sheet.roomiest_table
            if roomiest is not None:
                ax.plot(
                    scale * roomiest.distances_m,
                    np.degrees(roomiest.pivots_rad),
                    color=colour,
                    linestyle=":",
                    linewidth=2.0,
                    label=None if place else f"{arc.name.lower()} arc, most tolerant",
                )
    for limit in (shooter.pivot_low_rad, shooter.pivot_high_rad):
        ax.axhline(float(np.degrees(limit)), color=GREY, linewidth=0.8, linestyle="--")
    ax.set_xlabel(in_unit("distance to the goal", unit))
    ax.set_ylabel("pivot (°)")
    ax.set_xlim(left=0.0)
    ax.grid(visible=True)
    return ax


def draw_flights(
    ax: Axes,
    paths_m: FloatArray,
    *,
    goal: Goal,
    arc: Arc,
    diameter_m: float = 0.0,
    length_unit: str = "m",
) -> Axes:
    """Throws from several distances into the opening, from the side and to scale.

    Parameters
    ----------
    paths_m : (n, points, 2) array
        Level distance to the goal's middle, negative before it, and height.
    diameter_m
        Of the piece, which is drawn where it leaves and where it comes in.
    """
    scale = metres_to(floor_unit(length_unit), 1.0)
    for path in scale * paths_m:
        ax.plot(*path.T, color=ARC_COLOURS[arc], linewidth=1.1, alpha=0.85)
        ax.plot(*path[0], color=INK, marker="o", markersize=2.5, linestyle="none")
    centre = np.array([0.0, goal.centre_in_world_m[2]])
    upward = np.array([np.sin(goal.tilt_rad), np.cos(goal.tilt_rad)])
    half = goal.height_m / 2.0 * upward
    for end in (half, -half):  # the rim: what stands on both sides of the opening
        rim = scale * np.array([centre + end, centre + 1.25 * end])
        ax.plot(*rim.T, color=_GOAL_COLOUR, linewidth=4.0, solid_capstyle="butt", zorder=5)
    opening = scale * np.array([centre - half, centre + half])
    ax.plot(*opening.T, color=_GOAL_COLOUR, linewidth=1.0, linestyle=":", zorder=5)
    if diameter_m > 0.0:
        ax.add_patch(
            Circle(
                tuple(scale * centre),
                scale * diameter_m / 2.0,
                facecolor="white",
                edgecolor=INK,
                linewidth=0.9,
                zorder=6,
            )
        )
    ax.axhline(0.0, color=GREY, linewidth=1.0)
    ax.set_aspect("equal")
    unit = floor_unit(length_unit)
    ax.set_xlabel(in_unit("before the goal", unit))
    ax.set_ylabel(in_unit("height", unit))
    ax.xaxis.set_major_formatter(lambda value, _: f"{abs(value):g}")
    ax.grid(visible=True)
    return ax
