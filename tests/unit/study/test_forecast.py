"""The linear pass against the real filter, one constant at a time, and against closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from posefuse.build_errors.catalogue import BUILD_ERRORS
from posefuse.build_errors.constants import constants_of
from posefuse.build_errors.draw import as_drawn
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.errors import InputError
from posefuse.fusion.fuse import fuse
from posefuse.fusion.settings import (
    BuildErrors,
    FilterSettings,
    LateFrames,
    Measurement,
    NoiseKind,
    NoiseModel,
    ProcessNoise,
)
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.robot.drivetrain import Gyro
from posefuse.simulation.simulate import simulate_trial
from posefuse.study.attainable import attainable_covs
from posefuse.study.forecast import forecast
from posefuse.study.forecast_knowing import forecast_knowing
from posefuse.study.linear_run import linear_run
from posefuse.study.outlook import outlook_of
from posefuse.study.trial import plan_scene
from small_court import small_study

SPREADS = BuildSpreads.of(
    mount_angle_rad=0.004,
    mount_position_m=0.003,
    focal_fraction=0.002,
    centre_px=1.0,
    distortion_k1=0.002,
    clock_offset_s=0.003,
    tag_position_m=0.005,
    tag_heading_rad=0.01,
    tag_lean_rad=0.01,
    tag_scale_fraction=0.002,
    lean_rad=0.003,
    wheel_radius_fraction=0.01,
    slip_fraction=0.3,
)
POSES = FilterSettings(
    process=ProcessNoise(position_m_per_sqrt_m=0.02, heading_rad_per_sqrt_s=0.002),
    noise=NoiseModel(pixel_std_px=0.5, position_floor_m=0.02, heading_floor_rad=0.01),
    gate_probability=None,
)
CORNERS = replace(
    POSES,
    measurement=Measurement.CORNERS,
    noise=NoiseModel(kind=NoiseKind.FIXED, pixel_std_px=2.0),
)
CONSIDERED = replace(CORNERS, build_errors=BuildErrors.CONSIDERED, believed=SPREADS)
CONSIDERED_POSES = replace(POSES, build_errors=BuildErrors.CONSIDERED, believed=SPREADS)


def scene_of(*, noise_px: float = 0.2, **detector: float):
    """A study's scene with steered wheels, a gyro, latency, and a detector of these errors."""
    study = small_study(spreads=SPREADS)
    plan = study.plans[1]
    gyro = Gyro(bias_rad_per_s=0.002, scale_fraction=0.005, noise_rad_per_sqrt_s=1e-4)
    drivetrain = replace(
        plan.rig.drivetrain, slip_per_m_per_s2=0.01, travel_std_m_per_sqrt_m=0.005, gyro=gyro
    )
    mounts = tuple(
        replace(
            mount,
            camera=replace(
                mount.camera,
                detector=replace(mount.camera.detector, noise_px=noise_px, **detector),
            ),
        )
        for mount in plan.rig.mounts
    )
    rig = replace(plan.rig, drivetrain=drivetrain, mounts=mounts)
    return plan_scene(study, replace(plan, rig=rig), study.courses[0])


def rows_of(recording) -> np.ndarray:
    stamps = recording.odometry.stamps_s
    return np.searchsorted(stamps, recording.shots.stamps_s, side="right") - 1


def errors_of(scene, settings, *, trial: int = 0, as_built=None) -> np.ndarray:
    """Estimate less truth (shots, 3) of one trial by the real filter."""
    recording = simulate_trial(scene, seed=3, trial=trial, as_built=as_built).recording
    estimate = fuse(recording, rig=scene.rig, arena=scene.arena, settings=settings)
    rows = rows_of(recording)
    off = estimate.poses[rows] - recording.truth.poses[rows]
    off[:, 2] = wrap_angle_rad(off[:, 2])
    return off


def without_errors(scene):
    """Constants, and the build without errors."""
    return constants_of(scene.rig, scene.arena, SPREADS), as_drawn(scene.rig, scene.arena)


def forecast_of(scene, settings):
    constants, none = without_errors(scene)
    trial = simulate_trial(scene, seed=3, trial=0, as_built=none)
    run, rows = linear_run(trial, settings=settings, constants=constants), rows_of(trial.recording)
    if settings.build_errors is BuildErrors.IGNORED:
        return forecast(run, shot_rows=rows), run
    return forecast_knowing(trial, settings=settings, constants=constants, shot_rows=rows), run


