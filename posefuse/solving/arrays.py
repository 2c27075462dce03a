"""Sightings, tags and cameras as the compiled solver takes them: arrays in named tuples.

Named tuples, because compiled code reads them. S sightings, M frames, T tags, C cameras; rows and
lanes as in ``solving.compiled.square``.
"""

from typing import NamedTuple

from posefuse.checks import BoolArray, FloatArray, IntArray

__all__ = ["CameraArrays", "RefineArrays", "SightingArrays", "SolutionArrays", "TagArrays"]


class SightingArrays(NamedTuple):
    """What was seen, frame by frame.

    Parameters
    ----------
    corners_px, corners : (S, 4, 2) arrays
        As seen, and without distortion on the plane at depth 1.
    slopes : (S, 4, 3) array
        Slopes xx, xy, yy of the distortion at the corners; read for distorted lenses alone.
    tag : (S,) ints
    first, tag_count : (M,) ints
        The sightings of each frame: as many as it has tags, from ``first`` on.
    camera : (M,) ints
    """

    corners_px: FloatArray
    corners: FloatArray
    slopes: FloatArray
    tag: IntArray
    first: IntArray
    tag_count: IntArray
    camera: IntArray


class TagArrays(NamedTuple):
    """Tags in the world.

    Parameters
    ----------
    corners_m : (T, 4, 3) array
    rows : (T, TAG_COLUMNS) array
        Half the edge, the rotation of world_from_tag (9), the middle (3).
    """

    corners_m: FloatArray
    rows: FloatArray


class CameraArrays(NamedTuple):
    """Cameras on the robot.

    Parameters
    ----------
    lens_rows : (C, 12) array
        See ``lens_row``.
    is_straight : (C,) bools
        Where a lens has no distortion.
    mount_rows : (C, 6) array
        The robot's origin and its forward axis in the camera.
    """

    lens_rows: FloatArray
    is_straight: BoolArray
    mount_rows: FloatArray


class SolutionArrays(NamedTuple):
    """Where the solver writes: up to two solutions of each frame.

    Parameters
    ----------
    views : (M, 2, 12) array
        Pose of the world's axes in the camera, the middle of the frame's corners its origin.
    poses, covs : (M, 2, 3), (M, 2, 3, 3) arrays
        The robot's pose on the floor, and its covariance for a spread of 1 px.
    rms_px : (M, 2) array
    state : (M, 2) ints
        ``NO_SOLUTION``, ``UNSETTLED`` or ``SETTLED`` of ``solving.compiled.frames``.
    """

    views: FloatArray
    poses: FloatArray
    covs: FloatArray
    rms_px: FloatArray
    state: IntArray


class RefineArrays(NamedTuple):
    """Room for least squares: see ``normal_lanes``, ``factor_lanes`` and ``step_lanes``.

    Parameters
    ----------
    moved, tried : (VIEW_ROWS, LANES), (NORMAL_ROWS, LANES) arrays
        The view after a step, and its normal equations.
    """

    normal: FloatArray
    factor: FloatArray
    damping: FloatArray
    step: FloatArray
    moved: FloatArray
    tried: FloatArray
