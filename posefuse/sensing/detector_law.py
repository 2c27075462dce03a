"""How a tag detector responds: spread and bias of the corners it finds, and how often it finds."""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import FloatArray, IntArray
from posefuse.robot.camera import Detector
from posefuse.robot.measured_response import MeasuredResponse

__all__ = ["DetectorResponse", "detector_response"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DetectorResponse:
    """One row for each sighting; see ``robot.Detector`` for the meaning of each figure.

    Parameters
    ----------
    narrowing_px
        How far, besides, the left and the right corners are found toward each other: motion blur
        and grazing views narrow a tag more than they lower it. The law knows none.
    """

    std_px: FloatArray
    shared_fraction: FloatArray
    persistent_fraction: FloatArray
    inward_px: FloatArray
    narrowing_px: FloatArray
    shift_px: FloatArray
    found_probability: FloatArray


def detector_response(
    detector: Detector,
    *,
    distance_m: FloatArray,
    cos_incidence: FloatArray,
    edge_px: FloatArray,
    blur_px: FloatArray,
    noise_grey: float,
) -> DetectorResponse:
    """The response (n,) to tags at these distances, incidences, sizes and blurs (n,).

    By the law, the spread adds its five parts in quadrature, and a tag is found with probability
    ``(1 - miss_rate) / (1 + exp(-(edge - blur - half_found_edge) / width))``. A response that was
    measured is linear between the tags measured and held beyond them.

    Parameters
    ----------
    noise_grey
        Of the images, see ``ImageQuality``; a measured response is that of its camera's already.
    """
    if detector.measured is not None:
        return _measured_response(detector.measured, cos_incidence, edge_px, blur_px)
    variance = (
        detector.noise_px**2
        + (detector.noise_px_per_m * distance_m) ** 2
        + (detector.grazing_noise_px * (1.0 - cos_incidence)) ** 2
        + (detector.blur_noise * blur_px) ** 2
    )
    count = len(distance_m)
    persistent_fraction = np.full(count, detector.persistent_fraction)
    if detector.noise_px_per_grey:
        persistent_fraction *= variance
        variance = variance + (detector.noise_px_per_grey * noise_grey) ** 2
        persistent_fraction /= variance
    surplus_px = edge_px - blur_px - detector.half_found_edge_px
    # the logistic function, written so that no exponential overflows
    logistic = 0.5 * (1.0 + np.tanh(0.5 * surplus_px / detector.found_edge_width_px))
    return DetectorResponse(
        std_px=np.sqrt(variance),
        shared_fraction=np.full(count, detector.shared_fraction),
        persistent_fraction=persistent_fraction,
        inward_px=np.full(count, detector.inward_px),
        narrowing_px=np.zeros(count),
        shift_px=np.tile(detector.shift_px, (count, 1)),
        found_probability=(1.0 - detector.miss_rate) * logistic,
    )


def _measured_response(
    measured: MeasuredResponse, cos_incidence: FloatArray, edge_px: FloatArray, blur_px: FloatArray
) -> DetectorResponse:
    incidence_rad = np.arccos(np.clip(cos_incidence, -1.0, 1.0))
    places = [
        _place(measured.edges_px, edge_px),
        _place(measured.incidences_rad, incidence_rad),
        _place(measured.blurs_px, blur_px),
    ]

    def between(values: FloatArray) -> FloatArray:
        total = np.zeros((len(edge_px), *values.shape[3:]))
        for corner in range(8):
            index, weight = [], np.ones(len(edge_px))
            for axis, (low, high, share) in enumerate(places):
                is_high = corner >> axis & 1
                index.append(high if is_high else low)
                weight = weight * (share if is_high else 1.0 - share)
            total += weight.reshape(-1, *[1] * (values.ndim - 3)) * values[tuple(index)]
        return total

    return DetectorResponse(
        std_px=between(measured.std_px),
        shared_fraction=between(measured.shared_fraction),
        persistent_fraction=between(measured.persistent_fraction),
        inward_px=between(measured.inward_px),
        narrowing_px=between(measured.narrowing_px),
        shift_px=between(measured.shift_px),
        found_probability=between(measured.found_probability),
    )


def _place(axis: FloatArray, wanted: FloatArray) -> tuple[IntArray, IntArray, FloatArray]:
    """Index of the point of the axis at or below each value, of the next, and the share between."""
    place = np.interp(wanted, axis, np.arange(len(axis), dtype=np.float64))
    low = np.minimum(place.astype(np.int64), max(len(axis) - 2, 0))
    return low, np.minimum(low + 1, len(axis) - 1), place - low
