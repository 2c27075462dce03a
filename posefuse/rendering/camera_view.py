"""Where each pixel of a camera looks: computed once for a lens, used for every frame."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import InputError
from posefuse.rendering.compiled.render import STRIDE
from posefuse.robot.camera import Lens, Sensor
from posefuse.sensing.projection import lens_row, undistort, valid_radius

__all__ = ["CameraView", "Window", "camera_view"]

Window = tuple[int, int, int, int]
"""Left, top, width and height of a part of the image, in px; it may reach beyond the image."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CameraView:
    """The rays of a window of the image.

    Parameters
    ----------
    rays_x, rays_y : (h + 5, w + 5) float32 arrays
        Points of the plane at depth 1 that the lens puts at the pixels' middles, from one pixel
        before the window to ``STRIDE`` behind; nan where none leads there.
    reach : (4,) array
        Least x and y, most x and y of all rays.
    off_axis : (h, w) float32 array
        Squared distance from the middle of the image, 1 in its corners; nan where no ray leads.
    """

    lens: Lens
    sensor: Sensor
    window: Window
    rays_x: NDArray[np.float32]
    rays_y: NDArray[np.float32]
    reach: FloatArray
    off_axis: NDArray[np.float32]

    def part(self, window: Window) -> "CameraView":
        """A window that lies in this one.

        Raises
        ------
        InputError
            It does not.
        """
        left, top, width, height = window
        right, down = left - self.window[0], top - self.window[1]
        whole = self.off_axis.shape
        if min(right, down) < 0 or right + width > whole[1] or down + height > whole[0]:
            raise InputError(f"window: {window} does not lie in {self.window}")
        rows = slice(down, down + height + 1 + STRIDE)
        columns = slice(right, right + width + 1 + STRIDE)
        rays_x, rays_y = _single(self.rays_x[rows, columns]), _single(self.rays_y[rows, columns])
        return CameraView(
            lens=self.lens,
            sensor=self.sensor,
            window=window,
            rays_x=rays_x,
            rays_y=rays_y,
            reach=_reach(rays_x, rays_y),
            off_axis=_single(self.off_axis[down : down + height, right : right + width]),
        )

    @property
    def lens_row(self) -> FloatArray:
        """The lens as kernels take it."""
        return lens_row(self.lens)


def camera_view(lens: Lens, sensor: Sensor, *, window: Window | None = None) -> CameraView:
    """The rays of a camera; of a window of its image where one is given.

    Raises
    ------
    InputError
        A window without pixels, or one that no ray leads to.
    """
    left, top, width, height = window or (0, 0, sensor.width_px, sensor.height_px)
    if width < 1 or height < 1:
        raise InputError(f"window: must be 1 px wide and high or more (got {width} x {height})")
    u = np.arange(left - 1, left + width + STRIDE, dtype=np.float64)
    v = np.arange(top - 1, top + height + STRIDE, dtype=np.float64)
    pixels = np.stack(np.meshgrid(u, v), axis=-1)
    rays = undistort(pixels, lens)
    limit = valid_radius(lens)
    rays[(rays**2).sum(axis=-1) > limit**2] = np.nan
    if np.isnan(rays[..., 0]).all():
        raise InputError(f"window: the lens leads no ray to {width} x {height} px at {left}, {top}")
    middle = np.array([sensor.width_px - 1, sensor.height_px - 1]) / 2.0
    off = (pixels[1:-STRIDE, 1:-STRIDE] - middle) ** 2
    off_axis = off.sum(axis=-1) / (middle**2).sum()
    off_axis[np.isnan(rays[1:-STRIDE, 1:-STRIDE, 0])] = np.nan
    return CameraView(
        lens=lens,
        sensor=sensor,
        window=(left, top, width, height),
        rays_x=_single(rays[..., 0]),
        rays_y=_single(rays[..., 1]),
        reach=_reach(rays[..., 0], rays[..., 1]),
        off_axis=_single(off_axis),
    )


def _reach(rays_x: NDArray[np.floating[Any]], rays_y: NDArray[np.floating[Any]]) -> FloatArray:
    ends = [find(rays) for find in (np.nanmin, np.nanmax) for rays in (rays_x, rays_y)]
    return frozen_array("reach", ends, (4,))


def _single(array: NDArray[np.floating[Any]]) -> NDArray[np.float32]:
    single = np.ascontiguousarray(array, dtype=np.float32)
    single.setflags(write=False)
    return single
