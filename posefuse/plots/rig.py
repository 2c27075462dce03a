"""The robot with its cameras: on the court at one instant, and as a sketch of its rig."""

import textwrap
from collections.abc import Mapping

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Polygon, Rectangle
from scipy.spatial import ConvexHull

from posefuse.arena.arena import Arena
from posefuse.checks import FloatArray
from posefuse.geometry.plane import PlanePose
from posefuse.plots.style import INK, camera_colour, floor_unit, in_unit
from posefuse.robot.body import BodyBox
from posefuse.robot.rig import Mount, Rig
from posefuse.units import length_label, metres_to, to_degrees

__all__ = ["draw_rig_from_above", "draw_rig_from_side", "draw_robot", "rig_legend_handles"]

_SKETCH_REACH_M = 0.45


def draw_robot(
    ax: Axes,
    rig: Rig,
    world_from_robot: PlanePose,
    *,
    arena: Arena,
    reach_m: float = 2.5,
    length_unit: str = "m",
) -> Axes:
    """The robot's outline at a pose, with each camera's view as a slice ``reach_m`` long, named.

    What stands in the view is not taken out of it; the walls cut it off.
    """
    scale = metres_to(floor_unit(length_unit), 1.0)
    size = np.array([arena.length_m, arena.width_m]) * scale
    floor = Rectangle((0.0, 0.0), *size, transform=ax.transData)
    for index, mount in enumerate(rig.mounts):
        cone = _arc_of_view_m(mount, reach_m)
        view = Polygon(
            world_from_robot.transform(cone) * scale,
            closed=True,
            facecolor=camera_colour(index),
            alpha=0.2,
            linewidth=0.0,
            zorder=2.5,
        )
        ax.add_patch(view)
        view.set_clip_path(floor)
        x, y = world_from_robot.transform(cone[1:].mean(axis=0)) * scale
        if 0.0 < x < size[0] and 0.0 < y < size[1]:
            ax.text(x, y, mount.name, ha="center", va="center", fontsize=6.5, color=INK, zorder=6.5)
    outline = world_from_robot.transform(rig.body.outline_in_robot_m) * scale
    ax.add_patch(
        Polygon(outline, closed=True, facecolor="white", edgecolor=INK, linewidth=1.2, zorder=6)
    )
    nose = np.array([[0.0, 0.0], [rig.body.length_m / 2.0, 0.0]])
    ax.plot(*(world_from_robot.transform(nose) * scale).T, color=INK, linewidth=1.2, zorder=7)
    return ax


def draw_rig_from_above(ax: Axes, rig: Rig, *, length_unit: str = "cm") -> Axes:
    """Outline, boxes and cameras seen from above, forward to the right; each with name and tilt."""
    scale = metres_to(length_unit, 1.0)
    ax.add_patch(
        Polygon(
            rig.body.outline_in_robot_m * scale,
            closed=True,
            facecolor="#f4f4f4",
            edgecolor=INK,
            linewidth=1.2,
        )
    )
    _draw_boxes(ax, rig, axes=(0, 1), scale=scale)
    for index, mount in enumerate(rig.mounts):
        _draw_view(ax, mount, axes=(0, 1), scale=scale, colour=camera_colour(index))
        outward = np.array([np.cos(mount.pan_rad), np.sin(mount.pan_rad)])
        x, y = scale * (mount.position_in_robot_m[:2] + 0.62 * _SKETCH_REACH_M * outward)
        ax.annotate(
            f"{textwrap.fill(mount.name, 12)}\n{_signed(to_degrees(mount.tilt_rad))}°",
            (x, y),
            ha="center",
            va="center",
            fontsize=6.5,
            color=INK,
            zorder=9,
        )
    ax.annotate(
        "front →", (0.99, 0.02), xycoords="axes fraction", ha="right", va="bottom", fontsize=7.5
    )
    return _frame(ax, rig, axes=(0, 1), top_m=0.0, labels=("x", "y"), length_unit=length_unit)


def draw_rig_from_side(
    ax: Axes,
    rig: Rig,
    *,
    lift_travel_m: Mapping[str, float] | None = None,
    length_unit: str = "cm",
) -> Axes:
    """The same robot seen from its right side, forward to the right, standing on the floor.

    Parameters
    ----------
    lift_travel_m
        By name of a box: how far it is raised; it is drawn dashed up there.
    """
    scale = metres_to(length_unit, 1.0)
    half = rig.body.length_m / 2.0
    travel_m = lift_travel_m or {}
    _draw_boxes(ax, rig, axes=(0, 2), scale=scale)
    for box in rig.body.boxes:
        if travel_m.get(box.name, 0.0) > 0.0:
            _draw_travel(ax, box, travel_m[box.name], length_unit=length_unit)
    for index, mount in enumerate(rig.mounts):
        _draw_view(ax, mount, axes=(0, 2), scale=scale, colour=camera_colour(index))
    ax.axhline(0.0, color=INK, linewidth=1.2)
    ax.plot([-half * scale, half * scale], [0.0, 0.0], color=INK, linewidth=4.0)
    top_m = max(
        [_top_m(box) + travel_m.get(box.name, 0.0) for box in rig.body.boxes]
        + [mount.position_in_robot_m[2] + 0.6 * _SKETCH_REACH_M for mount in rig.mounts]
        + [0.3]
    )
    return _frame(
        ax, rig, axes=(0, 2), top_m=top_m, labels=("x", "height"), length_unit=length_unit
    )


