"""Whether everything in an arena is in a possible place: inside, above the floor, not in a wall."""

import math
from collections.abc import Iterator, Mapping

import numpy as np

from posefuse.arena.arena import Arena, Goal, Obstacle, Tag
from posefuse.checks import FloatArray
from posefuse.units import metres_to

__all__ = ["FAMILY_SIZES", "LEAST_CELL_M", "Place", "cells_across", "placement_faults"]

FAMILY_SIZES: Mapping[str, int] = {
    "36h11": 587,
    "36h10": 2320,
    "25h9": 35,
    "16h5": 30,
    "mip_36h12": 250,
    "original": 1024,
    **{f"{n}x{n}_{size}": size for n in (4, 5, 6, 7) for size in (50, 100, 250, 1000)},
}
"""Families of square tags and how many codes each one has.

The first four: E. Olson, "AprilTag: A robust and flexible visual fiducial system", ICRA 2011, and
its authors' code lists. The others: S. Garrido-Jurado et al., Pattern Recognition 47(6), 2014, and
51, 2016, in the lists that OpenCV carries."""

LEAST_CELL_M = 0.0005
"""Cells of a tag smaller than half a millimetre cannot be shown: a printer of 300 dots an inch has
six dots for one. Tags so small are a slip of units."""

_EDGE_TOLERANCE_M = 0.01
_NEAR_WALL_M = 0.05
_IN_FRONT_M = 0.01
_SKIN_M = 0.001
_ROUNDING_M = 1e-9

Place = tuple[str, int, str]
"""Kind of thing, its index in the arena's tuple of that kind, and the key that is wrong."""


def cells_across(family: str) -> int:
    """How many cells wide the black square of a family's tags is, its border included.

    >>> cells_across("36h11"), cells_across("4x4_50")
    (8, 6)
    """
    if family == "original":
        return 7
    bits = family.removeprefix("mip_").partition("h")[0]
    code = int(family[0]) if "x" in family else math.isqrt(int(bits))
    return code + 2


def placement_faults(arena: Arena) -> Iterator[tuple[Place, str]]:
    """Everything that is in an impossible place, with what is wrong there."""
    for index, tag in enumerate(arena.tags):
        for key, problem in _tag_faults(tag, arena):
            yield ("tag", index, key), problem
    for index, goal in enumerate(arena.goals):
        off = _outside(_goal_corners_in_world_m(goal), arena)
        if off:
            yield ("goal", index, "centre_m"), f"the opening {off}"
    for index, obstacle in enumerate(arena.obstacles):
        for problem in _obstacle_faults(obstacle, arena):
            yield ("obstacle", index, "centre_m"), problem


def _tag_faults(tag: Tag, arena: Arena) -> Iterator[tuple[str, str]]:
    size = FAMILY_SIZES.get(tag.family)
    if size is None:
        allowed = ", ".join(FAMILY_SIZES)
        yield "family", f"unknown family; allowed: {allowed} (got {tag.family!r})"
    elif tag.id >= size:
        yield "id", f"the family {tag.family} has the ids 0 to {size - 1} (got {tag.id})"
    if size is not None:
        yield from _cell_faults(tag)
    off = _outside(tag.corners_in_world_m, arena)
    if off:
        yield "position_m", f"the tag {off}"
        return
    centre_m = tag.world_from_tag.matrix[:3, 3]
    normal = tag.world_from_tag.matrix[:3, 2]
    wall = _wall_it_looks_into(centre_m, normal, arena)
    if wall:
        yield "facing_deg", f"the tag faces into the wall {wall} that it hangs on"
    points_m = np.vstack([centre_m, tag.corners_in_world_m])
    for obstacle in arena.obstacles:
        if _any_inside(points_m, obstacle):
            yield "position_m", f"the tag is inside the obstacle {obstacle.name!r}"
        elif _any_inside(points_m + _IN_FRONT_M * normal, obstacle):
            yield "facing_deg", f"the tag faces into the obstacle {obstacle.name!r}"


