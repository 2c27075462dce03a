"""The robot's body: its outline on the floor, the boxes that hide the view.

Robot frame: origin on the floor under the middle of the robot, x forward, y left, z up.
"""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import FloatArray, frozen_array, not_negative, positive
from posefuse.errors import InputError
from posefuse.robot.shooter import Shooter

__all__ = ["Body", "BodyBox"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BodyBox:
    """A box on the robot that hides the view: the chassis, a mast, a hopper."""

    name: str
    centre_in_robot_m: FloatArray
    size_m: FloatArray

    def __post_init__(self) -> None:
        centre = frozen_array(f"box {self.name}: centre", self.centre_in_robot_m, (3,))
        size = frozen_array(f"box {self.name}: size", self.size_m, (3,))
        if (size <= 0.0).any():
            raise InputError(f"box {self.name}: every edge must be greater than 0 (got {size})")
        object.__setattr__(self, "centre_in_robot_m", centre)
        object.__setattr__(self, "size_m", size)

    def holds(self, point_in_robot_m: FloatArray) -> bool:
        """Whether the point lies inside the box, faces left out."""
        off = np.abs(point_in_robot_m - self.centre_in_robot_m)
        return bool((off < self.size_m / 2.0 - 1e-9).all())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """The robot without its cameras.

    Parameters
    ----------
    length_m, width_m
        outline on the floor along x and y.
    boxes
        What hides the cameras' view.
    lean_rad_per_m_per_s2
        How far the chassis leans for each m/s^2: it squats backward when it speeds up.
    """

    length_m: float
    width_m: float
    boxes: tuple[BodyBox, ...] = ()
    lean_rad_per_m_per_s2: float = 0.0
    shooter: Shooter | None = None

    def __post_init__(self) -> None:
        positive("length_m", self.length_m)
        positive("width_m", self.width_m)
        not_negative("lean_rad_per_m_per_s2", self.lean_rad_per_m_per_s2)

    @property
    def outline_in_robot_m(self) -> FloatArray:
        """Corners of the outline (4, 2), counter-clockwise from the front left."""
        x, y = self.length_m / 2.0, self.width_m / 2.0
        return np.array([[x, y], [-x, y], [-x, -y], [x, -y]])
