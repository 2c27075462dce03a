"""Poses on the floor of many frames at once, from the corners of the tags seen in them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from posefuse.arena.arena import Tag
from posefuse.checks import BoolArray, FloatArray, IntArray, frozen_array, frozen_ints
from posefuse.errors import InputError
from posefuse.robot.rig import Mount
from posefuse.sensing.projection import lens_row
from posefuse.solving.arrays import CameraArrays, SightingArrays, SolutionArrays, TagArrays
from posefuse.solving.compiled.frames import UNSETTLED, rank_solutions, solve_bulk
from posefuse.solving.compiled.gather import TAG_COLUMNS
from posefuse.solving.compiled.undistort import normalise_distorted, normalise_straight

__all__ = ["PoseFixes", "normalised_corners", "solve_frames"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PoseFixes:
    """One row for each frame that has sightings, in the order of the frames.

    A frame may have two solutions (a far or face-on tag looks almost the same from two places),
    one, or none: its corners enclose almost no area, are no square seen from its face, or the
    solver did not settle.

    Parameters
    ----------
    frame : (M,) ints
        Index of the frame among all frames.
    first_sighting, tag_count : (M,) ints
        Its sightings are ``first_sighting`` and the following, ``tag_count`` in all.
    mean_distance_m : (M,) array
        From the camera to the middles of the tags by the first solution; nan without one.
    poses : (M, 2, 3) array
        world_from_robot (x_m, y_m, heading_rad) of the solution with the lower error, then of
        the other; nan where there is none. The heading lies in [-pi, pi].
    unit_covs : (M, 2, 3, 3) array
        Covariance in (x, y, heading), world frame, for a spread of 1 px of each corner on each
        axis; times the square of the true spread it is that of the pose.
    rms_px : (M, 2) array
        Root mean square of the residuals, two for each corner.
    solution_count : (M,) ints
        0, 1 or 2.
    """

    frame: IntArray
    first_sighting: IntArray
    tag_count: IntArray
    mean_distance_m: FloatArray
    poses: FloatArray
    unit_covs: FloatArray
    rms_px: FloatArray
    solution_count: IntArray

    def __len__(self) -> int:
        return len(self.frame)


def solve_frames(
    *,
    sighting_frame: ArrayLike,
    sighting_tag: ArrayLike,
    corners_px: ArrayLike,
    camera_of_frame: ArrayLike,
    mounts: Sequence[Mount],
    tags: Sequence[Tag],
) -> PoseFixes:
    """The robot's pose by each frame, from all tags in it together.

    Least squares over the reprojection errors, all corners weighted alike; see
    ``posefuse.solving.compiled.frames``. The mounts, lenses and tags are taken as stated.

    Parameters
    ----------
    sighting_frame, sighting_tag : (S,) ints
        Index of the frame, never falling, and index into ``tags``.
    corners_px : (S, 4, 2) array
        As the camera sees them, distorted, in the order of ``Tag.corners_in_tag_m``.
    camera_of_frame : (F,) ints
        Index into ``mounts``.

    Raises
    ------
    InputError
        Shapes that do not fit, an index out of range, frames out of order, a corner not finite.
    """
    frames, pixels, camera = _checked(sighting_frame, corners_px, camera_of_frame, mounts)
    tag_index = _indices("sighting_tag", sighting_tag, len(tags), "tags")
    if len(tag_index) != len(frames):
        raise InputError(f"sighting_tag: {len(tag_index)} given, {len(frames)} wanted")
    first = np.flatnonzero(np.diff(frames, prepend=-1))
    count = np.diff(first, append=len(frames))
    size = len(first)
    solutions, distance = np.empty(size, dtype=np.int64), np.empty(size)
    found = SolutionArrays(
        views=np.empty((size, 2, 12)),
        poses=np.empty((size, 2, 3)),
        covs=np.empty((size, 2, 3, 3)),
        rms_px=np.empty((size, 2)),
        state=np.empty((size, 2), dtype=np.int64),
    )
    if size:
        lenses, straight = _lenses(mounts)
        seen, slopes = _normalised(pixels, camera[frames], lenses, straight)
        sightings = SightingArrays(
            corners_px=pixels,
            corners=seen,
            slopes=slopes,
            tag=tag_index,
            first=first,
            tag_count=count,
            camera=camera[frames[first]],
        )
        arrays, cameras = _tag_arrays(tags), CameraArrays(lenses, straight, _mount_rows(mounts))
        _solve(sightings, arrays, cameras, found)
        rank_solutions(sightings, arrays, found, solutions, distance)
    return PoseFixes(
        frame=_locked(frames[first]),
        first_sighting=_locked(first),
        tag_count=_locked(count),
        mean_distance_m=_locked(distance),
        poses=_locked(found.poses),
        unit_covs=_locked(found.covs),
        rms_px=_locked(found.rms_px),
        solution_count=_locked(solutions),
    )


def _solve(
    sightings: SightingArrays, tags: TagArrays, cameras: CameraArrays, found: SolutionArrays
) -> None:
    """Fill ``found``: a few steps for all solutions, then more for those that need them."""
    count = sightings.tag_count
    solve_bulk(2 * np.argsort(count, kind="stable"), True, sightings, tags, cameras, found)
    jobs = np.flatnonzero(found.state == UNSETTLED)
    if len(jobs):
        in_order = jobs[np.argsort(count[jobs // 2], kind="stable")]
        solve_bulk(in_order, False, sightings, tags, cameras, found)


def normalised_corners(
    *,
    sighting_frame: ArrayLike,
    corners_px: ArrayLike,
    camera_of_frame: ArrayLike,
    mounts: Sequence[Mount],
) -> FloatArray:
    """The corners (S, 4, 2) without distortion, on the plane at depth 1 of their camera.

    nan where no point of the lens' one-to-one region leads to the pixel. Arguments as in
    ``solve_frames``; the frames may stand in any order.
    """
    frames, pixels, camera = _checked(
        sighting_frame, corners_px, camera_of_frame, mounts, in_order=False
    )
    corners, _ = _normalised(pixels, camera[frames], *_lenses(mounts))
    return _locked(corners)


def _normalised(
    pixels: FloatArray, camera: IntArray, lenses: FloatArray, straight: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Corners on the plane at depth 1, and the slopes of the distortion there if any lens has it.

    Parameters
    ----------
    camera : (S,) ints
        Each sighting's.
    """
    corners = np.empty(pixels.shape)
    slopes = np.empty((0 if straight.all() else len(pixels), 4, 3))
    normalise_straight(pixels, camera, lenses, straight, corners)
    for eye in np.flatnonzero(~straight):
        chosen = np.flatnonzero(camera == eye)
        if len(chosen):
            normalise_distorted(pixels, chosen, lenses[eye], corners, slopes)
    return corners, slopes