@pytest.mark.parametrize(
    "settings",
    [POSES, CORNERS, CONSIDERED_POSES, CONSIDERED],
    ids=["poses", "corners", "considered poses", "considered corners"],
)
def test_sensitivities_are_those_of_the_real_filter(settings) -> None:
    """One constant at a time a little off, with the same noise: central differences of the filter.

    Every kind of build error is tried: one of its owners in turn, all of its axes.
    """
    scene = scene_of()
    (promised, _), (constants, none) = forecast_of(scene, settings), without_errors(scene)
    tried = set()
    for place, constant in enumerate(constants.members):
        kind = (constant.error.name, constant.axis)
        if kind in tried or constants.stds[place] == 0.0:
            continue
        if not np.abs(promised.sensitivities[:, :, place]).max() * constants.stds[place] > 2e-4:
            continue
        tried.add(kind)
        step = 0.2 * constants.stds[place]
        unit = np.eye(len(constants))[place]
        high, low = (
            errors_of(scene, settings, as_built=none.with_row(side * unit, constants))
            for side in (step, -step)
        )
        found = (high - low) / (2.0 * step)
        size = np.abs(promised.sensitivities[:, :, place]).max()
        np.testing.assert_allclose(
            promised.sensitivities[:, :, place], found, atol=0.06 * size, err_msg=constant.label
        )
    assert len({name for name, _ in tried}) >= 10


@pytest.mark.parametrize("settings", [POSES, CORNERS], ids=["poses", "corners"])
def test_bias_comes_back_in_every_trial(settings) -> None:
    """What the detector pulls inward, slip and lean do to the estimate, with hardly any noise."""
    scene = scene_of(noise_px=0.01, inward_px=0.3, shift_px=np.array([0.1, -0.2]))
    promised, _ = forecast_of(scene, settings)
    _constants, none = without_errors(scene)
    found = np.mean([errors_of(scene, settings, trial=k, as_built=none) for k in range(40)], axis=0)
    assert np.abs(promised.known[:, :2]).max() > 0.003
    scatter = np.sqrt(promised.white_covs[:, range(3), range(3)].max(axis=0) / 40.0)
    np.testing.assert_allclose(
        promised.known, found, atol=5.0 * scatter.max() + 0.08 * np.abs(promised.known).max()
    )


@pytest.mark.parametrize("settings", [POSES, CORNERS], ids=["poses", "corners"])
@pytest.mark.parametrize("persistent", [0.0, 0.8])
def test_noise_is_as_white_as_it_is(settings, persistent) -> None:
    """Spread over 200 trials of one build; the filter itself believes something else.

    So little noise that no lone tag is solved the wrong way round: that is not linear.
    """
    scene = scene_of(noise_px=0.1, persistent_fraction=persistent)
    promised, _ = forecast_of(scene, settings)
    _, none = without_errors(scene)
    off = np.array([errors_of(scene, settings, trial=k, as_built=none) for k in range(200)])
    found = np.sqrt((off - off.mean(axis=0)).var(axis=0).mean(axis=0))
    expected = np.sqrt(promised.white_covs[:, range(3), range(3)].mean(axis=0))
    np.testing.assert_allclose(found, expected, rtol=0.12)  # four standard errors


def test_beliefs_are_those_of_the_filter() -> None:
    scene = scene_of()
    for settings in (POSES, CORNERS, replace(POSES, late_frames=LateFrames.DROP)):
        promised, _ = forecast_of(scene, settings)
        _, none = without_errors(scene)
        recording = simulate_trial(scene, seed=3, trial=0, as_built=none).recording
        estimate = fuse(recording, rig=scene.rig, arena=scene.arena, settings=settings)
        stated = estimate.covs[rows_of(recording)]
        np.testing.assert_allclose(promised.believed_covs, stated, rtol=0.1, atol=1e-7)


def test_mean_squares_add_up() -> None:
    promised, _ = forecast_of(scene_of(inward_px=0.2), POSES)
    stds = promised.constants.stds
    by_hand = promised.white_covs + promised.known[:, :, None] * promised.known[:, None, :]
    for place, std in enumerate(stds):
        column = std * promised.sensitivities[:, :, place]
        by_hand = by_hand + column[:, :, None] * column[:, None, :]
    np.testing.assert_allclose(promised.covs(), by_hand, rtol=1e-12)
    np.testing.assert_allclose(
        promised.covs(0.0 * stds),
        promised.white_covs + promised.known[:, :, None] * promised.known[:, None, :],
    )


def test_attainable_is_the_joint_information_inverted() -> None:
    """Against the information of the whole path and all constants as one dense matrix (numpy)."""
    scene = scene_of()
    _, run = forecast_of(scene, CORNERS)
    rows = np.array([60, 150])
    covs = attainable_covs(run, shot_rows=rows)
    for row, cov in zip(rows, covs, strict=True):
        np.testing.assert_allclose(cov, dense_cov(run, int(row)), rtol=1e-4, atol=1e-12)


