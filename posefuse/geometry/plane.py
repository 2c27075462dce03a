"""Poses in the plane: x and y in metres, heading in radians counter-clockwise from x."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.geometry.angles import wrap_angle_rad

__all__ = ["PlanePose", "arc_motion", "arc_twist", "plane_motion_jacobians"]


@dataclass(frozen=True, slots=True, eq=False)
class PlanePose:
    """One or many poses of a source frame in a target frame.

    Named ``target_from_source``; inner names meet: ``world_from_goal = world_from_robot @
    robot_from_goal``.

    Parameters
    ----------
    values : (..., 3) array
        x_m, y_m, heading_rad on the last axis. The heading is kept as given, not wrapped.

    Examples
    --------
    >>> world_from_robot = PlanePose([1.0, 2.0, np.pi / 2])
    >>> world_from_robot.transform([1.0, 0.0]).round(12)
    array([1., 3.])
    """

    values: FloatArray

    def __init__(self, values: ArrayLike) -> None:
        array = np.array(values, dtype=np.float64)
        if array.ndim < 1 or array.shape[-1] != 3:
            raise InputError(f"PlanePose: shape {array.shape} given, (..., 3) wanted")
        array.setflags(write=False)
        object.__setattr__(self, "values", array)

    @classmethod
    def identity(cls) -> Self:
        """The pose of a frame in itself."""
        return cls(np.zeros(3))

    @property
    def xy_m(self) -> FloatArray:
        """The position, (..., 2)."""
        return self.values[..., :2]

    @property
    def heading_rad(self) -> FloatArray:
        """The heading as given, (...)."""
        return self.values[..., 2]

    def __matmul__(self, other: "PlanePose") -> "PlanePose":
        """Chain: ``a_from_b @ b_from_c`` is ``a_from_c``."""
        moved = self.transform(other.xy_m)
        heading = np.broadcast_to(self.heading_rad + other.heading_rad, moved.shape[:-1])
        return PlanePose(np.concatenate([moved, heading[..., None]], axis=-1))

    def inverse(self) -> "PlanePose":
        """``b_from_a`` of ``a_from_b``."""
        c, s = np.cos(self.heading_rad), np.sin(self.heading_rad)
        x, y = self.values[..., 0], self.values[..., 1]
        return PlanePose(np.stack([-c * x - s * y, s * x - c * y, -self.heading_rad], axis=-1))

    def transform(self, points_in_source_m: ArrayLike) -> FloatArray:
        """Points (..., 2) of the source frame, expressed in the target frame."""
        points = np.asarray(points_in_source_m, dtype=np.float64)
        c, s = np.cos(self.heading_rad), np.sin(self.heading_rad)
        x = self.values[..., 0] + c * points[..., 0] - s * points[..., 1]
        y = self.values[..., 1] + s * points[..., 0] + c * points[..., 1]
        return np.stack([x, y], axis=-1)

    def wrapped(self) -> "PlanePose":
        """The same poses with headings in [-pi, pi)."""
        return PlanePose(
            np.concatenate([self.xy_m, wrap_angle_rad(self.heading_rad)[..., None]], axis=-1)
        )


def _sinc_and_half(turn_rad: FloatArray) -> tuple[FloatArray, FloatArray]:
    """sin(w)/w and (1 - cos(w))/w, by series near zero."""
    small = np.abs(turn_rad) < 1e-4
    safe = np.where(small, 1.0, turn_rad)
    sine = np.where(small, 1.0 - turn_rad**2 / 6.0, np.sin(safe) / safe)
    cosine = np.where(small, turn_rad / 2.0 - turn_rad**3 / 24.0, (1.0 - np.cos(safe)) / safe)
    return sine, cosine


def arc_motion(twist: ArrayLike) -> PlanePose:
    """Pose after driving a twist at constant body velocity: ``before_from_after``.

    The exponential map of SE(2): Lynch and Park, Modern Robotics, 2017, sec. 3.3 and 13.4.

    Parameters
    ----------
    twist : (..., 3) array
        forward_m, left_m, turn_rad along the arc, in the robot's own frame.

    Examples
    --------
    >>> arc_motion([np.pi / 2, 0.0, np.pi / 2]).values.round(12)  # a quarter of the unit circle
    array([1.        , 1.        , 1.57079633])
    """
    forward, left, turn = np.moveaxis(np.asarray(twist, dtype=np.float64), -1, 0)
    sine, cosine = _sinc_and_half(turn)
    return PlanePose(
        np.stack([sine * forward - cosine * left, cosine * forward + sine * left, turn], axis=-1)
    )


def arc_twist(before_from_after: PlanePose) -> FloatArray:
    """The twist (..., 3) that ``arc_motion`` turns into this pose; heading within (-2 pi, 2 pi)."""
    x, y, turn = np.moveaxis(before_from_after.values, -1, 0)
    sine, cosine = _sinc_and_half(turn)
    scale = sine**2 + cosine**2
    return np.stack(
        [(sine * x + cosine * y) / scale, (sine * y - cosine * x) / scale, turn], axis=-1
    )


def plane_motion_jacobians(
    world_from_robot: PlanePose, motion: PlanePose
) -> tuple[FloatArray, FloatArray]:
    """Derivatives (..., 3, 3) of ``world_from_robot @ motion`` by the pose and by the motion.

    Both in (x, y, heading); the covariance after the motion is ``F P F' + G Q G'``.
    """
    c, s = np.cos(world_from_robot.heading_rad), np.sin(world_from_robot.heading_rad)
    dx, dy = motion.values[..., 0], motion.values[..., 1]
    zero, one = np.zeros_like(c * dx), np.ones_like(c * dx)
    by_pose = np.stack(
        [
            np.stack([one, zero, -s * dx - c * dy], axis=-1),
            np.stack([zero, one, c * dx - s * dy], axis=-1),
            np.stack([zero, zero, one], axis=-1),
        ],
        axis=-2,
    )
    by_motion = np.stack(
        [
            np.stack([c + zero, -s + zero, zero], axis=-1),
            np.stack([s + zero, c + zero, zero], axis=-1),
            np.stack([zero, zero, one], axis=-1),
        ],
        axis=-2,
    )
    return by_pose, by_motion
