"""What lens, light and sensor do to an image."""

import math
from dataclasses import dataclass
from enum import StrEnum

from posefuse.checks import in_range, not_negative, positive
from posefuse.errors import InputError

__all__ = ["Defocus", "ImageQuality"]


class Defocus(StrEnum):
    """How a lens spreads a point of light."""

    GAUSSIAN = "gaussian"
    DISC = "disc"


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageQuality:
    """What lens, light and sensor do to an image before the detector gets it.

    Grey levels are 0 to 255 and linear in the light. The gain is taken to be set so that a white
    surface in full light gives the same grey whatever the exposure time; what that costs in noise
    says ``gain_for``.

    Parameters
    ----------
    defocus, defocus_px
        The spread of a point: its standard deviation where it is gaussian, its radius as a disc.
    vignetting_share
        Share of the light that the corners of the image lack.
    lamp_share
        Share of the light that comes from one lamp above the middle of the floor and fades with
        the distance from it; the rest comes evenly from all around.
    glare_share
        Brightness of the lamp's mirror image on tags and floor, in white surfaces.
    white_share
        Share of the range of grey levels that a white surface in full light takes.
    black_grey
        Grey level without light.
    full_well_electrons, gain_factor, read_noise_electrons
        ``full_well_electrons / gain_factor`` electrons give grey 255; they arrive one by one
        (photon noise), and reading them adds noise.
    """

    defocus: Defocus = Defocus.GAUSSIAN
    defocus_px: float = 0.6
    vignetting_share: float = 0.25
    lamp_share: float = 0.3
    glare_share: float = 0.0
    white_share: float = 0.8
    black_grey: float = 4.0
    full_well_electrons: float = 7000.0
    gain_factor: float = 4.0
    read_noise_electrons: float = 5.0

    def __post_init__(self) -> None:
        for name in ("defocus_px", "glare_share", "read_noise_electrons"):
            not_negative(name, getattr(self, name))
        in_range("vignetting_share", self.vignetting_share, 0.0, 1.0)
        in_range("lamp_share", self.lamp_share, 0.0, 1.0)
        in_range("black_grey", self.black_grey, 0.0, 128.0)
        positive("white_share", self.white_share)
        positive("full_well_electrons", self.full_well_electrons)
        positive("gain_factor", self.gain_factor)

    @staticmethod
    def gain_for(exposure_s: float, *, unit_gain_exposure_s: float) -> float:
        """The ``gain_factor`` that makes up for an exposure shorter than fills the pixels.

        Electrons grow with light times time, and the grey level is gain times electrons, so half
        the exposure (or half the light) takes twice the gain; photon noise then shows 1.4 times as
        large in grey levels, and read noise twice (EMVA Standard 1288, release 4.0, sec. 2).

        Parameters
        ----------
        unit_gain_exposure_s
            Exposure that needs no gain in the light at hand: a pixel's full well is grey 255.

        Raises
        ------
        InputError
            The exposure is longer: pixels overflow.

        Examples
        --------
        >>> ImageQuality.gain_for(0.004, unit_gain_exposure_s=0.016)
        4.0
        """
        positive("exposure_s", exposure_s)
        if exposure_s > unit_gain_exposure_s:
            raise InputError(
                f"unit_gain_exposure_s: must be {exposure_s:g} (exposure_s) or more, else pixels"
                f" overflow (got {unit_gain_exposure_s:g})"
            )
        return unit_gain_exposure_s / exposure_s

    @property
    def white_grey(self) -> float:
        """Grey levels that fully reflected full light adds to the black level."""
        return 255.0 * self.white_share

    @property
    def electrons_per_grey(self) -> float:
        """Electrons that make one grey level."""
        return self.full_well_electrons / (255.0 * self.gain_factor)

    @property
    def noise_grey(self) -> float:
        """Standard deviation of the noise, in grey levels, of a surface half as bright as white."""
        photons = 0.5 * self.white_grey / self.electrons_per_grey
        return math.hypot(math.sqrt(photons), self.read_noise_electrons / self.electrons_per_grey)
