"""Shots: where the robot stands, how it moves, and the error of its estimate."""

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from posefuse.arena.arena import Goal
from posefuse.checks import FloatArray, frozen_array, not_negative
from posefuse.errors import InputError

__all__ = ["Shots"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shots:
    """Shots at a goal, one row each: the robot turns to the goal by its estimate and shoots.

    Parameters
    ----------
    positions_m : (n, 2) array
        Where the robot's middle truly is as the piece leaves, in the world.
    motions : (n, 3) array
        Its true velocity along the world's x and y, and its turn rate.
    error_means, error_covs : (n, 6), (n, 6, 6) arrays
        Estimate minus truth in x, y, heading, velocity along x and y, turn rate.
    """

    positions_m: FloatArray
    motions: FloatArray
    error_means: FloatArray
    error_covs: FloatArray

    def __post_init__(self) -> None:
        count = len(self.positions_m)
        shapes = {"positions_m": (2,), "motions": (3,), "error_means": (6,), "error_covs": (6, 6)}
        for name, shape in shapes.items():
            array = frozen_array(f"shots: {name}", getattr(self, name), (count, *shape))
            object.__setattr__(self, name, array)
        variances = np.diagonal(self.error_covs, axis1=-2, axis2=-1)
        if (variances < 0.0).any():
            raise InputError(f"shots: a variance is below 0 (got {variances.min():g})")

    def __len__(self) -> int:
        return len(self.positions_m)

    @classmethod
    def at(
        cls,
        positions_m: ArrayLike,
        *,
        motions: ArrayLike = (0.0, 0.0, 0.0),
        error_means: ArrayLike = 0.0,
        error_covs: ArrayLike = 0.0,
    ) -> Self:
        """Shots from what is given; everything else is zero: at rest, with a perfect estimate.

        Parameters
        ----------
        error_means, error_covs : (..., 3) or (..., 6) and (..., 3, 3) or (..., 6, 6) arrays
            Of the pose alone, or of the motion too; one for all shots or one for each.
        """
        positions = np.asarray(positions_m, dtype=np.float64).reshape(-1, 2)
        count = len(positions)
        means, covs = np.zeros((count, 6)), np.zeros((count, 6, 6))
        given_mean = np.asarray(error_means, dtype=np.float64)
        given_cov = np.asarray(error_covs, dtype=np.float64)
        if given_mean.ndim:
            size = _size("error_means", given_mean.shape, axes=1)
            means[:, :size] = given_mean
        if given_cov.ndim:
            size = _size("error_covs", given_cov.shape, axes=2)
            covs[:, :size, :size] = given_cov
        return cls(
            positions_m=positions,
            motions=np.broadcast_to(np.asarray(motions, dtype=np.float64), (count, 3)),
            error_means=means,
            error_covs=covs,
        )

    @classmethod
    def straight_ahead(
        cls,
        distances_m: ArrayLike,
        *,
        goal: Goal,
        approach_rad: float = 0.0,
        distance_std_m: float = 0.0,
        across_std_m: float = 0.0,
        heading_std_rad: float = 0.0,
    ) -> Self:
        """Shots at rest from distances along a line out of the goal.

        Parameters
        ----------
        approach_rad
            The line's direction, counter-clockwise from where the opening looks.
        distance_std_m, across_std_m, heading_std_rad
            Spread of the estimated position along and across the line, and of the heading.
        """
        away = goal.facing_rad + approach_rad
        outward = np.array([np.cos(away), np.sin(away)])
        distances = frozen_array("shots: distances_m", distances_m, (None,))
        turn = np.array([outward, [-outward[1], outward[0]]]).T
        along = not_negative("distance_std_m", distance_std_m)
        across = not_negative("across_std_m", across_std_m)
        cov = np.zeros((3, 3))
        cov[:2, :2] = turn @ np.diag([along**2, across**2]) @ turn.T
        cov[2, 2] = not_negative("heading_std_rad", heading_std_rad) ** 2
        return cls.at(goal.xy_in_world_m + distances[:, None] * outward, error_covs=cov)

    def without_errors(self) -> "Shots":
        """The same shots with a perfect estimate."""
        return replace(
            self,
            error_means=np.zeros_like(self.error_means),
            error_covs=np.zeros_like(self.error_covs),
        )

    def stopped(self) -> "Shots":
        """The same shots from a robot at rest whose estimate of its motion is exact."""
        means, covs = self.error_means.copy(), self.error_covs.copy()
        means[:, 3:] = 0.0
        covs[:, 3:, :] = 0.0
        covs[:, :, 3:] = 0.0
        return replace(
            self, motions=np.zeros_like(self.motions), error_means=means, error_covs=covs
        )


def _size(name: str, shape: tuple[int, ...], *, axes: int) -> int:
    sizes = shape[-axes:]
    if len(sizes) < axes or sizes[0] not in (3, 6) or len(set(sizes)) > 1:
        raise InputError(f"shots: {name}: expected 3 or 6 errors each (got shape {shape})")
    return sizes[0]
