"""A frame's picture, camera and the surfaces' places as the compiled renderer takes them."""

from functools import cache
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from posefuse.checks import BoolArray, FloatArray, IntArray, frozen_array, frozen_ints, not_negative
from posefuse.errors import InputError
from posefuse.geometry.space import SpacePose
from posefuse.rendering.camera_view import CameraView
from posefuse.rendering.surroundings import Surroundings

__all__ = ["GridArrays", "PictureArrays", "WorkArrays", "local_frames"]

_RAYS = 61
_GENERATOR = (40, 13, 46)
_FIRST_POINT = 23


class PictureArrays(NamedTuple):
    """The pixels of a window of the image.

    Parameters
    ----------
    rays_x, rays_y : (h + 5, w + 5) float32 arrays
        See ``CameraView``.
    marks : (h, w) uint8 array
        Which pixels an edge crosses: 2 of tags, 1 of others; zero before.
    light : (h, w) float32 array
        What falls on each pixel.
    """

    rays_x: NDArray[np.float32]
    rays_y: NDArray[np.float32]
    marks: NDArray[np.uint8]
    light: NDArray[np.float32]

    @classmethod
    def of(cls, view: CameraView) -> Self:
        """Dark and without marks."""
        _, _, width, height = view.window
        return cls(
            rays_x=view.rays_x,
            rays_y=view.rays_y,
            marks=np.zeros((height, width), dtype=np.uint8),
            light=np.zeros((height, width), dtype=np.float32),
        )


class GridArrays(NamedTuple):
    """A window of a camera's image, when it is exposed, and where the rays of a pixel lie.

    Parameters
    ----------
    corner : (2,) ints
        The camera's column and row of the window's first pixel.
    reach : (4,) array
        Least x and y, most x and y of the window's rays.
    first_s, step_s
        The first instant at which the surfaces' places are known, and the step to the next.
    spread : (rays, 3) array
        Where in a pixel's width, height and exposure each ray lies, -0.5 to 0.5; the first few
        only show whether an edge crosses the pixel at all.
    """

    lens: FloatArray
    corner: IntArray
    reach: FloatArray
    height_px: float
    row_time_s: float
    exposure_s: float
    first_s: float
    step_s: float
    spread: FloatArray

    @classmethod
    def of(cls, view: CameraView, *, instants_s: FloatArray, exposure_s: float) -> Self:
        """The window of a view, with the instants (K,) at which the surfaces' places are known."""
        count = len(instants_s)
        return cls(
            lens=view.lens_row,
            corner=frozen_ints("corner", view.window[:2], (2,)),
            reach=view.reach,
            height_px=float(view.sensor.height_px),
            row_time_s=float(view.sensor.row_time_s),
            exposure_s=not_negative("exposure_s", exposure_s),
            first_s=float(instants_s[0]),
            step_s=float(instants_s[-1] - instants_s[0]) / (count - 1) if count > 1 else 1.0,
            spread=_spread(),
        )


@cache
def _spread() -> FloatArray:
    """Where in a pixel's width, height and exposure each ray lies, -0.5 to 0.5.

    First the pixel's corners, two as the exposure starts and two as it ends; then a lattice of rank
    1: point n has coordinates n g / N modulo 1. It was sought out among many: edges of all slopes
    that are simple fractions come out where they are to 0.01 px. (Sobol' points move edges of slope
    1/3 by 0.13 px.) The order of the points was sought out, too: the first dozen, with each pixel's
    own shift, give the share of a pixel that an edge, moving or not, leaves free to 0.06 (root mean
    square over slopes and speeds; a dozen random points: 0.10).
    """
    corners = np.array([(-1, -1, -1), (1, 1, -1), (-1, 1, 1), (1, -1, 1)]) * 0.499
    steps = np.outer(np.arange(_RAYS) + _FIRST_POINT, _GENERATOR) % _RAYS
    points = (steps + 0.5) / _RAYS - 0.5
    return frozen_array("spread", np.concatenate([corners, points]), (len(corners) + _RAYS, 3))


def local_frames(
    surroundings: Surroundings,
    world_from_camera: SpacePose,
    robot_from_camera: SpacePose,
    *,
    row: int,
) -> FloatArray:
    """``local_from_camera`` of every surface, then of the world, at K camera poses: (K, P + 1, 12).

    Nine numbers of the rotation, row by row, then the camera's place in the surface's frame.
    """
    turn, place = world_from_camera.rotation, world_from_camera.translation_m
    tag_turns = surroundings.world_from_tag.rotation
    tag_places = surroundings.world_from_tag.translation_m
    boxes, own = surroundings.boxes, surroundings.robot_boxes
    cosines, sines = np.cos(boxes.headings_rad), np.sin(boxes.headings_rad)
    zero, one = np.zeros_like(cosines), np.ones_like(cosines)
    box_turns = np.stack(
        [
            np.stack([cosines, -sines, zero], axis=-1),
            np.stack([sines, cosines, zero], axis=-1),
            np.stack([zero, zero, one], axis=-1),
        ],
        axis=-2,
    )
    world_turns = np.concatenate([tag_turns, box_turns])
    centres = np.concatenate([tag_places, _row(boxes.centres_m, row, "boxes")])
    turns: FloatArray = np.einsum("pji,kjl->kpil", world_turns, turn)
    places: FloatArray = np.einsum("pji,kpj->kpi", world_turns, place[:, None] - centres)
    own_count, count = len(own.half_sizes_m), len(turn)
    own_turns = np.broadcast_to(robot_from_camera.rotation, (count, own_count, 3, 3))
    own_places = np.broadcast_to(
        robot_from_camera.translation_m - _row(own.centres_m, row, "robot boxes"),
        (count, own_count, 3),
    )
    turns = np.concatenate([turns, own_turns, turn[:, None]], axis=1)
    places = np.concatenate([places, own_places, place[:, None]], axis=1)
    flat = np.concatenate([turns.reshape(*turns.shape[:2], 9), places], axis=-1)
    return frozen_array("frames", flat, flat.shape)


def _row(centres_m: FloatArray, row: int, name: str) -> FloatArray:
    if len(centres_m) > 1 and not 0 <= row < len(centres_m):
        raise InputError(f"row: {name} have rows 0 to {len(centres_m) - 1} (got {row})")
    chosen: FloatArray = centres_m[row if len(centres_m) > 1 else 0]
    return chosen


class WorkArrays(NamedTuple):
    """Room to work in for the rays of one tile, its bounds (4,) and its rays' slopes (8, count)."""

    xs: FloatArray
    ys: FloatArray
    best: FloatArray
    value: FloatArray
    total: FloatArray
    tile: FloatArray
    slopes: FloatArray
    frames: FloatArray
    which: IntArray
    face: IntArray
    seen: IntArray
    rows: IntArray
    columns: IntArray
    uneven: BoolArray

    @classmethod
    def of(cls, count: int, *, frame_count: int) -> Self:
        """For as many rays, and the frames of as many surfaces."""
        return cls(
            xs=np.empty(count),
            ys=np.empty(count),
            best=np.empty(count),
            value=np.empty(count),
            total=np.empty(count),
            tile=np.empty(4),
            slopes=np.empty((8, count)),
            frames=np.empty((frame_count, 12)),
            which=np.empty(count, dtype=np.int64),
            face=np.empty(count, dtype=np.int64),
            seen=np.empty(count, dtype=np.int64),
            rows=np.empty(count, dtype=np.int64),
            columns=np.empty(count, dtype=np.int64),
            uneven=np.empty(count, dtype=np.bool_),
        )
