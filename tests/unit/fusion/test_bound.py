"""The posterior Cramer-Rao bound against published figures and the filter's own covariance."""

from dataclasses import replace

import numpy as np
import pytest

from fusion_runs import PIXEL_STD_PX, Made, make_run_of, settings_for
from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.fusion.bound import posterior_bound
from posefuse.fusion.fuse import fuse, prepare_filter
from posefuse.fusion.reference_models import BeaconModel, measurement_models
from posefuse.fusion.settings import FilterSettings, Measurement
from posefuse.geometry.plane import PlanePose
from posefuse.recording.recording import (
    Frames,
    Odometry,
    Recording,
    SightingKind,
    Sightings,
    StartPose,
    Truth,
)


def sliding(rows: int, *, lever_m: float, start_cov: FloatArray, first: int = 0) -> Recording:
    """A robot that slides to its right by ``lever_m`` a second, one empty frame at each row.

    Its x then gains ``lever_m`` times its heading at every row: position and velocity.
    """
    stamps = np.arange(float(rows))
    twists = np.zeros((rows, 3))
    twists[1:, 1] = -lever_m
    poses = np.zeros((rows, 3))
    poses[:, 1] = -lever_m * stamps
    return Recording(
        name="sliding",
        sensor_names=("camera",),
        odometry=Odometry(stamps_s=stamps, twists=twists),
        frames=Frames(
            sensor=np.zeros(rows - first, dtype=np.int64),
            captured_at_s=stamps[first:],
            arrived_at_s=stamps[first:],
        ),
        sightings=Sightings(
            kind=SightingKind.CORNERS,
            frame=np.zeros(0, dtype=np.int64),
            id=np.zeros(0, dtype=np.int64),
            values=np.zeros((0, 8)),
        ),
        start=StartPose(world_from_robot=PlanePose(np.zeros(3)), cov=start_cov),
        truth=Truth(stamps_s=stamps, poses=poses),
    )


def information_in_x(frames: int, value: float) -> FloatArray:
    information = np.zeros((frames, 3, 3))
    information[:, 0, 0] = value
    return information


def test_two_axes_of_constant_velocity() -> None:
    """Values of the test of the bound in dstl/Stone-Soup, metricgenerator/tests/test_pcrbmetric.py.

    Each axis: spectral density 0.05, one second a step, position measured with variance 5, prior
    variances 5 and 10. The figures are roots of the sums over both axes, the prior's first.
    """
    rows, q = 21, 0.05
    recording = sliding(rows, lever_m=1.0, start_cov=np.diag([5.0, 0.0, 10.0]), first=1)
    steps = np.zeros((rows, 3, 3))
    steps[1:] = q * np.array([[1 / 3, 0.0, 1 / 2], [0.0, 0.0, 0.0], [1 / 2, 0.0, 1.0]])
    covs = posterior_bound(
        recording, frame_information=information_in_x(rows - 1, 1 / 5), step_covs=steps
    )
    position, velocity = np.sqrt(2.0 * covs[:, 0, 0]), np.sqrt(2.0 * covs[:, 2, 2])
    expected = [3.16227766, 2.73899281, 2.70945734, 2.57092567, 2.41880754, 2.28452324]
    np.testing.assert_allclose(position[:6], expected, atol=1e-8)
    assert position[-1] == pytest.approx(1.89934607, abs=1e-8)
    np.testing.assert_allclose(velocity[:3], [4.47213595, 3.17148318, 2.02052469], atol=1e-8)
    assert velocity[-1] == pytest.approx(0.63338613, abs=1e-8)


def test_the_golden_ratio() -> None:
    """One number with F = Q = R = 1: the information settles at (1 + sqrt 5) / 2, exactly."""
    rows = 60
    recording = sliding(rows, lever_m=0.0, start_cov=np.diag([1.0, 1.0, 1.0]))
    steps = np.zeros((rows, 3, 3))
    steps[1:, 0, 0] = 1.0
    covs = posterior_bound(
        recording, frame_information=information_in_x(rows, 1.0), step_covs=steps
    )
    assert 1.0 / covs[-1, 0, 0] == pytest.approx((1.0 + np.sqrt(5.0)) / 2.0, abs=1e-12)


