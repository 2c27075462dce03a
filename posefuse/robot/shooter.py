"""The shooter and what it throws: where the piece leaves, how fast, and with what spread."""

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from posefuse.checks import FloatArray, finite, frozen_array, in_range, not_negative, positive
from posefuse.errors import InputError

__all__ = ["MOST_SPEED_M_PER_S", "Drag", "Projectile", "Shooter", "ShooterSpread"]


MOST_SPEED_M_PER_S = 100.0
"""No thrown game piece leaves faster: more is a slip of the unit."""


class Drag(StrEnum):
    """How the air slows the piece."""

    NONE = "none"
    CONSTANT = "constant"
    SPHERE = "sphere"


@dataclass(frozen=True, slots=True, kw_only=True)
class Projectile:
    """A ball that is thrown.

    Parameters
    ----------
    drag
        A constant coefficient, that of a smooth sphere at the Reynolds number of each instant, or
        none.
    drag_coefficient
        Of the frontal area; given for constant drag, and only then.
    lift_per_spin_ratio
        Lift coefficient for each unit of rim speed over flight speed. 0 is no lift; about 1 is
        reported for seamed balls, 2 is the theory of a smooth sphere at small Reynolds numbers.
    """

    mass_kg: float
    diameter_m: float
    drag: Drag = Drag.SPHERE
    drag_coefficient: float | None = None
    lift_per_spin_ratio: float = 0.0

    def __post_init__(self) -> None:
        positive("projectile: mass_kg", self.mass_kg)
        positive("projectile: diameter_m", self.diameter_m)
        not_negative("projectile: lift_per_spin_ratio", self.lift_per_spin_ratio)
        is_constant = self.drag is Drag.CONSTANT
        if is_constant != (self.drag_coefficient is not None):
            wanted = "must be given with" if is_constant else "is given only with"
            raise InputError(
                f"projectile: drag_coefficient: {wanted} constant drag (drag is {self.drag.value})"
            )
        if self.drag_coefficient is not None:
            not_negative("projectile: drag_coefficient", self.drag_coefficient)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShooterSpread:
    """The spread of a shooter's throws; with all zero every throw is the same.

    Parameters
    ----------
    backlash_rad
        Full play of the pivot: it may rest anywhere in it.
    resolution_rad
        Step in which the pivot can be set, counted from the low end of its range: the robot sets
        the step nearest to the pivot it wants.
    zero_std_rad
        Error of the pivot's zero, set at rest before the start and kept for the run.
    side_std_rad
        Spread of the direction to the side.
    """

    backlash_rad: float = 0.0
    resolution_rad: float = 0.0
    zero_std_rad: float = 0.0
    exit_speed_std_m_per_s: float = 0.0
    side_std_rad: float = 0.0

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            not_negative(f"shooter: {name}", getattr(self, name))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shooter:
    """What throws the game piece.

    Parameters
    ----------
    release_in_robot_m
        Where the piece leaves the robot, (3,); where the release swings with the pivot, its place
        with the pivot level.
    exit_speed_m_per_s
        Fixed; the pivot alone sets how far the piece flies.
    pivot_low_rad, pivot_high_rad
        Range of the pivot above level.
    axis_in_robot_m
        x and z of the axis about which the release swings with the pivot; none where the release
        stays in its place.
    projectile
        None for a point that flies as if there were no air.
    spin_rad_per_s
        Backspin of the piece (topspin below zero), kept through the flight.
    altitude_m
        Above the sea: sets the air's density by the standard atmosphere.
    air_density_kg_per_m3
        Given where it was measured, in place of the altitude's.
    release_delay_s, release_delay_std_s
        From the decision to shoot until the piece leaves, and its spread.
    """

    release_in_robot_m: FloatArray
    exit_speed_m_per_s: float
    pivot_low_rad: float
    pivot_high_rad: float
    axis_in_robot_m: FloatArray | None = None
    spread: ShooterSpread = field(default_factory=ShooterSpread)
    projectile: Projectile | None = None
    spin_rad_per_s: float = 0.0
    altitude_m: float = 0.0
    air_density_kg_per_m3: float | None = None
    release_delay_s: float = 0.0
    release_delay_std_s: float = 0.0

    def __post_init__(self) -> None:
        release = frozen_array("shooter: release", self.release_in_robot_m, (3,))
        object.__setattr__(self, "release_in_robot_m", release)
        if self.axis_in_robot_m is not None:
            axis = frozen_array("shooter: axis", self.axis_in_robot_m, (2,))
            object.__setattr__(self, "axis_in_robot_m", axis)
        positive("shooter: exit_speed_m_per_s", self.exit_speed_m_per_s)
        in_range("shooter: exit_speed_m_per_s", self.exit_speed_m_per_s, 0.0, MOST_SPEED_M_PER_S)
        in_range("shooter: pivot_low_rad", self.pivot_low_rad, 0.0, np.pi / 2)
        in_range("shooter: pivot_high_rad", self.pivot_high_rad, self.pivot_low_rad, np.pi / 2)
        finite("shooter: spin_rad_per_s", self.spin_rad_per_s)
        in_range("shooter: altitude_m", self.altitude_m, -500.0, 11000.0)
        if self.air_density_kg_per_m3 is not None:
            not_negative("shooter: air_density_kg_per_m3", self.air_density_kg_per_m3)
        not_negative("shooter: release_delay_s", self.release_delay_s)
        not_negative("shooter: release_delay_std_s", self.release_delay_std_s)

    @property
    def arm_m(self) -> tuple[float, float]:
        """From the axis to the release, along the pivot and square to it; (0, 0) if it stays."""
        if self.axis_in_robot_m is None:
            return 0.0, 0.0
        along, above = self.release_in_robot_m[[0, 2]] - self.axis_in_robot_m
        return float(along), float(above)

    def release_at(self, pivot_rad: ArrayLike) -> FloatArray:
        """Where the piece leaves the robot at a pivot, (..., 3).

        >>> shooter = Shooter(release_in_robot_m=np.array([0.3, 0.0, 0.6]), exit_speed_m_per_s=9.0,
        ...     pivot_low_rad=0.2, pivot_high_rad=1.5, axis_in_robot_m=np.array([0.1, 0.6]))
        >>> shooter.release_at(np.pi / 2).round(12)
        array([0.1, 0. , 0.8])
        """
        pivot = np.asarray(pivot_rad, dtype=np.float64)
        along, above = self.arm_m
        forward, left, up = self.release_in_robot_m
        c, s = np.cos(pivot), np.sin(pivot)
        return np.stack(
            [
                forward - along + c * along - s * above,
                np.full_like(pivot, left),
                up - above + s * along + c * above,
            ],
            axis=-1,
        )