def dense_cov(run, row: int) -> np.ndarray:
    """Covariance of the pose at a row from all poses up to it and all constants, in one solve."""
    from posefuse.solving.linear import sighting_slopes

    constants, frames, views, steps = run.constants, run.frames, run.views, run.steps
    unknown = np.flatnonzero(constants.stds > 0.0)
    place_of = {int(place): 3 * (row + 1) + at for at, place in enumerate(unknown)}
    size = 3 * (row + 1) + len(unknown)
    total = np.zeros((size, size))
    total[:3, :3] += np.linalg.inv(run.start_cov)
    for place, at in place_of.items():
        total[at, at] += constants.stds[place] ** -2.0
    for k in range(1, row + 1):
        factor = np.zeros((3, size))
        factor[:, 3 * k : 3 * k + 3] = np.eye(3)
        motion = np.eye(3)
        motion[0, 2], motion[1, 2] = steps.levers[k]
        factor[:, 3 * k - 3 : 3 * k] = -motion
        for which in range(steps.slopes.shape[2]):
            place = constants.first_wheel + which
            if place in place_of:
                factor[:, place_of[place]] = -steps.slopes[k, :, which]
        noise = steps.true_covs[k] + 1e-12 * np.eye(3)
        total += factor.T @ np.linalg.solve(noise, factor)
    for f in np.flatnonzero((run.row <= row) & (run.arrival <= row)):
        seen = np.arange(frames.first[f], frames.first[f] + frames.tag_count[f])
        slopes, is_ahead = sighting_slopes(
            run.cameras,
            run.tags,
            camera=np.repeat(frames.eye[f], len(seen)),
            tag=views.tag[seen],
            poses=np.repeat(frames.pose[f][None], len(seen), axis=0),
            velocities=np.repeat(frames.velocity[f][None], len(seen), axis=0),
        )
        assert is_ahead.all()
        c, s = np.cos(frames.row_heading[f]), np.sin(frames.row_heading[f])
        dx, dy = frames.offset[f, :2]
        back = np.eye(3)
        back[0, 2], back[1, 2] = -(s * dx + c * dy), c * dx - s * dy
        for s_index, table in zip(seen, slopes, strict=True):
            factor = np.zeros((8, size))
            factor[:, 3 * run.row[f] : 3 * run.row[f] + 3] = table[:, :3] @ back
            tag = int(views.tag[s_index])
            places = [
                *(frames.eye[f] * 11 + np.arange(11)),
                *(constants.first_lean + np.arange(2)),
                *(constants.first_tag + 7 * tag + np.arange(7)),
            ]
            for place, column in zip(places, range(3, 23), strict=True):
                if place in place_of:
                    factor[:, place_of[place]] += table[:, column]
            shared, std = views.shared_fraction[s_index], views.std_px[s_index]
            axis_cov = std**2 * ((1.0 - shared) * np.eye(4) + shared)
            total += factor.T @ np.linalg.solve(np.kron(axis_cov, np.eye(2)), factor)
    return np.linalg.inv(total)[3 * row : 3 * row + 3, 3 * row : 3 * row + 3]


@pytest.mark.parametrize("start_std", [(0.03, 0.03, 0.0), (0.0, 0.0, 0.0)])
def test_a_start_may_be_exact(start_std) -> None:
    """Close to that of a start known to 10 um and 10 urad."""
    study = small_study(spreads=SPREADS)
    found = []
    for least in (0.0, 1e-5):
        std = np.maximum(start_std, least)
        scene = plan_scene(replace(study, start_std=std), study.plans[1], study.courses[0])
        outlook = outlook_of(scene, settings=POSES, seed=1)
        found.append((outlook.forecast_squares_m2, outlook.attainable_squares_m2))
    np.testing.assert_allclose(found[0], found[1], rtol=1e-3)


def test_no_forecast_beats_what_is_attainable() -> None:
    scene = scene_of()
    for settings in (POSES, CORNERS):
        _promised, run = forecast_of(scene, settings)
        rows = np.array([60, 150, 240])
        least = attainable_covs(run, shot_rows=rows)
        got = forecast(run, shot_rows=rows).covs()
        for one, other in zip(got, least, strict=True):
            assert np.linalg.eigvalsh(one - other).min() > -1e-9