def test_without_a_stated_start_the_first_sightings_decide() -> None:
    """Landmarks at 4 m, spread 0.05 m and 0.02 rad: their roots by an independent inversion."""
    informations = [np.zeros((3, 3))]
    for bearing in np.radians([0.0, 120.0]):
        model = BeaconModel(
            values=np.zeros(2),
            cov=np.diag([0.05**2, 0.02**2]),
            beacon_in_world_m=4.0 * np.array([np.cos(bearing), np.sin(bearing), 0.0]),
            ranger_in_robot_m=np.zeros(3),
            row_from_capture=PlanePose(np.zeros(3)),
        )
        jacobian = model.jacobian(np.zeros(3))
        informations.append(informations[-1] + jacobian.T @ np.linalg.inv(model.cov) @ jacobian)
    assert np.linalg.matrix_rank(informations[1], tol=1e-6) == 2
    recording = sliding(3, lever_m=0.0, start_cov=np.eye(3))
    unstated = replace(recording, start=None)
    information = np.zeros((3, 3, 3))
    information[1] = informations[2]
    covs = posterior_bound(unstated, frame_information=information, step_covs=np.zeros((3, 3, 3)))
    assert np.sqrt(covs[0, 0, 0]) > 50.0
    spreads = np.sqrt(np.diag(covs[2]))
    np.testing.assert_allclose(spreads, [0.042726, 0.046296, 0.015035], atol=1e-6)


@pytest.mark.parametrize("history_s", [0.5, 0.045])
def test_of_a_run_without_noise_it_is_the_filter_s_covariance(history_s: float) -> None:
    """At the truth both linearise alike, late frames and lost ones included."""
    made = make_run_of(SightingKind.CORNERS, seed=3, rows=121, noise=0.0)
    settings = settings_for(Measurement.CORNERS, gate_probability=None, history_s=history_s)
    estimate = fuse(made.recording, rig=made.rig, arena=made.arena, settings=settings)
    covs = posterior_bound(
        made.recording,
        frame_information=information_at_the_truth(made, settings),
        step_covs=isotropic_steps(made, settings),
        history_s=history_s,
    )
    np.testing.assert_allclose(estimate.covs, covs, rtol=1e-7, atol=1e-13)


def isotropic_steps(made: Made, settings: FilterSettings) -> FloatArray:
    filter_input = prepare_filter(made.recording, rig=made.rig, arena=made.arena, settings=settings)
    steps = np.zeros((len(filter_input.timeline.step_vars), 3, 3))
    for axis, column in ((0, 0), (1, 0), (2, 1)):
        steps[:, axis, axis] = filter_input.timeline.step_vars[:, column]
    return steps


def information_at_the_truth(made: Made, settings: FilterSettings) -> FloatArray:
    """Each frame's information about the true pose at its capture, by the reference model."""
    filter_input = prepare_filter(made.recording, rig=made.rig, arena=made.arena, settings=settings)
    timeline, measurements = filter_input.timeline, filter_input.measurements
    information = np.zeros((len(made.recording.frames.sensor), 3, 3))
    for index, frame in enumerate(measurements.frame):
        row = timeline.frame_row[frame]
        capture = PlanePose(made.recording.truth.poses[row]) @ PlanePose(
            timeline.offsets[frame, :3]
        )
        (model,) = measurement_models(measurements, index, row_from_capture=PlanePose(np.zeros(3)))
        jacobian = model.jacobian(capture.values)
        information[frame] += jacobian.T @ jacobian / PIXEL_STD_PX**2
    return information


def test_it_needs_the_truth() -> None:
    recording = sliding(3, lever_m=0.0, start_cov=np.eye(3))
    without = replace(recording, truth=None)
    with pytest.raises(InputError, match="'sliding' holds no truth"):
        posterior_bound(
            without, frame_information=np.zeros((3, 3, 3)), step_covs=np.zeros((3, 3, 3))
        )


def test_the_truth_may_have_stamps_of_its_own() -> None:
    made = make_run_of(SightingKind.CORNERS, seed=3, rows=41, noise=0.0)
    truth = made.recording.truth
    middle = 0.5 * (truth.stamps_s[1:] + truth.stamps_s[:-1])
    stamps = np.sort(np.concatenate([truth.stamps_s, middle]))
    poses = np.stack(
        [np.interp(stamps, truth.stamps_s, column) for column in truth.poses.T], axis=-1
    )
    finer = replace(made.recording, truth=Truth(stamps_s=stamps, poses=poses))
    settings = settings_for(Measurement.CORNERS)
    information = information_at_the_truth(made, settings)
    steps = isotropic_steps(made, settings)
    np.testing.assert_allclose(
        posterior_bound(finer, frame_information=information, step_covs=steps),
        posterior_bound(made.recording, frame_information=information, step_covs=steps),
        rtol=1e-9,
        atol=1e-15,
    )
