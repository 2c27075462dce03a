"""Schema of ``[shooter]`` in a robot file.

A key that a file leaves out keeps the default of the type it is turned into.
"""

import math
from typing import Annotated, Self

import numpy as np
from pydantic import Field, model_validator

from posefuse.errors import InputError
from posefuse.files.toml_file import FileModel
from posefuse.files.types import NotNegative, Positive
from posefuse.robot.shooter import (
    MOST_SPEED_M_PER_S,
    Drag,
    Projectile,
    Shooter,
    ShooterSpread,
)

__all__ = ["ProjectileTable", "ShooterTable"]

Slope = Annotated[float, Field(ge=0.0, le=90.0)]


class ProjectileTable(FileModel):
    """``[shooter.projectile]``."""

    mass_kg: Positive
    diameter_m: Positive
    drag: Drag = Drag.SPHERE
    drag_coefficient: NotNegative | None = None
    lift_per_spin_ratio: NotNegative = 0.0

    @model_validator(mode="after")
    def _drag_fits(self) -> Self:
        try:
            self.projectile()
        except InputError as error:
            raise ValueError(str(error).removeprefix("projectile: ")) from None
        return self

    def projectile(self) -> Projectile:
        """The projectile itself."""
        return Projectile(**self.model_dump())


_Near = Annotated[float, Field(ge=-10.0, le=10.0)]


class ShooterTable(FileModel):
    """``[shooter]``."""

    release_m: tuple[_Near, _Near, _Near]
    axis_m: tuple[float, float] | None = None
    exit_speed_m_per_s: Annotated[float, Field(gt=0.0, le=MOST_SPEED_M_PER_S)]
    exit_speed_std_m_per_s: NotNegative = 0.0
    pivot_low_deg: Slope
    pivot_high_deg: Slope
    backlash_deg: NotNegative = 0.0
    resolution_deg: NotNegative = 0.0
    zero_std_deg: NotNegative = 0.0
    side_std_deg: NotNegative = 0.0
    spin_turns_per_s: float = 0.0
    altitude_m: Annotated[float, Field(ge=-500.0, le=11000.0)] = 0.0
    air_density_kg_per_m3: NotNegative | None = None
    release_delay_s: NotNegative = 0.0
    release_delay_std_s: NotNegative = 0.0
    projectile: ProjectileTable | None = None

    @model_validator(mode="after")
    def _low_is_below_high(self) -> Self:
        if self.pivot_low_deg > self.pivot_high_deg:
            low, high = self.pivot_low_deg, self.pivot_high_deg
            raise ValueError(
                f"pivot_high_deg must be {low:g} (pivot_low_deg) or more (got {high:g})"
            )
        return self

    def shooter(self) -> Shooter:
        """The shooter itself."""
        return Shooter(
            release_in_robot_m=np.array(self.release_m),
            axis_in_robot_m=np.array(self.axis_m) if self.axis_m else None,
            exit_speed_m_per_s=self.exit_speed_m_per_s,
            pivot_low_rad=math.radians(self.pivot_low_deg),
            pivot_high_rad=math.radians(self.pivot_high_deg),
            spread=ShooterSpread(
                backlash_rad=math.radians(self.backlash_deg),
                resolution_rad=math.radians(self.resolution_deg),
                zero_std_rad=math.radians(self.zero_std_deg),
                exit_speed_std_m_per_s=self.exit_speed_std_m_per_s,
                side_std_rad=math.radians(self.side_std_deg),
            ),
            projectile=self.projectile.projectile() if self.projectile else None,
            spin_rad_per_s=2.0 * math.pi * self.spin_turns_per_s,
            altitude_m=self.altitude_m,
            air_density_kg_per_m3=self.air_density_kg_per_m3,
            release_delay_s=self.release_delay_s,
            release_delay_std_s=self.release_delay_std_s,
        )
