"""The air: its density and viscosity at an altitude, and how it slows a smooth sphere."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from posefuse.checks import FloatArray, in_range, not_negative, positive

__all__ = ["Air", "sphere_drag_coefficient", "standard_air"]

SEA_LEVEL_K = 288.15
SEA_LEVEL_PA = 101325.0
LAPSE_K_PER_M = 0.0065
GAS_J_PER_KG_K = 287.05287
EARTH_RADIUS_M = 6356766.0
GRAVITY_M_PER_S2 = 9.80665
"""Standard gravity, exact by definition (3rd General Conference on Weights and Measures, 1901)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """Still air of one density throughout."""

    density_kg_per_m3: float
    viscosity_pa_s: float

    def __post_init__(self) -> None:
        not_negative("air: density_kg_per_m3", self.density_kg_per_m3)
        positive("air: viscosity_pa_s", self.viscosity_pa_s)


def standard_air(altitude_m: float) -> Air:
    """The standard atmosphere at an altitude above the sea, up to 11 km.

    ICAO Doc 7488, Manual of the Standard Atmosphere, 3rd ed. 1993: temperature falls 6.5 K for each
    kilometre of geopotential altitude; viscosity by Sutherland's formula.

    >>> print(f"{standard_air(1000.0).density_kg_per_m3:.4f}")
    1.1117
    """
    in_range("altitude_m", altitude_m, -500.0, 11000.0)
    geopotential_m = EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m)
    temperature_k = SEA_LEVEL_K - LAPSE_K_PER_M * geopotential_m
    exponent = GRAVITY_M_PER_S2 / (GAS_J_PER_KG_K * LAPSE_K_PER_M)
    pressure_pa = SEA_LEVEL_PA * (temperature_k / SEA_LEVEL_K) ** exponent
    return Air(
        density_kg_per_m3=pressure_pa / (GAS_J_PER_KG_K * temperature_k),
        viscosity_pa_s=1.458e-6 * temperature_k**1.5 / (temperature_k + 110.4),
    )


def sphere_drag_coefficient(reynolds: ArrayLike) -> FloatArray:
    """Drag coefficient of a smooth sphere, up to a Reynolds number of 1e6; inf at 0.

    F. A. Morrison, An Introduction to Fluid Mechanics, 2013, fig. 8.13, p. 625.

    >>> print(f"{sphere_drag_coefficient(1e4):.3f}")
    0.393
    """
    re = np.asarray(reynolds, dtype=np.float64)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        stokes = 24.0 / re
        middle = 2.6 * (re / 5.0) / (1.0 + (re / 5.0) ** 1.52)
        # (re / 2.63e5)^-7.94 / (1 + (re / 2.63e5)^-8) with both powers made positive
        crisis = 0.411 * (re / 2.63e5) ** 0.06 / ((re / 2.63e5) ** 8 + 1.0)
        beyond = 0.25 * (re / 1e6) / (1.0 + re / 1e6)
    return stokes + middle + crisis + beyond
