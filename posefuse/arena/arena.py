"""What stands where on the floor, in the world frame.

World frame: origin in a corner of the floor, x along the long wall, y to the left of it, z up.
"""

import math
from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from posefuse.checks import FloatArray, frozen_array, in_range, positive
from posefuse.errors import InputError
from posefuse.geometry.space import SpacePose, pan_tilt_roll

__all__ = ["Arena", "Beacon", "Goal", "Obstacle", "Tag"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tag:
    """A square fiducial tag.

    Parameters
    ----------
    edge_m
        Edge of the black square, without the white margin.
    world_from_tag
        Tag frame: origin in the middle of the square, x right and y up as the viewer sees it, z out
        of the face toward the viewer.
    """

    id: int
    family: str
    edge_m: float
    world_from_tag: SpacePose

    def __post_init__(self) -> None:
        positive(f"tag {self.id}: edge_m", self.edge_m)
        if self.id < 0:
            raise InputError(f"tag id: must be 0 or more (got {self.id})")

    @property
    def corners_in_tag_m(self) -> FloatArray:
        """The square's corners (4, 3) as the viewer sees them: top left, then clockwise."""
        h = self.edge_m / 2.0
        return np.array([[-h, h, 0.0], [h, h, 0.0], [h, -h, 0.0], [-h, -h, 0.0]])

    @property
    def corners_in_world_m(self) -> FloatArray:
        """The same corners (4, 3) in the world frame."""
        return self.world_from_tag.transform(self.corners_in_tag_m)


def tag_pose(position_m: FloatArray, *, facing_rad: float, tilt_rad: float = 0.0) -> SpacePose:
    """``world_from_tag`` of an upright tag.

    Parameters
    ----------
    facing_rad
        Where the face looks, counter-clockwise from x.
    tilt_rad
        How far the face looks up.
    """
    # the face's normal is the body's x axis; tag x (viewer's right) is body y, tag y (up) is body z
    body = pan_tilt_roll(facing_rad, tilt_rad, 0.0)
    return SpacePose.from_parts(np.stack([body[:, 1], body[:, 2], body[:, 0]], axis=-1), position_m)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Beacon:
    """A point without a face, for range or bearing sightings."""

    id: int
    position_in_world_m: FloatArray

    def __post_init__(self) -> None:
        name = f"beacon {self.id}: position"
        object.__setattr__(
            self, "position_in_world_m", frozen_array(name, self.position_in_world_m, (3,))
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Goal:
    """An upright or tilted rectangular opening.

    Parameters
    ----------
    centre_in_world_m
        Middle of the opening, (3,).
    facing_rad, tilt_rad
        Where the opening looks: counter-clockwise from x, and up from level.
    """

    name: str
    centre_in_world_m: FloatArray
    width_m: float
    height_m: float
    facing_rad: float
    tilt_rad: float = 0.0

    def __post_init__(self) -> None:
        name = f"goal {self.name}: centre"
        object.__setattr__(
            self, "centre_in_world_m", frozen_array(name, self.centre_in_world_m, (3,))
        )
        positive(f"goal {self.name}: width_m", self.width_m)
        positive(f"goal {self.name}: height_m", self.height_m)
        in_range(f"goal {self.name}: tilt_rad", self.tilt_rad, -math.pi / 2, math.pi / 2)

    @property
    def xy_in_world_m(self) -> FloatArray:
        """The opening's middle seen from above, (2,)."""
        return self.centre_in_world_m[:2]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Obstacle:
    """An upright box that hides tags and, where it ``blocks_course``, may not be driven through."""

    name: str
    centre_in_world_m: FloatArray
    size_m: FloatArray
    heading_rad: float = 0.0
    blocks_course: bool = True

    def __post_init__(self) -> None:
        name = f"obstacle {self.name}: centre"
        object.__setattr__(
            self, "centre_in_world_m", frozen_array(name, self.centre_in_world_m, (3,))
        )
        size = frozen_array(f"obstacle {self.name}: size", self.size_m, (3,))
        if (size <= 0.0).any():
            raise InputError(
                f"obstacle {self.name}: every edge must be greater than 0 (got {size})"
            )
        object.__setattr__(self, "size_m", size)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Arena:
    """One arena.

    Parameters
    ----------
    length_m, width_m
        Size along x and along y; the floor is ``[0, length] x [0, width]``.
    """

    name: str
    length_m: float
    width_m: float
    tags: tuple[Tag, ...] = ()
    beacons: tuple[Beacon, ...] = ()
    goals: tuple[Goal, ...] = ()
    obstacles: tuple[Obstacle, ...] = field(default=())

    def __post_init__(self) -> None:
        positive("length_m", self.length_m)
        positive("width_m", self.width_m)
        _unique("tag id", [tag.id for tag in self.tags])
        _unique("beacon id", [beacon.id for beacon in self.beacons])
        _unique("goal", [goal.name for goal in self.goals])
        _unique("obstacle", [obstacle.name for obstacle in self.obstacles])

    @property
    def tag_corners_in_world_m(self) -> FloatArray:
        """Corners of all tags, (tags, 4, 3), in the order of ``tags``."""
        return np.array([tag.corners_in_world_m for tag in self.tags]).reshape(-1, 4, 3)

    def goal(self, name: str) -> Goal:
        """The goal of that name."""
        for goal in self.goals:
            if goal.name == name:
                return goal
        names = ", ".join(goal.name for goal in self.goals) or "none"
        raise InputError(f"goal: no goal is named {name!r} (the arena has: {names})")


def _unique(what: str, keys: list[int] | list[str]) -> None:
    for key, count in Counter(keys).items():
        if count > 1:
            raise InputError(f"{what}: {key!r} is used {count} times, each must be used once")
