"""What a camera sees at an instant, as an image of 8-bit grey levels."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from posefuse.checks import FloatArray, frozen_array, increasing, not_negative
from posefuse.errors import InputError
from posefuse.geometry.space import SpacePose
from posefuse.rendering.camera_view import CameraView
from posefuse.rendering.compiled.exposure import expose
from posefuse.rendering.compiled.render import TILE, draw_light
from posefuse.rendering.picture_arrays import (
    GridArrays,
    PictureArrays,
    WorkArrays,
    local_frames,
)
from posefuse.rendering.surroundings import Surroundings
from posefuse.robot.image_quality import Defocus, ImageQuality

__all__ = ["CameraMotion", "FrameNoise", "GreyImage", "expose_light", "render", "render_light"]

GreyImage = NDArray[np.uint8]

_SAME_POSE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CameraMotion:
    """Where the camera is during a frame.

    Parameters
    ----------
    instants_s : (K,) array
        Even steps, counted from the middle of the exposure of the image's middle row. One is
        enough for a camera at rest; else they must span the exposure of every row that is drawn.
    world_from_camera
        K poses, at these instants; between them the camera is taken to move evenly.
    robot_from_camera
        Where on the robot the camera sits.
    """

    instants_s: FloatArray
    world_from_camera: SpacePose
    robot_from_camera: SpacePose

    def __post_init__(self) -> None:
        instants = frozen_array("instants_s", self.instants_s, (None,))
        count = len(instants)
        if count == 0 or self.world_from_camera.matrix.shape != (count, 4, 4):
            shape = self.world_from_camera.matrix.shape
            raise InputError(f"world_from_camera: {shape} given, ({max(count, 1)}, 4, 4) wanted")
        steps = np.diff(increasing("instants_s", instants))
        if count > 1 and not np.allclose(steps, steps[0], rtol=1e-6):
            raise InputError(
                f"instants_s: must be evenly spaced (steps are {steps.min():g} to {steps.max():g})"
            )
        object.__setattr__(self, "instants_s", instants)

    @classmethod
    def at_rest(
        cls, world_from_camera: SpacePose, *, robot_from_camera: SpacePose
    ) -> "CameraMotion":
        """A camera that does not move."""
        return cls(
            instants_s=np.zeros(1),
            world_from_camera=SpacePose(world_from_camera.matrix[None]),
            robot_from_camera=robot_from_camera,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameNoise:
    """Photon and read noise of one frame: key and frame number fix every bit.

    Parameters
    ----------
    key
        From ``randomness.stream_key``.
    scale
        Factor on the spread; 0 leaves the rounding to whole grey levels alone.
    """

    key: np.uint64
    frame: int = 0
    scale: float = 1.0

    def __post_init__(self) -> None:
        not_negative("noise scale", self.scale)


def render(
    surroundings: Surroundings,
    *,
    view: CameraView,
    motion: CameraMotion,
    exposure_s: float,
    quality: ImageQuality,
    noise: FrameNoise,
    row: int = 0,
) -> GreyImage:
    """The frame (h, w) as the camera hands it to the detector.

    Parameters
    ----------
    row
        Which row of the boxes' places, where they have one for each frame.
    """
    light = render_light(
        surroundings, view=view, motion=motion, exposure_s=exposure_s, quality=quality, row=row
    )
    return expose_light(light, view=view, quality=quality, noise=noise)


def expose_light(
    light: NDArray[np.float32], *, view: CameraView, quality: ImageQuality, noise: FrameNoise
) -> GreyImage:
    """The frame (h, w) that focus and sensor make of the light (h, w) of ``render_light``."""
    light = _out_of_focus(light, quality)
    grey = np.empty(light.shape, dtype=np.uint8)
    read_grey = quality.read_noise_electrons / quality.electrons_per_grey
    expose(
        light,
        view.off_axis,
        quality.vignetting_share,
        (quality.black_grey, quality.white_grey),
        (noise.scale**2 / quality.electrons_per_grey, (noise.scale * read_grey) ** 2),
        (noise.key, noise.frame, _normal_quantiles()),
        grey,
    )
    return grey


def render_light(
    surroundings: Surroundings,
    *,
    view: CameraView,
    motion: CameraMotion,
    exposure_s: float,
    quality: ImageQuality,
    row: int = 0,
) -> NDArray[np.float32]:
    """Light (h, w) that falls on each pixel through a sharp lens, 1 for full light reflected whole.

    Moving blur, rolling shutter, uneven light and glare are in it; of ``quality`` it takes only
    what concerns the lamp. The boxes' own motion during the exposure is not followed.
    """
    if (
        len(motion.instants_s) > 1
        and np.ptp(motion.world_from_camera.matrix, axis=0).max() < _SAME_POSE
    ):
        motion = CameraMotion.at_rest(
            SpacePose(motion.world_from_camera.matrix[0]),
            robot_from_camera=motion.robot_from_camera,
        )
    picture = PictureArrays.of(view)
    nodes = local_frames(surroundings, motion.world_from_camera, motion.robot_from_camera, row=row)
    draw_light(
        picture,
        nodes,
        surroundings.arrays(quality, pixel_rad=1.0 / float(view.lens.focal_px[0])),
        GridArrays.of(view, instants_s=motion.instants_s, exposure_s=exposure_s),
        WorkArrays.of(TILE * TILE, frame_count=nodes.shape[1]),
    )
    return picture.light


def _out_of_focus(light: NDArray[np.float32], quality: ImageQuality) -> NDArray[np.float32]:
    import cv2

    radius = quality.defocus_px
    if radius == 0.0:
        return light
    if quality.defocus is Defocus.GAUSSIAN:
        blurred = cv2.GaussianBlur(light, (0, 0), radius, borderType=cv2.BORDER_REPLICATE)
    else:
        blurred = cv2.filter2D(light, -1, _disc(radius), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(blurred, dtype=np.float32)


@cache
def _disc(radius_px: float) -> NDArray[np.float32]:
    """An even disc as a kernel: each pixel's share of it, by 16 x 16 points, adding up to 1."""
    reach = int(np.ceil(radius_px + 0.5))
    points = np.arange(-reach - 0.5 + 1 / 32, reach + 0.5, 1 / 16)
    inside = np.hypot(points[:, None], points) <= radius_px
    side = 2 * reach + 1
    share = inside.reshape(side, 16, side, 16).mean(axis=(1, 3))
    kernel: NDArray[np.float32] = (share / share.sum()).astype(np.float32)
    return kernel


@cache
def _normal_quantiles() -> NDArray[np.float32]:
    """Quantiles of the normal distribution at the middles of 65536 even steps."""
    from scipy.special import ndtri

    table = ndtri((np.arange(65536) + 0.5) / 65536.0).astype(np.float32)
    table.setflags(write=False)
    return table