def test_a_biased_sensor_read_n_times() -> None:
    """n readings with noise r of a robot at rest, of a sensor with a bias b that stays:
    the mean is off by b^2 + r / n (A. Gelb, Applied Optimal Estimation, 1974, ch. 7, from memory).
    """
    from posefuse.study.forecast import LinearStates, run_forecast
    from posefuse.study.linear_frames import FrameTerms, FusedFrames, LinearSteps, SeenTags

    count, noise, bias = 25, 0.04, 0.3
    eye = np.zeros(count, dtype=np.int64)
    wide = np.zeros((count, 3, 3))
    information, white = wide.copy(), wide.copy()
    information[:], white[:] = np.eye(3) / noise, np.eye(3) / noise
    of_own = np.zeros((count, 3, 13))
    of_own[:, 0, 0] = 1.0 / noise  # the first constant of the mount shifts x
    none = np.zeros(0, dtype=np.int64)
    frames = FusedFrames(
        eye=eye, first=eye, tag_count=eye, pose=wide[:, 0], velocity=wide[:, 0],
        tilted=np.zeros((count, 5)), lateness=wide[:, 0], offset=wide[:, 0],
        row_heading=np.zeros(count), pixel_var=np.ones(count), extra_var=np.zeros((count, 2)),
    )  # fmt: skip
    terms = FrameTerms(
        information=information, white=white, persistent=wide, repeats=np.zeros(count),
        known=wide[:, 0], of_own=of_own, of_tag=np.zeros((0, 3, 7)),
    )  # fmt: skip
    rows = 3
    steps = LinearSteps(
        levers=np.zeros((rows, 2)), believed_vars=np.zeros((rows, 2)),
        true_covs=np.zeros((rows, 3, 3)), slopes=np.zeros((rows, 3, 7)), known=np.zeros((rows, 3)),
    )  # fmt: skip
    floats = np.zeros(0)
    views = SeenTags(none, floats, floats, floats, floats, floats, floats, np.zeros((0, 2)))
    states = LinearStates.empty(2, constants=11 + 2 + 7, cameras=1)
    states.believed[1] = states.white[1] = 1e9 * np.eye(3)
    run_forecast(
        states, steps, frames, views, terms,
        (np.array([0, 0, count, count]), np.ones(count, dtype=np.int64)),
        (0, 11, 11),
        (np.array([2]), np.array([2])),
    )  # fmt: skip
    assert states.white[0, 0, 0] == pytest.approx(noise / count, rel=1e-6)
    assert states.sensitivity[0, 0, 0] == pytest.approx(1.0, rel=1e-6)
    total = states.white[0, 0, 0] + (bias * states.sensitivity[0, 0, 0]) ** 2
    assert total == pytest.approx(bias**2 + noise / count, rel=1e-6)
    assert len(BUILD_ERRORS) == 15


@pytest.mark.parametrize("how", [BuildErrors.CONSIDERED, BuildErrors.ESTIMATED])
def test_what_a_filter_that_knows_the_build_promises_is_what_it_states(how) -> None:
    """Parts add up to the covariance stated; no part is negative."""
    scene = scene_of()
    settings = replace(CORNERS, build_errors=how, believed=SPREADS)
    promised, _ = forecast_of(scene, settings)
    np.testing.assert_allclose(promised.covs(), promised.believed_covs, atol=1e-12)
    assert (np.linalg.eigvalsh(promised.white_covs) > 0.0).all()
    is_of_build = np.trace(promised.covs() - promised.white_covs, axis1=1, axis2=2)
    assert (is_of_build > 1e-6).all() == (how is BuildErrors.CONSIDERED)
    trial, (constants, _) = simulate_trial(scene, seed=3, trial=0), without_errors(scene)
    with pytest.raises(InputError, match="'ignored' has a forecast of its own"):
        forecast_knowing(trial, settings=CORNERS, constants=constants, shot_rows=np.array([3]))


@pytest.mark.parametrize(
    ("measurement", "most"), [(Measurement.CORNERS, 1.2), (Measurement.POSE, 1.5)]
)
def test_a_filter_that_estimates_comes_near_what_is_attainable(measurement, most) -> None:
    """White corner noise, the right spreads and process noise, over forty builds.

    A solved pose leaves height, roll and pitch of the robot free; corners know that it stands on
    the floor, as the attainable error does.
    """
    scene = scene_of(noise_px=0.5)
    scene = replace(scene, spreads=SPREADS.changed(slip_fraction=0.0))
    settings = replace(
        CORNERS,
        measurement=measurement,
        process=ProcessNoise(
            position_m_per_sqrt_m=0.004,
            position_m_per_sqrt_s=0.001,
            heading_rad_per_sqrt_rad=0.0,
            heading_rad_per_sqrt_s=1e-4,
        ),
        noise=NoiseModel(
            kind=NoiseKind.SOLVED if measurement is Measurement.POSE else NoiseKind.FIXED,
            pixel_std_px=0.5,
            position_floor_m=0.0,
            heading_floor_rad=0.0,
        ),
        build_errors=BuildErrors.ESTIMATED,
        believed=SPREADS,
    )
    off = np.array([errors_of(scene, settings, trial=trial) for trial in range(40)])
    outlook = outlook_of(scene, settings=settings, seed=3)
    toward = outlook.toward_goal
    squares = np.einsum("tki,ki->tk", off[:, :, :2], toward) ** 2
    assert np.sqrt(squares.mean()) < most * np.sqrt(outlook.attainable_squares_m2.mean())
