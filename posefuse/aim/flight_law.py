"""What acts on a piece in flight: gravity, drag against the motion, lift from spin."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from posefuse.aim.air import GRAVITY_M_PER_S2, Air, sphere_drag_coefficient, standard_air
from posefuse.checks import FloatArray, finite, positive
from posefuse.robot.shooter import Drag, Projectile, Shooter

__all__ = ["DragRate", "FlightLaw", "air_of", "flight_law"]

DragRate: TypeAlias = Callable[[FloatArray], FloatArray]
"""Speeds (...) in m/s to deceleration over speed, in 1/s."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlightLaw:
    """Acceleration ``-g z - k(v) v + l s x v`` at the velocity v relative to still air.

    Parameters
    ----------
    drag_rate
        k: deceleration over speed, at a speed.
    lift_per_s
        l: turns the velocity about the spin's axis s, a level unit vector square to the throw;
        above zero for backspin, which lifts.
    """

    drag_rate: DragRate
    lift_per_s: float = 0.0
    gravity_m_per_s2: float = GRAVITY_M_PER_S2

    def __post_init__(self) -> None:
        finite("lift_per_s", self.lift_per_s)
        positive("gravity_m_per_s2", self.gravity_m_per_s2)


def air_of(shooter: Shooter) -> Air:
    """The air the shooter stands in: of its altitude, or of the density given in its place."""
    air = standard_air(shooter.altitude_m)
    if shooter.air_density_kg_per_m3 is None:
        return air
    return Air(density_kg_per_m3=shooter.air_density_kg_per_m3, viscosity_pa_s=air.viscosity_pa_s)


def flight_law(shooter: Shooter) -> FlightLaw:
    """The law by which the shooter's piece flies.

    Drag: ``F = C rho A v^2 / 2``. Lift: ``F = C_l rho A v^2 / 2`` square to the motion, with C_l
    proportional to the spin ratio ``S = r w / v``, so that F = c rho A r w v / 2. Proportional lift
    is the theory at small Reynolds numbers (c = 2: S. I. Rubinow, J. B. Keller, J. Fluid Mech. 11,
    447-459, 1961) and what is measured on seamed balls for S below about 0.3 (c near 1: A. M.
    Nathan, Am. J. Phys. 76, 119-124, 2008). The spin does not decay.
    """
    piece = shooter.projectile
    if piece is None:
        return FlightLaw(drag_rate=np.zeros_like)
    air = air_of(shooter)
    radius_m = piece.diameter_m / 2.0
    half_area_density_per_m = air.density_kg_per_m3 * np.pi * radius_m**2 / (2.0 * piece.mass_kg)
    return FlightLaw(
        drag_rate=_drag_rate(piece, air, half_area_density_per_m),
        lift_per_s=half_area_density_per_m
        * piece.lift_per_spin_ratio
        * radius_m
        * shooter.spin_rad_per_s,
    )


def _drag_rate(piece: Projectile, air: Air, half_area_density_per_m: float) -> DragRate:
    if piece.drag is Drag.NONE:
        return np.zeros_like
    if piece.drag is Drag.CONSTANT:
        per_speed = half_area_density_per_m * (piece.drag_coefficient or 0.0)
        return lambda speed: per_speed * speed
    reynolds_per_speed = air.density_kg_per_m3 * piece.diameter_m / air.viscosity_pa_s

    def sphere_rate(speed: FloatArray) -> FloatArray:
        moving = np.maximum(speed, 1e-6)  # the product has a limit at rest, its factors have none
        coefficient = sphere_drag_coefficient(reynolds_per_speed * moving)
        return half_area_density_per_m * coefficient * moving

    return sphere_rate
