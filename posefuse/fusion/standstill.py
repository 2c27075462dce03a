"""The one pose that the fixes of a standing robot agree on."""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.fusion.gates import chi_square_quantile
from posefuse.fusion.measurements import PoseMeasurements
from posefuse.fusion.settings import NoiseModel
from posefuse.geometry.angles import wrap_angle_rad

__all__ = ["GATE_PROBABILITY", "Solutions", "combine_fixes", "solutions_of"]

GATE_PROBABILITY = 0.999
"""A solution within this share of the chi-square distribution agrees with a pose."""
_MOST_PIVOTS = 40


def combine_fixes(
    fixes: PoseMeasurements,
    taken: IntArray,
    *,
    sensor: IntArray,
    noise: NoiseModel,
    near: FloatArray | None = None,
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """The pose that most fixes of a standing robot agree on, its covariance, and who agrees.

    From ``near``, else from the solution that the others agree with best, information-weighted
    means over the nearest solutions within the 99.9% gate, until the choice no longer changes. The
    covariance is
    conservative: from one spot the frames of one camera repeat each other's errors, so errors
    average out over cameras but not over frames; the floors do not average out at all; and scatter
    beyond the stated noise widens it.

    Parameters
    ----------
    taken, sensor : (n,) ints
        Which fixes, and the camera of each.
    near : (3,) array
        The pose to begin with, where it is known which of two answers is the right one.
    """
    solutions = solutions_of(fixes, taken, noise)
    pose, chosen, is_used = _agreed(solutions, _best_supported(solutions) if near is None else near)
    rows = np.arange(len(taken))
    weights = solutions.weights[rows, chosen] * is_used[:, None, None]
    shares = np.linalg.inv(weights.sum(axis=0)) @ weights
    roots = shares @ np.linalg.cholesky(solutions.noises[rows, chosen])
    squared = solutions.squared_distances(pose[None])[0][rows, chosen][is_used]
    scatter = squared.sum() / max(3 * (len(squared) - 1), 1)
    cov = np.zeros((3, 3))
    for camera in np.unique(sensor):
        root = roots[sensor == camera].sum(axis=0)
        cov += max(scatter, 1.0) * root @ root.T
    return pose, cov + _floor(noise), is_used


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solutions:
    """The solutions of a standstill's fixes: two each, the first again where there is only one.

    Parameters
    ----------
    poses, noises, weights : (n, 2, 3), (n, 2, 3, 3), (n, 2, 3, 3) arrays
        Covariances without the floors; inverses of those with them.
    """

    poses: FloatArray
    noises: FloatArray
    weights: FloatArray

    def squared_distances(self, poses: FloatArray) -> FloatArray:
        """Squared Mahalanobis distances (poses, n, 2) of the solutions from poses."""
        off = self.poses[None] - poses[:, None, None]
        off[..., 2] = wrap_angle_rad(off[..., 2])
        squared: FloatArray = np.einsum("pnai,naij,pnaj->pna", off, self.weights, off)
        return squared


def _floor(noise: NoiseModel) -> FloatArray:
    """Covariance (3, 3) that nothing averages out: the noise model's floors."""
    return np.diag([noise.position_floor_m**2] * 2 + [noise.heading_floor_rad**2])


def solutions_of(fixes: PoseMeasurements, taken: IntArray, noise: NoiseModel) -> Solutions:
    """The solutions of the fixes taken (n,), weighed by their own noise and the floors."""
    pair = np.stack([np.zeros(len(taken), dtype=np.int64), fixes.offered[taken] > 1], axis=-1)
    index = taken[:, None]
    noises: FloatArray = np.zeros((len(taken), 2, 3, 3))
    if (fixes.pixel_vars_px2[taken] > 0.0).all():
        noises += fixes.pixel_vars_px2[index][..., None, None] * fixes.unit_covs[index, pair]
    else:
        noises[..., [0, 1, 2], [0, 1, 2]] = fixes.extra_vars[index][..., [0, 0, 1]]
    weights: FloatArray = np.linalg.inv(noises + _floor(noise)).astype(np.float64)
    return Solutions(poses=fixes.poses[index, pair], noises=noises, weights=weights)


def _best_supported(solutions: Solutions) -> FloatArray:
    """The solution that the fixes agree with best, (3,)."""
    count = len(solutions.poses)
    some = np.unique(np.linspace(0, count - 1, min(_MOST_PIVOTS, count)).astype(int))
    pivots = solutions.poses[some].reshape(-1, 3)
    # a distance counts up to a bound: a pose far from some fixes may still be right
    bound = 4.0 * chi_square_quantile(GATE_PROBABILITY, 3)
    support = np.minimum(solutions.squared_distances(pivots).min(axis=2), bound).sum(axis=1)
    best: FloatArray = pivots[np.argmin(support)]
    return best


def _agreed(solutions: Solutions, near: FloatArray) -> tuple[FloatArray, IntArray, BoolArray]:
    """The pose agreed on, which solution of each fix is nearest to it, and which fixes agree."""
    gate = chi_square_quantile(GATE_PROBABILITY, 3)
    rows = np.arange(len(solutions.poses))
    pose = near.copy()
    chosen, agrees = np.zeros(len(rows), dtype=np.int64), np.zeros(len(rows), dtype=np.bool_)
    for widening in (4.0, 2.0, *[1.0] * 8):  # the first pose has a spread of its own
        before = chosen, agrees
        squared = solutions.squared_distances(pose[None])[0]
        chosen = np.argmin(squared, axis=1)
        nearest = squared[rows, chosen]
        agrees = nearest <= max(widening * gate, nearest.min())
        if widening == 1.0 and all(map(np.array_equal, before, (chosen, agrees))):
            break
        weights = solutions.weights[rows, chosen] * agrees[:, None, None]
        off = solutions.poses[rows, chosen] - pose
        off[:, 2] = wrap_angle_rad(off[:, 2])
        pulled = np.einsum("nij,nj->i", weights, off)
        pose = pose + np.linalg.solve(weights.sum(axis=0), pulled)
    pose[2] = wrap_angle_rad(pose[2])
    return pose, chosen, agrees
