"""The two filters that know of build errors agree to 1e-9; and what they reduce to."""

from dataclasses import replace

import numpy as np
import pytest

from fusion_runs import make_rig, make_run_of, settings_for
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.fusion.estimate import Estimate
from posefuse.fusion.fuse import fuse, fuse_reference
from posefuse.fusion.settings import BuildErrors, FilterSettings, LateFrames, Measurement
from posefuse.geometry.angles import angle_difference_rad
from posefuse.recording.recording import SightingKind
from posefuse.robot.drivetrain import Gyro

AGREED = 1e-9
BELIEVED = BuildSpreads.of(
    mount_angle_rad=0.008,
    mount_position_m=0.003,
    focal_fraction=0.003,
    centre_px=1.0,
    distortion_k1=0.003,
    clock_offset_s=0.003,
    tag_position_m=0.005,
    tag_heading_rad=0.005,
    tag_lean_rad=0.005,
    tag_scale_fraction=0.003,
    lean_rad=0.003,
    wheel_radius_fraction=0.005,
    slip_fraction=0.1,
)
KNOWING = (BuildErrors.CONSIDERED, BuildErrors.ESTIMATED)
TAGS = (Measurement.POSE, Measurement.CORNERS)


def knowing(measurement: Measurement, how: BuildErrors, **changes: object) -> FilterSettings:
    return settings_for(measurement, build_errors=how, believed=BELIEVED, **changes)


def with_lean_and_gyro(made):
    """The same run of a robot that leans as it accelerates, and has a gyro."""
    rig = replace(made.rig, body=replace(made.rig.body, lean_rad_per_m_per_s2=0.004))
    gyro = Gyro(bias_rad_per_s=0.001, noise_rad_per_sqrt_s=0.001, scale_fraction=0.002)
    rig = replace(rig, drivetrain=replace(rig.drivetrain, gyro=gyro))
    return replace(made, rig=rig)


def both(made, settings: FilterSettings) -> Estimate:
    given = {"rig": made.rig, "arena": made.arena, "settings": settings}
    estimate, reference = fuse(made.recording, **given), fuse_reference(made.recording, **given)
    np.testing.assert_allclose(estimate.poses[:, :2], reference.poses[:, :2], atol=AGREED, rtol=0)
    turn = angle_difference_rad(estimate.poses[:, 2], reference.poses[:, 2])
    np.testing.assert_allclose(turn, 0.0, atol=AGREED)
    np.testing.assert_allclose(estimate.covs, reference.covs, atol=AGREED, rtol=0)
    one, other = estimate.innovations, reference.innovations
    np.testing.assert_array_equal(one.outcome, other.outcome)
    np.testing.assert_allclose(one.nis, other.nis, rtol=1e-6, atol=1e-6)
    assert (estimate.build is None) == (reference.build is None)
    if estimate.build is not None:
        assert estimate.build.members == reference.build.members
        np.testing.assert_allclose(estimate.build.values, reference.build.values, atol=AGREED)
        np.testing.assert_allclose(estimate.build.stds, reference.build.stds, atol=AGREED)
    return estimate


@pytest.mark.parametrize("how", KNOWING)
@pytest.mark.parametrize("measurement", TAGS)
def test_both_agree(measurement: Measurement, how: BuildErrors) -> None:
    made = make_run_of(SightingKind.CORNERS, seed=3, rows=26, spreads=BELIEVED)
    estimate = both(made, knowing(measurement, how))
    assert estimate.counts()["fused"] > 40
    assert (estimate.build is not None) == (how is BuildErrors.ESTIMATED)


@pytest.mark.parametrize("late", [LateFrames.AS_CURRENT, LateFrames.DROP])
def test_both_agree_on_late_frames(late: LateFrames) -> None:
    made = make_run_of(SightingKind.CORNERS, seed=4, rows=21, spreads=BELIEVED)
    settings = knowing(
        Measurement.CORNERS, BuildErrors.CONSIDERED, late_frames=late, drop_older_than_s=0.045
    )
    both(made, settings)


@pytest.mark.parametrize("how", KNOWING)
def test_both_agree_on_a_robot_that_leans_and_has_a_gyro(how: BuildErrors) -> None:
    made = with_lean_and_gyro(make_run_of(SightingKind.CORNERS, seed=5, rows=21, spreads=BELIEVED))
    settings = knowing(Measurement.CORNERS, how)
    estimate = both(made, settings)
    level = fuse(
        made.recording,
        rig=replace(made.rig, body=make_rig().body),
        arena=made.arena,
        settings=settings,
    )
    assert np.abs(estimate.poses - level.poses).max() > 1e-4


@pytest.mark.parametrize("how", KNOWING)
@pytest.mark.parametrize("measurement", TAGS)
def test_without_spreads_nothing_is_left_but_the_plain_filter(
    measurement: Measurement, how: BuildErrors
) -> None:
    made = make_run_of(SightingKind.CORNERS, seed=6, rows=61)
    exact = settings_for(measurement, build_errors=how, believed=BuildSpreads())
    given = {"rig": made.rig, "arena": made.arena}
    estimate = fuse(made.recording, settings=exact, **given)
    plain = fuse(made.recording, settings=settings_for(measurement), **given)
    np.testing.assert_allclose(estimate.poses, plain.poses, atol=1e-8, rtol=0)
    np.testing.assert_allclose(estimate.covs, plain.covs, atol=1e-8, rtol=0)
    np.testing.assert_array_equal(estimate.innovations.outcome, plain.innovations.outcome)


def test_what_is_estimated_comes_out() -> None:
    """A build that is far off, seen without noise: mounts are found, each within its spread."""
    made = make_run_of(SightingKind.CORNERS, seed=8, rows=251, noise=0.02, spreads=BELIEVED)
    settings = knowing(Measurement.CORNERS, BuildErrors.ESTIMATED, gate_probability=None)
    estimate = fuse(made.recording, rig=made.rig, arena=made.arena, settings=settings)
    assert estimate.build is not None
    names = [one.label for one in estimate.build.members]
    assert "camera0: mount angle, pan" in names
    assert not any("slip" in name for name in names)
    truth = dict(zip(names, made.constants[made.constants != 0.0], strict=True))
    off = estimate.build.values - np.array(list(truth.values()))
    assert np.sqrt(np.mean((off / estimate.build.stds) ** 2)) < 1.5
    tilts = [name.endswith("mount angle, tilt") for name in names]
    assert (estimate.build.stds[tilts] < 0.5 * estimate.build.believed_stds[tilts]).all()
