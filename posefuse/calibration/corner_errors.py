"""Bias and spread of the corners that a detector found."""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import FloatArray

__all__ = ["CornerErrors", "corner_errors"]

_SIDES = np.array([-1.0, 1.0, 1.0, -1.0])  # left or right, of each corner


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerErrors:
    """Bias and spread of the corners that were found; see ``robot.Detector``.

    The error of a corner is taken as ``inward_px`` toward the tag's middle, ``narrowing_px`` toward
    the side across, the shift, and a spread that is the same in both axes, with a share of its
    variance common to the four corners.

    Parameters
    ----------
    bias_rest_px
        RMS of the four corners' mean errors that these leave.
    std_along_px, std_across_px
        The spread along the motion blur (along x where there is none), and across it.
    correlation_beside, correlation_opposite
        Between the errors of corners next to, and opposite to each other, each about its mean.
    """

    inward_px: float
    narrowing_px: float
    shift_x_px: float
    shift_y_px: float
    std_px: float
    shared_fraction: float
    bias_rest_px: float
    std_along_px: float
    std_across_px: float
    correlation_beside: float
    correlation_opposite: float


def corner_errors(found_px: FloatArray, true_px: FloatArray, blur_ways: FloatArray) -> CornerErrors:
    """Bias and spread of corners found (n, 4, 2), n at least 2, against the true corners.

    Parameters
    ----------
    blur_ways : (n, 2) array
        Direction of the motion blur of each.
    """
    errors = found_px - true_px
    inward = true_px.mean(axis=1, keepdims=True) - true_px
    inward /= np.linalg.norm(inward, axis=-1, keepdims=True)
    wide = np.einsum("k,nkc->nc", _SIDES, true_px)
    wide /= np.linalg.norm(wide, axis=-1, keepdims=True)
    closer = -_SIDES[:, None] * wide[:, None]
    right, down = (np.broadcast_to(way, errors.shape) for way in np.eye(2))
    design = np.stack([inward, closer, right, down], axis=-1)
    bias, *_ = np.linalg.lstsq(design.reshape(-1, 4), errors.ravel(), rcond=None)
    rest = errors - design @ bias
    variance = float((rest**2).mean())
    shared = float(rest.mean(axis=1).var(axis=0).mean())
    along = np.einsum("nkc,nc->nk", rest, blur_ways)
    across = rest[..., 0] * blur_ways[:, None, 1] - rest[..., 1] * blur_ways[:, None, 0]
    return CornerErrors(
        inward_px=float(bias[0]),
        narrowing_px=float(bias[1]),
        shift_x_px=float(bias[2]),
        shift_y_px=float(bias[3]),
        std_px=variance**0.5,
        # the mean of four keeps s + (1 - s) / 4 of the variance
        shared_fraction=float(np.clip((4.0 * shared / variance - 1.0) / 3.0, 0.0, 0.99)),
        bias_rest_px=float(np.sqrt((rest.mean(axis=0) ** 2).mean())),
        std_along_px=float(np.sqrt((along**2).mean())),
        std_across_px=float(np.sqrt((across**2).mean())),
        correlation_beside=_correlation(rest, 1),
        correlation_opposite=_correlation(rest, 2),
    )


def _correlation(errors: FloatArray, step: int) -> float:
    """Mean correlation between corners so many steps apart, over both axes."""
    centred = errors - errors.mean(axis=0)
    scale = np.sqrt((centred**2).mean(axis=0))
    scaled = centred / np.where(scale > 0.0, scale, 1.0)
    return float((scaled * np.roll(scaled, -step, axis=1)).mean())
