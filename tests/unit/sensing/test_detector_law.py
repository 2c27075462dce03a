"""The detector's law against its printed formula."""

import math

import numpy as np
import pytest

from posefuse.sensing.detector_law import detector_response


def respond(detector, **changes):
    given = {"distance_m": 4.0, "cos_incidence": 0.5, "edge_px": 30.0, "blur_px": 2.0}
    return detector_response(
        detector,
        noise_grey=2.0,
        **{k: np.atleast_1d(np.asarray(v, float)) for k, v in {**given, **changes}.items()},
    )


def test_the_spread_adds_its_parts_in_quadrature(make) -> None:
    response = respond(make.detector())
    parts = [0.3, 0.05 * 4.0, 0.4 * 0.5, 0.1 * 2.0]
    assert response.std_px[0] == pytest.approx(math.hypot(*parts), rel=1e-12)
    noisy = respond(make.detector(noise_px_per_grey=0.06))
    assert noisy.std_px[0] == pytest.approx(math.hypot(*parts, 0.06 * 2.0), rel=1e-12)


def test_noise_of_the_image_does_not_persist_at_rest(make) -> None:
    plain, noisy = (
        respond(make.detector(persistent_fraction=0.5, noise_px_per_grey=share))
        for share in (0.0, 0.1)
    )
    assert plain.persistent_fraction[0] == 0.5
    lasting = [one.persistent_fraction[0] * one.std_px[0] ** 2 for one in (plain, noisy)]
    assert lasting[1] == pytest.approx(lasting[0], rel=1e-12)


def test_half_of_the_tags_are_found_at_the_half_found_edge(make) -> None:
    detector = make.detector(miss_rate=0.0)
    edges = np.array([16.0, 16.0 + 3.0, 16.0 - 3.0, 1e6, 0.0])
    zeros = np.zeros(5)
    response = respond(
        detector, edge_px=edges, blur_px=zeros + 2.0, distance_m=zeros, cos_incidence=zeros + 1.0
    )
    e = math.e
    expected = [0.5, e / (1 + e), 1 / (1 + e), 1.0, 1 / (1 + math.exp(16.0 / 3.0))]
    np.testing.assert_allclose(response.found_probability, expected, rtol=1e-12)


def test_large_tags_are_still_missed_at_the_miss_rate(make) -> None:
    assert respond(make.detector(), edge_px=1e4).found_probability[0] == pytest.approx(0.95)


def test_bias_and_sharing_are_the_detectors(make) -> None:
    response = respond(make.detector(), distance_m=[1.0, 2.0])
    np.testing.assert_array_equal(response.shared_fraction, [0.3, 0.3])
    np.testing.assert_array_equal(response.inward_px, [0.25, 0.25])
    np.testing.assert_array_equal(response.shift_px, [[0.1, -0.2]] * 2)