def rig_legend_handles(*, has_lift: bool) -> list[Artist]:
    """What the shapes of a sketch mean, for a legend."""
    shapes: list[Artist] = [
        Line2D(
            [], [], color=camera_colour(0), marker="s", markersize=5, linestyle="none",
            label="camera",
        ),
        Patch(facecolor=f"{camera_colour(0)}40", label="its view, cut off short"),
        Patch(facecolor="#f4f4f4", edgecolor=INK, label="outline"),
        Patch(facecolor="#c8c8c8", edgecolor="#777777", label="box that hides the view"),
        Patch(facecolor="none", edgecolor="#777777", linestyle="--", label="box, lift up"),
    ]  # fmt: skip
    return shapes if has_lift else shapes[:-1]


def _top_m(box: BodyBox) -> float:
    return float(box.centre_in_robot_m[2] + box.size_m[2] / 2.0)


def _draw_travel(ax: Axes, box: BodyBox, travel_m: float, *, length_unit: str) -> None:
    """The box as far up as its lift takes it, and the way its top goes."""
    scale = metres_to(length_unit, 1.0)
    x, width = scale * box.centre_in_robot_m[0], scale * box.size_m[0]
    top = scale * _top_m(box)
    ax.add_patch(
        Rectangle(
            (x - width / 2.0, top - scale * box.size_m[2] + scale * travel_m),
            width,
            scale * box.size_m[2],
            fill=False,
            edgecolor="#777777",
            linestyle="--",
            linewidth=0.9,
            zorder=3,
        )
    )
    ax.annotate(
        "",
        (x + width, top + scale * travel_m),
        (x + width, top),
        arrowprops={"arrowstyle": "->", "color": INK, "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0},
    )
    ax.annotate(
        f" lift {scale * travel_m:.3g} {length_label(length_unit)}",
        (x + width, top + scale * travel_m / 2.0),
        xytext=(2.0, 0.0),
        textcoords="offset points",
        ha="left",
        va="center",
        fontsize=6.5,
    )


def _draw_boxes(ax: Axes, rig: Rig, *, axes: tuple[int, int], scale: float) -> None:
    for box in rig.body.boxes:
        centre, half = box.centre_in_robot_m[list(axes)], box.size_m[list(axes)] / 2.0
        corners = centre + half * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
        ax.add_patch(
            Polygon(
                corners * scale,
                closed=True,
                facecolor="#c8c8c8",
                edgecolor="#777777",
                alpha=0.7,
                linewidth=0.8,
            )
        )


def _draw_view(ax: Axes, mount: Mount, *, axes: tuple[int, int], scale: float, colour: str) -> None:
    """The pyramid of view, cut off at a set reach, as its shadow on two axes."""
    shadow = _view_in_robot_m(mount, _SKETCH_REACH_M)[:, list(axes)]
    hull = shadow[ConvexHull(shadow).vertices]
    ax.add_patch(
        Polygon(hull * scale, closed=True, facecolor=colour, alpha=0.25, linewidth=0.0, zorder=4)
    )
    x, y = mount.position_in_robot_m[list(axes)] * scale
    ax.plot(x, y, marker="s", markersize=5, color=colour, markeredgecolor="white", zorder=8)


def _frame(
    ax: Axes,
    rig: Rig,
    *,
    axes: tuple[int, int],
    top_m: float,
    labels: tuple[str, str],
    length_unit: str,
) -> Axes:
    """Limits that hold body, boxes and views, whatever the plan: rivals stay to one scale."""
    scale = metres_to(length_unit, 1.0)
    half = max(rig.body.length_m, rig.body.width_m) / 2.0 + _SKETCH_REACH_M + 0.05
    ax.set_xlim(-half * scale, half * scale)
    if axes[1] == 2:
        ax.set_ylim(-0.08 * scale, (top_m + 0.05) * scale)
    else:
        ax.set_ylim(-half * scale, half * scale)
    ax.set_aspect("equal")
    ax.set_xlabel(in_unit(labels[0], length_unit))
    ax.set_ylabel(in_unit(labels[1], length_unit))
    return ax


def _image_rays(mount: Mount, pixels: FloatArray) -> FloatArray:
    """Directions (n, 3) in the robot frame of pixels (n, 2), without the lens's distortion."""
    ahead = (pixels - mount.camera.lens.centre_px) / mount.camera.lens.focal_px
    rays = np.concatenate([ahead, np.ones((len(ahead), 1))], axis=1)
    return rays @ mount.robot_from_camera.rotation.T


def _view_in_robot_m(mount: Mount, reach_m: float) -> FloatArray:
    """The camera and what lies ``reach_m`` off in its image's corners and middle, (6, 3)."""
    width, height = mount.camera.sensor.width_px - 0.5, mount.camera.sensor.height_px - 0.5
    middle = mount.camera.lens.centre_px
    pixels = np.array([[-0.5, -0.5], [width, -0.5], [width, height], [-0.5, height], middle])
    rays = _image_rays(mount, pixels)
    apex = mount.position_in_robot_m
    far = apex + reach_m * rays / np.linalg.norm(rays, axis=1, keepdims=True)
    return np.concatenate([apex[None], far])


def _arc_of_view_m(mount: Mount, reach_m: float) -> FloatArray:
    """A slice of a disc over the floor, from the image's left edge to its right, (n, 2)."""
    width, middle = mount.camera.sensor.width_px - 0.5, mount.camera.lens.centre_px[1]
    edges = _image_rays(mount, np.array([[-0.5, middle], [width, middle]]))
    right, left = np.unwrap(np.arctan2(edges[::-1, 1], edges[::-1, 0]))
    angle = np.linspace(right, left, 24)
    apex = mount.position_in_robot_m[:2]
    arc = apex + reach_m * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    return np.concatenate([apex[None], arc])


def _signed(angle_deg: float) -> str:
    return f"{angle_deg:+.0f}" if abs(angle_deg) >= 0.5 else "0"
