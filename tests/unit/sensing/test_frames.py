"""Capture instants, latency and drops."""

import math

import numpy as np
import pytest
from scipy import stats

from posefuse.randomness.streams import stream, stream_key
from posefuse.robot.camera import Timing
from posefuse.sensing.frames import (
    arrivals,
    frame_times,
    lost_in_outages,
    mount_phase,
    outages,
)


def timing(**changes: float) -> Timing:
    given = {"frame_rate_hz": 30.0, "exposure_s": 0.005, "latency_s": 0.045}
    return Timing(**{**given, **changes})


def test_frames_fill_the_run_at_the_frame_rate() -> None:
    stamps = frame_times(timing(), start_s=5.0, end_s=155.0, phase=0.25)
    assert len(stamps) == 4500
    assert stamps[0] == pytest.approx(5.0 + 0.25 / 30.0, abs=1e-12)
    np.testing.assert_allclose(np.diff(stamps), 1.0 / 30.0, atol=1e-9)
    assert 155.0 - 1.0 / 30.0 < stamps[-1] <= 155.0


def test_both_ends_belong_to_the_run() -> None:
    stamps = frame_times(timing(frame_rate_hz=10.0), start_s=0.0, end_s=1.0, phase=0.0)
    np.testing.assert_allclose(stamps, np.arange(11) / 10.0, atol=1e-12)


def test_a_run_shorter_than_the_phase_has_no_frame() -> None:
    assert len(frame_times(timing(), start_s=0.0, end_s=0.01, phase=0.9)) == 0


def test_phases_spread_evenly_over_the_period() -> None:
    phases = np.array([mount_phase(f"camera {i}") for i in range(1000)])
    assert phases.min() >= 0.0
    assert phases.max() < 1.0
    assert stats.kstest(phases, "uniform").pvalue > 1e-3


@pytest.mark.parametrize("phase", [-0.1, 1.0, math.nan])
def test_a_phase_outside_the_period_is_refused(phase: float) -> None:
    with pytest.raises(ValueError, match="phase: must be"):
        frame_times(timing(), start_s=0.0, end_s=1.0, phase=phase)


def test_a_run_that_ends_before_it_starts_is_refused() -> None:
    with pytest.raises(ValueError, match="end_s: must not lie before start_s = 2"):
        frame_times(timing(), start_s=2.0, end_s=1.0, phase=0.0)


def test_latency_spreads_evenly_around_its_mean() -> None:
    captured = np.arange(40_000) / 30.0
    setting = timing(latency_jitter_s=0.015, drop_rate=0.2)
    arrived, is_dropped = arrivals(captured, setting, stream_key(7, 0, "arrivals"))
    late = arrived - captured
    assert late.min() >= 0.03 - 1e-9
    assert late.max() <= 0.06 + 1e-9
    # an even spread of half width w has standard deviation w / sqrt(3), fourth moment w^4 / 5
    assert late.mean() == pytest.approx(0.045, abs=4 * 0.015 / math.sqrt(3 * 40_000))
    assert late.std() == pytest.approx(0.015 / math.sqrt(3), rel=0.02)
    assert is_dropped.mean() == pytest.approx(0.2, abs=4 * math.sqrt(0.16 / 40_000))
    assert abs(np.corrcoef(late, is_dropped)[0, 1]) < 4 / math.sqrt(40_000)


def test_a_frames_fate_does_not_depend_on_the_length_of_the_run() -> None:
    setting = timing(latency_jitter_s=0.015, drop_rate=0.3)
    key = stream_key(1, 2, "arrivals")
    stamps = np.arange(900) / 30.0
    whole, part = arrivals(stamps, setting, key), arrivals(stamps[:500], setting, key)
    np.testing.assert_array_equal(whole[0][:500], part[0])
    np.testing.assert_array_equal(whole[1][:500], part[1])
    other = arrivals(stamps, setting, stream_key(1, 3, "arrivals"))
    assert (whole[0] != other[0]).all()


def test_without_jitter_and_drops_every_frame_arrives_after_the_latency() -> None:
    captured = np.array([0.0, 0.1])
    arrived, is_dropped = arrivals(captured, timing(), np.uint64(1))
    np.testing.assert_array_equal(arrived, captured + 0.045)
    assert not is_dropped.any()
    assert arrivals(captured, timing(drop_rate=1.0), np.uint64(1))[1].all()


def test_outages_come_at_their_rate_and_last_as_long_as_stated() -> None:
    lasting = timing(outages_per_minute=2.0, outage_s=3.0)
    spans = outages(lasting, stream(1, 0, "outages"), start_s=100.0, end_s=66_100.0)
    working_s = np.diff(np.append([100.0], spans.ravel()))[0::2]
    # mean and spread of an exponential are the same; one cycle takes 33 s
    error = 4.0 / math.sqrt(len(spans))
    assert len(spans) == pytest.approx(2000, rel=error)
    assert working_s.mean() == pytest.approx(30.0, rel=error)
    assert (spans[:, 1] - spans[:, 0]).mean() == pytest.approx(3.0, rel=error)
    for lengths in (working_s, spans[:, 1] - spans[:, 0]):
        assert stats.kstest(lengths / lengths.mean(), "expon").pvalue > 1e-3
    assert (spans[:, 0] < 66_100.0).all()


def test_rival_rates_share_their_draws() -> None:
    one, other = (
        outages(
            timing(outages_per_minute=1.0, outage_s=length_s),
            stream(1, 0, "outages"),
            start_s=0.0,
            end_s=600.0,
        )
        for length_s in (1.0, 2.0)
    )
    assert one[0, 0] == other[0, 0]
    assert 2.0 * (one[0, 1] - one[0, 0]) == pytest.approx(other[0, 1] - other[0, 0])


def test_without_outages_nothing_is_drawn() -> None:
    generator = stream(1, 0, "outages")
    assert outages(timing(), generator, start_s=0.0, end_s=1e6).shape == (0, 2)
    assert generator.random() == stream(1, 0, "outages").random()


def test_frames_taken_in_an_outage_or_on_their_way_are_lost() -> None:
    captured = np.array([0.9, 0.97, 1.2, 1.99, 2.0, 3.1, 3.5])
    spans = np.array([[1.0, 2.0], [3.12, 3.2]])
    is_lost = lost_in_outages(captured, captured + 0.05, spans)
    assert is_lost.tolist() == [False, True, True, True, False, True, False]
