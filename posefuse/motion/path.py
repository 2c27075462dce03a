"""The true path: position and heading as smooth functions of time."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline

from posefuse.checks import FloatArray, frozen_array, increasing, positive
from posefuse.errors import InputError
from posefuse.geometry.plane import PlanePose

__all__ = ["TruePath"]

_EPOCH_S = 1e-6
"""How far outside the path an instant may lie: epoch seconds in float64 are this coarse."""


@dataclass(frozen=True, slots=True, eq=False)
class TruePath:
    """A cubic spline through x, y and the unwrapped heading, twice continuously differentiable."""

    spline: CubicSpline

    @classmethod
    def through(cls, stamps_s: ArrayLike, poses: ArrayLike) -> "TruePath":
        """A path through poses (n, 3) at strictly rising stamps (n,), n at least 2.

        Headings must be unwrapped: a step of more than half a turn is taken as driven. The
        accelerations at both ends are zero.
        """
        stamps = increasing("path t_s", frozen_array("path t_s", stamps_s, (None,)))
        values = frozen_array("path", poses, (len(stamps), 3))
        if len(stamps) < 2:
            raise InputError(f"path: 2 poses or more are needed (got {len(stamps)})")
        return cls(CubicSpline(stamps, values, bc_type="natural"))

    @property
    def start_s(self) -> float:
        """First instant of the path."""
        return float(self.spline.x[0])

    @property
    def end_s(self) -> float:
        """Last instant of the path."""
        return float(self.spline.x[-1])

    def first(self, duration_s: float) -> "TruePath":
        """Its first seconds; the whole path where it is shorter."""
        positive("duration_s", duration_s)
        end_s = self.start_s + duration_s
        if end_s >= self.end_s:
            return self
        # pieces count from their left knot, so that the last one may end early
        pieces = int(np.searchsorted(self.spline.x, end_s))
        knots = np.append(self.spline.x[:pieces], end_s)
        return TruePath(CubicSpline.construct_fast(self.spline.c[:, :pieces], knots))

    def poses(self, t_s: ArrayLike) -> PlanePose:
        """``world_from_robot`` at instants (...), headings unwrapped.

        Raises
        ------
        InputError
            An instant outside the path: it is never extrapolated.
        """
        return PlanePose(self._at(t_s, 0))

    def velocities(self, t_s: ArrayLike) -> FloatArray:
        """Velocity along x and y in the world (m/s) and turn rate (rad/s), (..., 3)."""
        return self._at(t_s, 1)

    def accelerations(self, t_s: ArrayLike) -> FloatArray:
        """Acceleration along x and y (m/s^2) and of the turn (rad/s^2), (..., 3)."""
        return self._at(t_s, 2)

    def _at(self, t_s: ArrayLike, derivative: int) -> FloatArray:
        t = np.asarray(t_s, dtype=np.float64)
        if t.size and not (self.start_s - _EPOCH_S <= t.min() and t.max() <= self.end_s + _EPOCH_S):
            raise InputError(
                f"path: asked at {t.min():g} to {t.max():g} s, known from {self.start_s:g} to "
                f"{self.end_s:g} s"
            )
        return np.asarray(self.spline(np.clip(t, self.start_s, self.end_s), derivative))
