"""How a tag detector responds: spread and bias of the corners it finds, and how often it finds."""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import FloatArray
from posefuse.robot import Detector

__all__ = ["DetectorResponse", "detector_response"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DetectorResponse:
    """One row for each sighting; see ``robot.Detector`` for the meaning of each figure."""

    std_px: FloatArray
    shared_fraction: FloatArray
    inward_px: FloatArray
    shift_px: FloatArray
    found_probability: FloatArray


def detector_response(
    detector: Detector,
    *,
    distance_m: FloatArray,
    cos_incidence: FloatArray,
    edge_px: FloatArray,
    blur_px: FloatArray,
) -> DetectorResponse:
    """The response (n,) to tags at these distances, incidences, sizes and blurs (n,).

    The spread adds its four parts in quadrature. A tag is found with probability
    ``(1 - miss_rate) / (1 + exp(-(edge - blur - half_found_edge) / width))``.
    """
    variance = (
        detector.noise_px**2
        + (detector.noise_px_per_m * distance_m) ** 2
        + (detector.grazing_noise_px * (1.0 - cos_incidence)) ** 2
        + (detector.blur_noise * blur_px) ** 2
    )
    surplus_px = edge_px - blur_px - detector.half_found_edge_px
    # the logistic function, written so that no exponential overflows
    logistic = 0.5 * (1.0 + np.tanh(0.5 * surplus_px / detector.found_edge_width_px))
    count = len(distance_m)
    return DetectorResponse(
        std_px=np.sqrt(variance),
        shared_fraction=np.full(count, detector.shared_fraction),
        inward_px=np.full(count, detector.inward_px),
        shift_px=np.tile(detector.shift_px, (count, 1)),
        found_probability=(1.0 - detector.miss_rate) * logistic,
    )
