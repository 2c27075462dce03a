"""What a tag is seen under when a detector's response is measured."""

import math
from dataclasses import dataclass, replace

from posefuse.robot.image_quality import ImageQuality

__all__ = ["Conditions", "quality_with"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """The conditions a tag is seen under.

    Parameters
    ----------
    edge_px
        Root of the area of the tag's image.
    incidence_deg
        Between the line of sight and the face's normal.
    blur_px
        How far the tag's middle moves in the image during the exposure.
    noise_grey, defocus_px
        See ``ImageQuality``.
    """

    edge_px: float
    incidence_deg: float
    blur_px: float
    noise_grey: float
    defocus_px: float


def quality_with(quality: ImageQuality, *, noise_grey: float, defocus_px: float) -> ImageQuality:
    """The image quality with another gain and focus, so that these are its noise and defocus.

    The light is even: no lamp, no glare.
    """
    # n^2 = w / 2 g + (r g)^2 with g grey levels an electron
    half, read = 0.5 * quality.white_grey, quality.read_noise_electrons**2
    if read > 0.0:
        grey = (math.sqrt(half**2 + 4.0 * read * noise_grey**2) - half) / (2.0 * read)
    else:
        grey = noise_grey**2 / half
    return replace(
        quality,
        gain_factor=grey * quality.full_well_electrons / 255.0,
        defocus_px=defocus_px,
        lamp_share=0.0,
        glare_share=0.0,
    )
