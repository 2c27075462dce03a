"""Whether the robot's outline keeps clear of walls and boxes along its path."""

import numpy as np

from posefuse.checks import BoolArray, FloatArray
from posefuse.geometry.plane import PlanePose

__all__ = ["leaves_floor", "touches_box"]


def leaves_floor(
    outline_in_robot_m: FloatArray, world_from_robot: PlanePose, *, length_m: float, width_m: float
) -> BoolArray:
    """Whether a corner of the outline (4, 2) lies off the floor, for each pose (n, 3)."""
    corners = PlanePose(world_from_robot.values[:, None, :]).transform(outline_in_robot_m)
    low, high = corners.min(axis=1), corners.max(axis=1)
    return np.asarray((low < 0.0).any(axis=1) | (high > [length_m, width_m]).any(axis=1))


def touches_box(
    outline_in_robot_m: FloatArray,
    world_from_robot: PlanePose,
    *,
    box_xy_m: FloatArray,
    box_size_m: FloatArray,
    box_heading_rad: float,
) -> BoolArray:
    """Whether the outline's rectangle (4, 2) overlaps a box's footprint, for each pose (n, 3).

    Two rectangles lie apart where a line along an edge of either parts them: the separating axis
    theorem; S. Gottschalk, M. C. Lin, D. Manocha, "OBBTree", SIGGRAPH 1996 (from memory).

    Parameters
    ----------
    box_xy_m : (2,) or (n, 2) array
        The box's middle, fixed or at each pose.
    box_size_m
        Along and across its heading; what follows is not read.
    """
    half = np.abs(outline_in_robot_m).max(axis=0)
    box_half = np.asarray(box_size_m)[:2] / 2.0
    apart = np.broadcast_to(box_xy_m, (len(world_from_robot.values), 2)) - world_from_robot.xy_m
    far = np.hypot(*half) + np.hypot(*box_half)
    touching = np.asarray(np.hypot(*apart.T) < far)
    near = np.flatnonzero(touching)
    heading, apart = world_from_robot.heading_rad[near], apart[near]
    turn = box_heading_rad - heading
    c, s = np.abs(np.cos(turn)), np.abs(np.sin(turn))
    swap = np.stack([c * box_half[0] + s * box_half[1], s * box_half[0] + c * box_half[1]], axis=-1)
    reach = half + swap
    box_reach = box_half + np.stack([c * half[0] + s * half[1], s * half[0] + c * half[1]], axis=-1)
    in_robot = _turned(apart, -heading)
    in_box = _turned(apart, np.full(len(near), -box_heading_rad))
    touching[near] = (np.abs(in_robot) < reach).all(axis=1) & (np.abs(in_box) < box_reach).all(
        axis=1
    )
    return touching


def _turned(vectors: FloatArray, angle_rad: FloatArray) -> FloatArray:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    x, y = vectors.T
    return np.stack([c * x - s * y, s * x + c * y], axis=-1)
