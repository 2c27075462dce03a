"""From points in front of a camera to pixels and back."""

import math

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import ArrayLike

from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.robot.camera import Lens
from posefuse.sensing.compiled.projection import project_points, undistort_points

__all__ = ["lens_row", "project", "undistort", "valid_radius"]


def lens_row(lens: Lens) -> FloatArray:
    """The lens as kernels take it, (12,): fx, fy, cx, cy, k1, k2, p1, p2, k3, k4, k5, k6."""
    row = np.concatenate([lens.focal_px, lens.centre_px, lens.distortion])
    row.setflags(write=False)
    return row


WIDEST_RADIUS = 100.0
"""Rays further off the axis (89.4 degrees) are never seen."""


def valid_radius(lens: Lens) -> float:
    """Distance from the axis, on the plane at depth 1, up to which the lens is one to one.

    Beyond it the radial factor folds the image back (``d(r g)/dr <= 0``) or has a pole, and points
    far off the axis would seem to lie inside the image. Never more than ``WIDEST_RADIUS``.
    """
    k1, k2, _, _, k3, k4, k5, k6 = lens.distortion
    top, low = Polynomial([1.0, k1, k2, k3]), Polynomial([1.0, k4, k5, k6])
    r2 = Polynomial([0.0, 1.0])
    slope = top * low + 2.0 * r2 * (top.deriv() * low - top * low.deriv())
    return WIDEST_RADIUS * math.sqrt(min(_first_zero(slope), _first_zero(low)))


def _first_zero(in_r2: Polynomial) -> float:
    """Least r2 above 0 where the polynomial is zero, as a share of the widest; at most 1."""
    coefficients = np.asarray(in_r2.coef, dtype=np.float64)
    share = Polynomial(coefficients * WIDEST_RADIUS ** (2.0 * np.arange(len(coefficients))))
    roots = share.trim(tol=1e-9).roots()  # smaller terms than that cannot make a zero
    real = roots[np.abs(roots.imag) <= 1e-9 * np.abs(roots)].real
    return float(min(real[real > 0.0].min(initial=1.0), 1.0))


def project(points_in_camera_m: ArrayLike, lens: Lens) -> FloatArray:
    """Pixels (..., 2) of points (..., 3) in the camera frame; pixel centres at integers.

    nan for points behind the camera or so far off its axis that the distortion folds back.

    Examples
    --------
    >>> lens = Lens.from_width(field_of_view_rad=np.pi / 2, width_px=1280, height_px=800)
    >>> project([[1.0, 0.0, 1.0], [0.0, 0.0, -1.0]], lens).round(9)  # the right edge; behind
    array([[1279.5,  399.5],
           [   nan,    nan]])
    """
    points = _with_last_axis("points_in_camera_m", points_in_camera_m, 3)
    pixels = np.empty((*points.shape[:-1], 2))
    project_points(points.reshape(-1, 3), lens_row(lens), valid_radius(lens), pixels.reshape(-1, 2))
    return pixels


def undistort(pixels_px: ArrayLike, lens: Lens) -> FloatArray:
    """Points (..., 2) on the plane at depth 1 that the lens puts at pixels (..., 2).

    nan where no point of the lens' one-to-one region leads to the pixel.
    """
    pixels = _with_last_axis("pixels_px", pixels_px, 2)
    points = np.empty(pixels.shape)
    undistort_points(pixels.reshape(-1, 2), lens_row(lens), points.reshape(-1, 2))
    is_beyond = np.hypot(points[..., 0], points[..., 1]) > valid_radius(lens)
    points[is_beyond] = np.nan
    return points


def _with_last_axis(name: str, value: ArrayLike, width: int) -> FloatArray:
    array = np.array(value, dtype=np.float64, order="C")
    if array.ndim < 1 or array.shape[-1] != width:
        raise InputError(f"{name}: shape {array.shape} given, (..., {width}) wanted")
    return array
