"""A filter whose model is right is consistent: NEES and NIS inside their intervals.

Y. Bar-Shalom, X. R. Li, T. Kirubarajan, Estimation with Applications to Tracking and Navigation,
2001, sec. 5.4 (from memory): the sum of N normalised errors squared is chi-square with N n degrees
of freedom.
"""

import numpy as np
import pytest
from scipy import stats

from fusion_runs import Made, make_run_of, settings_for
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.checks import FloatArray
from posefuse.fusion.estimate import Estimate, Outcome
from posefuse.fusion.fuse import fuse
from posefuse.fusion.settings import (
    BuildErrors,
    FilterSettings,
    LateFrames,
    Measurement,
    StartFrom,
)
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.recording.recording import SightingKind

ROWS = 151
TESTED = [25, 80, 150]
"""Rows far enough apart that their errors hardly depend on each other."""


def estimate_of(made: Made, settings: FilterSettings) -> Estimate:
    return fuse(made.recording, rig=made.rig, arena=made.arena, settings=settings)


def normalised_errors(made: Made, estimate: Estimate) -> FloatArray:
    """NEES (rows,) over x, y and heading."""
    assert made.recording.truth is not None
    off = estimate.poses - made.recording.truth.poses
    off[:, 2] = wrap_angle_rad(off[:, 2])
    squared: FloatArray = np.einsum("ri,rij,rj->r", off, np.linalg.inv(estimate.covs), off)
    return squared


def interval(count: int, dof: int, probability: float = 0.95) -> tuple[float, float]:
    """Within which the mean of ``count`` chi-square numbers lies."""
    low, high = stats.chi2.interval(probability, count * dof)
    return low / count, high / count


def test_the_intervals_are_the_published_ones() -> None:
    """N = 50: [1.5, 2.6] for two states (as printed there, from memory)."""
    np.testing.assert_allclose(interval(50, 2), [1.4844, 2.5912], atol=1e-4)
    np.testing.assert_allclose(interval(100, 3), [2.5391, 3.4987], atol=1e-4)


def nees_of_runs(measurement: Measurement, runs: int, **changes: object) -> FloatArray:
    """NEES (runs, tested rows)."""
    settings = settings_for(measurement, gate_probability=None, **changes)
    nees = []
    for seed in range(runs):
        made = make_run_of(measurement.sighting_kind, seed=1000 + seed, rows=ROWS)
        nees.append(normalised_errors(made, estimate_of(made, settings))[TESTED])
    return np.array(nees)


@pytest.mark.parametrize("measurement", [Measurement.CORNERS, Measurement.RANGE_BEARING])
def test_forty_runs(measurement: Measurement) -> None:
    nees = nees_of_runs(measurement, 40)
    low, high = interval(nees.size, 3, 0.999)
    assert low < nees.mean() < high


@pytest.mark.slow
@pytest.mark.parametrize(
    "measurement", [Measurement.CORNERS, Measurement.RANGE_BEARING, Measurement.RANGE]
)
def test_two_hundred_runs(measurement: Measurement) -> None:
    nees = nees_of_runs(measurement, 200)
    for column in nees.T:
        low, high = interval(200, 3, 0.99)
        assert low < column.mean() < high
    low, high = interval(nees.size, 3)
    assert low < nees.mean() < high


@pytest.mark.slow
def test_two_hundred_runs_of_solved_poses() -> None:
    """The gate refuses wrong ones of two solutions, and with them part of the right ones' tail."""
    settings = settings_for(Measurement.POSE, gate_probability=0.9999)
    nees = []
    for seed in range(200):
        made = make_run_of(SightingKind.CORNERS, seed=1000 + seed, rows=ROWS)
        nees.append(normalised_errors(made, estimate_of(made, settings))[TESTED])
    assert 2.6 < np.mean(nees) < 3.6


BUILD = BuildSpreads.of(
    mount_angle_rad=0.008,
    mount_position_m=0.003,
    focal_fraction=0.003,
    centre_px=1.0,
    clock_offset_s=0.003,
    tag_position_m=0.005,
    tag_heading_rad=0.005,
    lean_rad=0.003,
    wheel_radius_fraction=0.005,
)
KNOWING = (BuildErrors.CONSIDERED, BuildErrors.ESTIMATED)