def _checked(
    sighting_frame: ArrayLike,
    corners_px: ArrayLike,
    camera_of_frame: ArrayLike,
    mounts: Sequence[Mount],
    *,
    in_order: bool = True,
) -> tuple[IntArray, FloatArray, IntArray]:
    camera = _indices("camera_of_frame", camera_of_frame, len(mounts), "mounts")
    frames = _indices("sighting_frame", sighting_frame, len(camera), "frames")
    if in_order and (np.diff(frames) < 0).any():
        row = int(np.argmax(np.diff(frames) < 0)) + 1
        raise InputError(f"sighting_frame: must never fall (falls at row {row}, to {frames[row]})")
    return frames, frozen_array("corners_px", corners_px, (len(frames), 4, 2)), camera


def _indices(name: str, value: ArrayLike, size: int, what: str) -> IntArray:
    index = frozen_ints(name, value, (None,))
    if len(index) and not (index.min() >= 0 and index.max() < size):
        wrong = index[(index < 0) | (index >= size)][0]
        raise InputError(f"{name}: must index one of the {size} {what} (got {wrong})")
    return index


def _tag_arrays(tags: Sequence[Tag]) -> TagArrays:
    rows = np.empty((len(tags), TAG_COLUMNS))
    for row, tag in zip(rows, tags, strict=True):
        row[0] = tag.edge_m / 2.0
        row[1:10] = tag.world_from_tag.rotation.ravel()
        row[10:] = tag.world_from_tag.translation_m
    return TagArrays(corners_m=np.array([tag.corners_in_world_m for tag in tags]), rows=rows)


def _lenses(mounts: Sequence[Mount]) -> tuple[FloatArray, BoolArray]:
    """Lens rows, and whether each is free of distortion."""
    rows = np.array([lens_row(mount.camera.lens) for mount in mounts]).reshape(-1, 12)
    return rows, (rows[:, 4:] == 0.0).all(axis=1)


def _mount_rows(mounts: Sequence[Mount]) -> FloatArray:
    """The robot's origin and its forward axis in each camera, (mounts, 6)."""
    poses = [mount.robot_from_camera for mount in mounts]
    return np.array([[*pose.inverse().translation_m, *pose.rotation[0]] for pose in poses])


_Locked = TypeVar("_Locked", FloatArray, IntArray)


def _locked(array: _Locked) -> _Locked:
    array.setflags(write=False)
    return array
