"""The reference filter and the compiled one agree to 1e-9, whatever the settings."""

from dataclasses import replace

import numpy as np
import pytest

from fusion_runs import Made, make_run_of, settings_for
from posefuse.fusion.estimate import Estimate, Outcome
from posefuse.fusion.fuse import fuse, fuse_reference
from posefuse.fusion.settings import (
    Ambiguous,
    FilterSettings,
    LateFrames,
    Measurement,
    NoiseKind,
    NoiseModel,
    StartFrom,
)
from posefuse.geometry.angles import angle_difference_rad
from posefuse.recording.recording import SightingKind

AGREED = 1e-9


def assert_same_estimate(actual: Estimate, expected: Estimate) -> None:
    np.testing.assert_allclose(actual.poses[:, :2], expected.poses[:, :2], atol=AGREED, rtol=0)
    turn = angle_difference_rad(actual.poses[:, 2], expected.poses[:, 2])
    np.testing.assert_allclose(turn, 0.0, atol=AGREED)
    np.testing.assert_allclose(actual.covs, expected.covs, atol=AGREED, rtol=0)
    for name in ("frame", "sighting", "outcome", "dof"):
        np.testing.assert_array_equal(
            getattr(actual.innovations, name), getattr(expected.innovations, name)
        )
    np.testing.assert_allclose(
        actual.innovations.nis, expected.innovations.nis, rtol=1e-6, atol=1e-6
    )


def both(made: Made, settings: FilterSettings) -> Estimate:
    """The compiled filter's estimate, once the reference filter is seen to agree."""
    estimate = fuse(made.recording, rig=made.rig, arena=made.arena, settings=settings)
    reference = fuse_reference(made.recording, rig=made.rig, arena=made.arena, settings=settings)
    assert_same_estimate(estimate, reference)
    return estimate


@pytest.mark.parametrize("late", list(LateFrames))
@pytest.mark.parametrize("measurement", list(Measurement))
def test_for_every_measurement_and_late_policy(measurement: Measurement, late: LateFrames) -> None:
    made = make_run_of(measurement.sighting_kind, seed=4, rows=61)
    settings = settings_for(measurement, late_frames=late, drop_older_than_s=0.045)
    counts = both(made, settings).counts()
    assert counts["fused"] + counts["gated"] > 50
    assert (counts["too_late"] > 10) == (late is LateFrames.DROP)


@pytest.mark.parametrize("ambiguous", list(Ambiguous))
def test_for_every_way_to_choose_a_solution(ambiguous: Ambiguous) -> None:
    made = make_run_of(SightingKind.CORNERS, seed=5, rows=51)
    settings = settings_for(Measurement.POSE, ambiguous=ambiguous, ambiguity_ratio=1e3)
    counts = both(made, settings).counts()
    assert (counts["ambiguous"] > 10) == (ambiguous is Ambiguous.SKIP)


@pytest.mark.parametrize("kind", [NoiseKind.FIXED, NoiseKind.GROWING])
@pytest.mark.parametrize("measurement", list(Measurement))
def test_for_every_noise_model(measurement: Measurement, kind: NoiseKind) -> None:
    made = make_run_of(measurement.sighting_kind, seed=6, rows=31)
    both(made, settings_for(measurement, noise=NoiseModel(kind=kind)))


def test_for_a_start_from_the_tags() -> None:
    made = make_run_of(SightingKind.CORNERS, seed=7, rows=51, standstill_s=0.4)
    for measurement in (Measurement.POSE, Measurement.CORNERS):
        both(made, settings_for(measurement, start_from=StartFrom.TAGS))


def test_for_a_tight_gate_and_none() -> None:
    made = make_run_of(SightingKind.CORNERS, seed=8, rows=41)
    tight = both(made, settings_for(Measurement.CORNERS, gate_probability=0.5))
    assert tight.counts()["gated"] > 20
    none = both(made, settings_for(Measurement.CORNERS, gate_probability=None))
    assert none.counts()["gated"] == 0


def test_for_a_start_so_wrong_that_corners_are_expected_behind_the_camera() -> None:
    made = make_run_of(SightingKind.CORNERS, seed=9, rows=31)
    start = made.recording.start
    assert start is not None
    turned = replace(start, world_from_robot=type(start.world_from_robot)([6.0, 3.0, 9.0]))
    made = replace(made, recording=replace(made.recording, start=turned))
    estimate = both(made, settings_for(Measurement.CORNERS))
    is_behind = estimate.innovations.outcome == Outcome.NO_SOLUTION
    assert is_behind.any()
    assert np.isnan(estimate.innovations.nis[is_behind]).all()