def nees_of_builds(measurement: Measurement, how: BuildErrors, runs: int) -> FloatArray:
    """NEES (runs, tested rows) of runs with a build of their own each; floors are zero."""
    gate = None if measurement is Measurement.CORNERS else 0.9999
    settings = settings_for(measurement, gate_probability=gate, build_errors=how, believed=BUILD)
    nees = []
    for seed in range(runs):
        made = make_run_of(SightingKind.CORNERS, seed=2000 + seed, rows=ROWS, spreads=BUILD)
        nees.append(normalised_errors(made, estimate_of(made, settings))[TESTED])
    return np.array(nees)


@pytest.mark.parametrize("how", KNOWING)
def test_filters_that_know_the_build_stay_consistent(how: BuildErrors) -> None:
    """The rows of one run share a build: their mean is one number, as sure as a single row's."""
    nees = nees_of_builds(Measurement.CORNERS, how, 40)
    low, high = interval(40, 3, 0.999)
    assert low < nees.mean() < high


def test_one_that_ignores_the_build_does_not() -> None:
    assert nees_of_builds(Measurement.CORNERS, BuildErrors.IGNORED, 10).mean() > 10.0


@pytest.mark.slow
@pytest.mark.parametrize("how", KNOWING)
@pytest.mark.parametrize("measurement", [Measurement.POSE, Measurement.CORNERS])
def test_two_hundred_builds(measurement: Measurement, how: BuildErrors) -> None:
    nees = nees_of_builds(measurement, how, 200)
    low, high = interval(200, 3)
    assert low < nees.mean() < high


def test_innovations_are_as_large_as_they_say() -> None:
    for measurement, dof in ((Measurement.CORNERS, 8), (Measurement.RANGE_BEARING, 2)):
        settings = settings_for(measurement, gate_probability=None)
        nis = []
        for seed in range(10):
            made = make_run_of(measurement.sighting_kind, seed=seed, rows=ROWS)
            innovations = estimate_of(made, settings).innovations
            nis.append(innovations.nis[innovations.outcome == Outcome.FUSED])
        together = np.concatenate(nis)
        low, high = interval(len(together), dof, 0.999)
        assert low < together.mean() < high


def test_the_gate_refuses_about_its_share() -> None:
    settings = settings_for(Measurement.CORNERS, gate_probability=0.95)
    refused, met = 0, 0
    for seed in range(10):
        made = make_run_of(SightingKind.CORNERS, seed=seed, rows=ROWS)
        counts = estimate_of(made, settings).counts()
        refused, met = refused + counts["gated"], met + counts["gated"] + counts["fused"]
    assert refused / met == pytest.approx(0.05, abs=4.0 * np.sqrt(0.05 * 0.95 / met))


def test_a_run_without_noise_returns_the_truth() -> None:
    for measurement in Measurement:
        made = make_run_of(measurement.sighting_kind, seed=2, rows=ROWS, noise=0.0)
        estimate = estimate_of(made, settings_for(measurement))
        assert made.recording.truth is not None
        off = estimate.poses - made.recording.truth.poses
        off[:, 2] = wrap_angle_rad(off[:, 2])
        np.testing.assert_allclose(off, 0.0, atol=1e-6)


def test_ignoring_lateness_ruins_it() -> None:
    nees = {}
    for late in (LateFrames.REINSERT, LateFrames.AS_CURRENT):
        nees[late] = nees_of_runs(Measurement.CORNERS, 4, late_frames=late).mean()
    assert nees[LateFrames.AS_CURRENT] > 30.0 * nees[LateFrames.REINSERT]


@pytest.mark.slow
def test_a_start_from_the_tags_claims_no_more_than_it_knows() -> None:
    """Two hundred starts. Frames err independently here, more kindly than the start assumes."""
    settings = settings_for(Measurement.CORNERS, start_from=StartFrom.TAGS)
    at_start, later = [], []
    for seed in range(200):
        made = make_run_of(SightingKind.CORNERS, seed=seed, rows=41, standstill_s=0.5)
        nees = normalised_errors(made, estimate_of(made, settings))
        at_start.append(nees[25])
        later.append(nees[40])
    assert 0.1 < np.mean(at_start) < 3.0
    low, high = interval(200, 3, 0.99)
    assert low < np.mean(later) < high