def _cell_faults(tag: Tag) -> Iterator[tuple[str, str]]:
    cells = cells_across(tag.family)
    if tag.edge_m < cells * LEAST_CELL_M - _ROUNDING_M:
        least, got = (metres_to("mm", length) for length in (cells * LEAST_CELL_M, tag.edge_m))
        yield (
            "edge_m",
            f"must be {least:g} mm or more, else the {cells} x {cells} cells of a {tag.family} tag "
            f"are too small to be shown (got {got:g} mm)",
        )


def _outside(corners_in_world_m: FloatArray, arena: Arena) -> str | None:
    """The message when a corner lies beyond the floor's edges or below it."""
    x, y, z = corners_in_world_m.T
    for name, values, length_m in (("x", x, arena.length_m), ("y", y, arena.width_m)):
        low, high = float(values.min()), float(values.max())
        if low < -_EDGE_TOLERANCE_M or high > length_m + _EDGE_TOLERANCE_M:
            worst = low if low < -_EDGE_TOLERANCE_M else high
            return f"is outside the arena: {name} is 0 to {length_m:g} m (a corner is at {worst:g})"
    if z.min() < -1e-9:
        return f"reaches below the floor (a corner is at z = {z.min():g} m)"
    return None


def _wall_it_looks_into(centre_m: FloatArray, normal: FloatArray, arena: Arena) -> str | None:
    walls = (
        ("x = 0", centre_m[0], -normal[0]),
        (f"x = {arena.length_m:g}", arena.length_m - centre_m[0], normal[0]),
        ("y = 0", centre_m[1], -normal[1]),
        (f"y = {arena.width_m:g}", arena.width_m - centre_m[1], normal[1]),
    )
    for name, gap_m, outward in walls:
        if gap_m < _NEAR_WALL_M and outward > 1e-3:
            return name
    return None


def _any_inside(points_in_world_m: FloatArray, obstacle: Obstacle) -> bool:
    """Whether a point lies deeper in the box than its skin: a tag on a face does not."""
    c, s = math.cos(obstacle.heading_rad), math.sin(obstacle.heading_rad)
    off = points_in_world_m - obstacle.centre_in_world_m
    along = np.stack([c * off[:, 0] + s * off[:, 1], c * off[:, 1] - s * off[:, 0], off[:, 2]], -1)
    return bool((np.abs(along) < obstacle.size_m / 2.0 - _SKIN_M).all(axis=1).any())


def _goal_corners_in_world_m(goal: Goal) -> FloatArray:
    left = np.array([-math.sin(goal.facing_rad), math.cos(goal.facing_rad), 0.0])
    ahead = np.array([math.cos(goal.facing_rad), math.sin(goal.facing_rad), 0.0])
    up = math.cos(goal.tilt_rad) * np.array([0.0, 0.0, 1.0]) - math.sin(goal.tilt_rad) * ahead
    halves = [(w, h) for w in (-0.5, 0.5) for h in (-0.5, 0.5)]
    return np.array(
        [
            goal.centre_in_world_m + w * goal.width_m * left + h * goal.height_m * up
            for w, h in halves
        ]
    )


def _obstacle_faults(obstacle: Obstacle, arena: Arena) -> Iterator[str]:
    x, y, z = obstacle.centre_in_world_m
    if not (0.0 <= x <= arena.length_m and 0.0 <= y <= arena.width_m):
        yield (
            f"its middle is outside the arena: x is 0 to {arena.length_m:g} m, y is 0 to "
            f"{arena.width_m:g} m (got {x:g}, {y:g})"
        )
    bottom_m = float(z - obstacle.size_m[2] / 2.0)
    if bottom_m < -_EDGE_TOLERANCE_M:
        yield (
            f"reaches below the floor (its underside is at z = {bottom_m:g} m): centre_m is the "
            "middle of the box"
        )
