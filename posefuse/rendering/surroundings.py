"""What stands around a camera, as the renderer takes it: tags, boxes, the robot, the room."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple, Self

import numpy as np

from posefuse.arena.arena import Arena, Tag
from posefuse.checks import BoolArray, FloatArray, IntArray, frozen_array, in_range, positive
from posefuse.errors import InputError
from posefuse.geometry.space import SpacePose
from posefuse.rendering.compiled.surfaces import FLOOR
from posefuse.rendering.tag_pictures import MARGIN_CELLS, cell_stack
from posefuse.robot.image_quality import ImageQuality
from posefuse.sensing.arrays import RobotBoxes, WorldBoxes

__all__ = ["Looks", "SceneArrays", "Surroundings"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Looks:
    """How much light surfaces reflect (shares), and their grain.

    Parameters
    ----------
    backdrop_share
        What is behind everything where there is no room.
    wall_grain_share, floor_grain_share, box_grain_share
        How much the grain changes a surface, up and down.
    wall_height_m
        Above it there is a dark hall.
    lamp_height_m
        The lamp hangs above the middle of the floor.
    """

    paper_share: float = 0.85
    ink_share: float = 0.05
    wall_share: float = 0.55
    floor_share: float = 0.30
    backdrop_share: float = 0.45
    wall_grain_share: float = 0.20
    floor_grain_share: float = 0.35
    box_grain_share: float = 0.25
    wall_height_m: float = 2.5
    lamp_height_m: float = 5.0

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            if name.endswith("_share"):
                in_range(name, getattr(self, name), 0.0, 1.0)
            else:
                positive(name, getattr(self, name))


class SceneArrays(NamedTuple):
    """Surfaces and light as kernels take them; surfaces are tags, then boxes, then robot boxes.

    Parameters
    ----------
    halves : (P, 3) array
        Half sizes; of a tag those of its picture with the margin, and 0.
    cell_counts, picture_of : (P,) ints
        Cells across a tag with its margin, 0 for a box; index into ``pictures``.
    pictures : (N, n, n) array
        White cells, rows from the top.
    lamp_in_tag : (P, 3) array
        The lamp in the frame of each tag.
    grain
        Levels of the texture pyramid one after the other, each half as wide as the one before.
    """

    halves: FloatArray
    cell_counts: IntArray
    picture_of: IntArray
    pictures: BoolArray
    bases: FloatArray
    contrasts: FloatArray
    has_room: bool
    room: FloatArray
    backdrop: float
    paper: float
    ink: float
    lamp: FloatArray
    lamp_share: float
    lamp_reach_m: float
    lamp_in_tag: FloatArray
    glare: float
    grain: np.ndarray
    grain_size: int
    grain_levels: int
    grain_per_m: float
    pixel_rad: float


GRAIN_PER_M = 50.0
_GRAIN_SIZE = 128
_GRAIN_LEVELS = 6
_FACE_SHADES = (0.85, 0.85, 0.75, 0.75, 0.55, 1.0)  # -x, +x, -y, +y, -z, +z: lit from above
_BOX_SHARES = (0.34, 0.62, 0.45, 0.25, 0.55)
_ROBOT_SHARES = (0.12, 0.25)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surroundings:
    """Everything a camera can see.

    Parameters
    ----------
    tags
        Families and ids; ``world_from_tag`` says where they hang.
    world_from_tag
        One pose for each tag, as built.
    edges_m : (N,) array
        Edges of the black squares.
    boxes, robot_boxes
        One row of places, or one for each frame.
    room_m
        Length and width of the floor inside the walls; ``None``: an even backdrop all around.
    """

    tags: tuple[tuple[str, int], ...]
    world_from_tag: SpacePose
    edges_m: FloatArray
    boxes: WorldBoxes
    robot_boxes: RobotBoxes
    room_m: tuple[float, float] | None
    looks: Looks = field(default_factory=Looks)

    def __post_init__(self) -> None:
        count = len(self.tags)
        edges = frozen_array("edges_m", self.edges_m, (count,))
        if self.world_from_tag.matrix.shape != (count, 4, 4):
            raise InputError(
                f"world_from_tag: {self.world_from_tag.matrix.shape} given, ({count}, 4, 4) wanted"
            )
        object.__setattr__(self, "edges_m", edges)

    @classmethod
    def from_arena(
        cls,
        arena: Arena,
        *,
        boxes: WorldBoxes,
        robot_boxes: RobotBoxes,
        tag_corners_in_world_m: FloatArray | None = None,
        looks: Looks | None = None,
    ) -> Self:
        """The arena's tags and walls, with the boxes given.

        Parameters
        ----------
        tag_corners_in_world_m : (N, 4, 3) array
            Where the tags' corners really are; ``None``: where the arena says.
        """
        corners = arena.tag_corners_in_world_m
        if tag_corners_in_world_m is not None:
            corners = frozen_array("tag corners", tag_corners_in_world_m, corners.shape)
        return cls.from_tags(
            arena.tags,
            corners,
            boxes=boxes,
            robot_boxes=robot_boxes,
            room_m=(arena.length_m, arena.width_m),
            looks=looks,
        )

    @classmethod
    def from_tags(
        cls,
        tags: Sequence[Tag],
        corners_in_world_m: FloatArray,
        *,
        boxes: WorldBoxes | None = None,
        robot_boxes: RobotBoxes | None = None,
        room_m: tuple[float, float] | None = None,
        looks: Looks | None = None,
    ) -> Self:
        """Tags whose squares have these corners (N, 4, 3), with whatever else there is."""
        right = corners_in_world_m[:, 1] - corners_in_world_m[:, 0]
        edges = np.linalg.norm(right, axis=-1)
        x = right / edges[:, None]
        up = corners_in_world_m[:, 0] - corners_in_world_m[:, 3]
        z = np.cross(x, up)
        z /= np.linalg.norm(z, axis=-1, keepdims=True)
        turn = np.stack([x, np.cross(z, x), z], axis=-1)
        return cls(
            tags=tuple((tag.family, tag.id) for tag in tags),
            world_from_tag=SpacePose.from_parts(turn, corners_in_world_m.mean(axis=1)),
            edges_m=edges,
            boxes=boxes or WorldBoxes.from_obstacles(()),
            robot_boxes=robot_boxes
            or RobotBoxes(centres_m=np.zeros((1, 0, 3)), half_sizes_m=np.zeros((0, 3))),
            room_m=room_m,
            looks=looks or Looks(),
        )

    def arrays(self, quality: ImageQuality, *, pixel_rad: float) -> SceneArrays:
        """The surfaces as kernels take them.

        Raises
        ------
        InputError
            A family that OpenCV lacks, or an id beyond the family.
        """
        looks = self.looks
        pictures, counts = cell_stack(self.tags)
        boxes, own = self.boxes.half_sizes_m, self.robot_boxes.half_sizes_m
        tag_halves = self.edges_m / 2.0 * np.array([n / (n - 2.0 * MARGIN_CELLS) for n in counts])
        halves = np.concatenate(
            [np.column_stack([tag_halves, tag_halves, np.zeros(len(counts))]), boxes, own]
        )
        grain, levels = _grain()
        floor = self.room_m or (0.0, 0.0)
        lamp = np.array([floor[0] / 2.0, floor[1] / 2.0, looks.lamp_height_m])
        lamp_in_tag = np.zeros((len(halves), 3))
        lamp_in_tag[: len(counts)] = self.world_from_tag.inverse().transform(lamp)
        return SceneArrays(
            halves=_locked(halves),
            cell_counts=_ints([*counts, *([0] * (len(boxes) + len(own)))]),
            picture_of=_ints([*range(len(counts)), *([0] * (len(boxes) + len(own)))]),
            pictures=pictures,
            bases=_bases(looks, len(counts), len(boxes), len(own)),
            contrasts=_contrasts(looks, len(halves)),
            has_room=self.room_m is not None,
            room=_locked(np.array([*floor, looks.wall_height_m])),
            backdrop=looks.backdrop_share,
            paper=looks.paper_share,
            ink=looks.ink_share,
            lamp=_locked(lamp),
            lamp_share=quality.lamp_share,
            lamp_reach_m=max(*floor, 2.0 * looks.lamp_height_m) / 2.0,
            lamp_in_tag=_locked(lamp_in_tag),
            glare=quality.glare_share,
            grain=grain,
            grain_size=_GRAIN_SIZE,
            grain_levels=levels,
            grain_per_m=GRAIN_PER_M,
            pixel_rad=pixel_rad,
        )


def _bases(looks: Looks, tags: int, boxes: int, own: int) -> FloatArray:
    """Reflected light of each surface's faces, (P + 1, 6); the last row is the room's."""
    shares = [0.0] * tags
    shares += [_BOX_SHARES[i % len(_BOX_SHARES)] for i in range(boxes)]
    shares += [_ROBOT_SHARES[i % len(_ROBOT_SHARES)] for i in range(own)]
    rows = np.outer([*shares, 0.0], _FACE_SHADES)
    rows[-1] = looks.wall_share
    rows[-1, FLOOR] = looks.floor_share
    return _locked(rows)


def _contrasts(looks: Looks, count: int) -> FloatArray:
    """How much the grain changes each surface's faces, (P + 1, 6); the last row is the room's."""
    rows = np.full((count + 1, 6), looks.box_grain_share)
    rows[-1] = looks.wall_grain_share
    rows[-1, FLOOR] = looks.floor_grain_share
    return _locked(rows)


@cache
def _grain() -> tuple[np.ndarray, int]:
    """A repeating texture of about -1 to 1 as a pyramid, float32, and its number of levels."""
    generator = np.random.default_rng(20240229)  # always the same: part of the arena
    total = np.zeros((_GRAIN_SIZE, _GRAIN_SIZE))
    for octave, weight in ((2, 1.0), (8, 0.6), (32, 0.35), (64, 0.15)):
        coarse = generator.normal(size=(octave, octave))
        place = np.arange(_GRAIN_SIZE) * octave / _GRAIN_SIZE
        low = place.astype(int)
        share = place - low
        share = share * share * (3.0 - 2.0 * share)
        rows = coarse[low] + share[:, None] * (coarse[(low + 1) % octave] - coarse[low])
        total += weight * (rows[:, low] + share * (rows[:, (low + 1) % octave] - rows[:, low]))
    level = np.clip(total / (2.0 * total.std()), -1.0, 1.0)
    levels = [level]
    while len(levels) < _GRAIN_LEVELS:
        level = level.reshape(len(level) // 2, 2, -1, 2).mean(axis=(1, 3))
        levels.append(level)
    flat = np.concatenate([level.ravel() for level in levels]).astype(np.float32)
    flat.setflags(write=False)
    return flat, len(levels)


def _locked(array: FloatArray) -> FloatArray:
    array = np.ascontiguousarray(array, dtype=np.float64)
    array.setflags(write=False)
    return array


def _ints(values: list[int]) -> IntArray:
    array = np.array(values, dtype=np.int64)
    array.setflags(write=False)
    return array
