"""Poses in space: rotation and translation, right-handed, metres."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.geometry.plane import PlanePose

__all__ = ["BODY_FROM_OPTICAL", "SpacePose", "pan_tilt_roll", "turn_about"]

BODY_FROM_OPTICAL: FloatArray = np.array([[0.0, 0.0, 1.0], [-1.0, 0.0, 0.0], [0.0, -1.0, 0.0]])
"""Axes of an optical frame (z forward, x right, y down) in a body frame (x forward, y left, z up):
REP-103."""
BODY_FROM_OPTICAL.setflags(write=False)


@dataclass(frozen=True, slots=True, eq=False)
class SpacePose:
    """One or many poses of a source frame in a target frame, named ``target_from_source``.

    Parameters
    ----------
    matrix : (..., 4, 4) array
        Homogeneous: rotation, translation in metres, last row 0 0 0 1.

    Raises
    ------
    InputError
        Wrong shape, a rotation that is not orthonormal to 1e-6, or mirrored.
    """

    matrix: FloatArray

    def __init__(self, matrix: ArrayLike) -> None:
        array = np.array(matrix, dtype=np.float64)
        if array.ndim < 2 or array.shape[-2:] != (4, 4):
            raise InputError(f"SpacePose: shape {array.shape} given, (..., 4, 4) wanted")
        rotation = array[..., :3, :3]
        off = np.abs(rotation @ np.swapaxes(rotation, -1, -2) - np.eye(3)).max(initial=0.0)
        if not off < 1e-6 or (np.linalg.det(rotation) < 0.0).any():
            raise InputError(
                f"SpacePose: not a rotation (off orthonormal by {off:.2g}, or mirrored)"
            )
        array.setflags(write=False)
        object.__setattr__(self, "matrix", array)

    @classmethod
    def from_parts(cls, rotation: ArrayLike, translation_m: ArrayLike) -> Self:
        """From rotations (..., 3, 3) and translations (..., 3), broadcast against each other."""
        turn = np.asarray(rotation, dtype=np.float64)
        shift = np.asarray(translation_m, dtype=np.float64)
        batch = np.broadcast_shapes(turn.shape[:-2], shift.shape[:-1])
        matrix = np.zeros((*batch, 4, 4))
        matrix[..., :3, :3] = turn
        matrix[..., :3, 3] = shift
        matrix[..., 3, 3] = 1.0
        return cls(matrix)

    @classmethod
    def identity(cls) -> Self:
        """The pose of a frame in itself."""
        return cls(np.eye(4))

    @classmethod
    def from_plane(
        cls, pose: PlanePose, *, height_m: float = 0.0, lean_rad: ArrayLike = (0.0, 0.0)
    ) -> Self:
        """A planar pose lifted into space.

        Parameters
        ----------
        lean_rad : (..., 2) array
            Roll about the robot's x axis (left side up) and pitch about its y axis (nose down),
            right-handed: REP-103.
        """
        lean = np.asarray(lean_rad, dtype=np.float64)
        leaning = turn_about(1, lean[..., 1]) @ turn_about(0, lean[..., 0])
        rotation = turn_about(2, pose.heading_rad) @ leaning
        height = np.full((*pose.values.shape[:-1], 1), height_m)
        return cls.from_parts(rotation, np.concatenate([pose.xy_m, height], axis=-1))

    @property
    def rotation(self) -> FloatArray:
        """The rotation, (..., 3, 3)."""
        return self.matrix[..., :3, :3]

    @property
    def translation_m(self) -> FloatArray:
        """The source's origin in the target frame, (..., 3)."""
        return self.matrix[..., :3, 3]

    def __matmul__(self, other: "SpacePose") -> "SpacePose":
        """Chain: ``a_from_b @ b_from_c`` is ``a_from_c``."""
        return SpacePose(self.matrix @ other.matrix)

    def inverse(self) -> "SpacePose":
        """``b_from_a`` of ``a_from_b``."""
        back = np.swapaxes(self.rotation, -1, -2)
        return SpacePose.from_parts(back, -np.einsum("...ij,...j->...i", back, self.translation_m))

    def transform(self, points_in_source_m: ArrayLike) -> FloatArray:
        """Points (..., 3) of the source frame, expressed in the target frame."""
        points = np.asarray(points_in_source_m, dtype=np.float64)
        return np.asarray(np.einsum("...ij,...j->...i", self.rotation, points) + self.translation_m)

    def to_plane(self) -> PlanePose:
        """x, y and the heading of the source's x axis, seen from above."""
        heading = np.arctan2(self.matrix[..., 1, 0], self.matrix[..., 0, 0])
        return PlanePose(
            np.stack([self.matrix[..., 0, 3], self.matrix[..., 1, 3], heading], axis=-1)
        )


def turn_about(axis: int, angle_rad: ArrayLike) -> FloatArray:
    """Rotations (..., 3, 3) about x, y or z (0, 1, 2), right-handed."""
    rotation = np.zeros((*np.shape(angle_rad), 3, 3))
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    first, second = (axis + 1) % 3, (axis + 2) % 3
    rotation[..., axis, axis] = 1.0
    rotation[..., first, first] = rotation[..., second, second] = c
    rotation[..., first, second] = -s
    rotation[..., second, first] = s
    return rotation


def pan_tilt_roll(pan_rad: ArrayLike, tilt_rad: ArrayLike, roll_rad: ArrayLike) -> FloatArray:
    """Rotation (..., 3, 3) of a body that looks along its x axis, in its parent's frame.

    Pan turns left, then tilt raises the view, then roll lowers the right side. Tilt up is a
    negative turn about y in REP-103.

    >>> pan_tilt_roll(0.0, np.pi / 2, 0.0)[:, 0].round(12)  # looking up
    array([0., 0., 1.])
    """
    pan, tilt, roll = (np.asarray(a, dtype=np.float64) for a in (pan_rad, tilt_rad, roll_rad))
    return turn_about(2, pan) @ turn_about(1, -tilt) @ turn_about(0, roll)
