"""What enters the filter and how far it is trusted; what does not fit is refused."""

from dataclasses import replace

import numpy as np
import pytest

from fusion_runs import Made, make_run_of, read_only, settings_for
from posefuse.errors import InputError
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.fuse import fuse, prepare_filter
from posefuse.fusion.measurements import BeaconMeasurements, CornerMeasurements, PoseMeasurements
from posefuse.fusion.settings import Ambiguous, FilterSettings, Measurement, NoiseKind, NoiseModel
from posefuse.fusion.weighing import weigh_fixes
from posefuse.recording.recording import SightingKind, Sightings
from posefuse.solving.fixes import PoseFixes

FIXES = PoseFixes(
    frame=np.arange(4),
    first_sighting=np.array([0, 1, 2, 4]),
    tag_count=np.array([1, 1, 4, 1]),
    mean_distance_m=read_only(np.array([2.0, 3.0, 4.0, np.nan])),
    poses=np.zeros((4, 2, 3)),
    unit_covs=np.tile(np.diag([0.01, 0.02, 0.03]), (4, 2, 1, 1)),
    rms_px=np.array([[0.5, 0.9], [0.5, 1.1], [0.5, 0.6], [np.nan, np.nan]]),
    solution_count=np.array([2, 2, 2, 0]),
)
STATED = NoiseModel(
    position_std_m=0.1,
    heading_std_rad=0.2,
    position_std_m_per_m2=0.01,
    heading_std_rad_per_m2=0.02,
    position_floor_m=0.03,
    heading_floor_rad=0.04,
    pixel_std_px=2.0,
)


def prepared(made: Made, settings: FilterSettings) -> object:
    filter_input = prepare_filter(made.recording, rig=made.rig, arena=made.arena, settings=settings)
    return filter_input.measurements


def weighed(kind: NoiseKind, **changes: object) -> PoseMeasurements:
    return weigh_fixes(FIXES, FilterSettings(noise=replace(STATED, kind=kind), **changes))


def test_fixed_noise_of_poses() -> None:
    np.testing.assert_allclose(weighed(NoiseKind.FIXED).cov(1, 0), np.diag([0.01, 0.01, 0.04]))


def test_growing_noise_of_poses_falls_with_the_tags() -> None:
    cov = weighed(NoiseKind.GROWING).cov(2, 0)
    position, heading = (0.1 + 0.01 * 16.0) / 2.0, (0.2 + 0.02 * 16.0) / 2.0
    np.testing.assert_allclose(cov, np.diag([position**2, position**2, heading**2]))


def test_solved_noise_of_poses_has_floors() -> None:
    cov = weighed(NoiseKind.SOLVED).cov(0, 1)
    np.testing.assert_allclose(cov, np.diag([0.04 + 9e-4, 0.08 + 9e-4, 0.12 + 16e-4]))


@pytest.mark.parametrize(
    ("ambiguous", "offered", "outcome"),
    [
        (Ambiguous.BEST, [1, 1, 1, 0], [0, 0, 0, Outcome.NO_SOLUTION]),
        (Ambiguous.NEAREST, [2, 2, 2, 0], [0, 0, 0, Outcome.NO_SOLUTION]),
        (
            Ambiguous.SKIP,
            [1, 1, 1, 0],
            [Outcome.AMBIGUOUS, 0, Outcome.AMBIGUOUS, Outcome.NO_SOLUTION],
        ),
    ],
)
def test_a_frame_with_a_close_second_solution_is_ambiguous(
    ambiguous: Ambiguous, offered: list[int], outcome: list[int]
) -> None:
    measurements = weighed(NoiseKind.SOLVED, ambiguous=ambiguous, ambiguity_ratio=2.0)
    assert measurements.offered.tolist() == offered
    assert measurements.outcome.tolist() == outcome


def test_a_misfit_is_the_sum_of_squares_in_units_of_the_corners() -> None:
    misfits = weighed(NoiseKind.SOLVED).misfits
    np.testing.assert_allclose(misfits[2], 32.0 * np.array([0.5, 0.6]) ** 2 / 4.0)
    np.testing.assert_allclose(misfits[1], 8.0 * np.array([0.5, 1.1]) ** 2 / 4.0)


def test_a_second_solution_that_does_not_fit_is_not_offered() -> None:
    """8 residuals of 1.1 px with corners of 0.25 px: 155; of 0.9 px: 104, less the first's 32."""
    fixed = weigh_fixes(FIXES, FilterSettings(noise=replace(STATED, pixel_std_px=0.25)))
    assert fixed.offered.tolist() == [2, 1, 2, 0]


def test_many_frames_of_one_place_are_worth_few() -> None:
    """N values that correlate by r hold the information of N / (1 + (N - 1) r)."""
    noise = replace(STATED, kind=NoiseKind.SOLVED, persistent_fraction=0.25)
    repeats = np.array([1, 3, 1, 1, 7])
    fixes = replace(FIXES, tag_count=np.array([1, 1, 2, 1]))
    weighed_ = weigh_fixes(fixes, FilterSettings(noise=noise), repeats=repeats)
    plain = weighed(NoiseKind.SOLVED)
    growth = weighed_.pixel_vars_px2 / plain.pixel_vars_px2
    together = [count / (1.0 + (count - 1.0) * 0.25) for count in range(8)]
    shares = np.diff(together)
    # the third frame has two sightings of their first look
    np.testing.assert_allclose(1.0 / growth, [shares[0], shares[2], shares[0], shares[6]])
    np.testing.assert_allclose(weighed_.extra_vars, plain.extra_vars)


def test_corner_noise_grows_with_the_distance_by_the_tag_s_image() -> None:
    made = make_run_of(SightingKind.CORNERS, seed=1, rows=21, noise=0.0)
    noise = NoiseModel(kind=NoiseKind.GROWING, pixel_std_px=0.3, pixel_std_px_per_m=0.1)
    measurements = prepared(made, settings_for(Measurement.CORNERS, noise=noise))
    assert isinstance(measurements, CornerMeasurements)
    distances = (np.sqrt(measurements.vars_px2) - 0.3) / 0.1
    assert made.recording.truth is not None
    near = made.recording.truth.poses[0, :2]
    middles = np.array([tag.world_from_tag.translation_m[:2] for tag in made.arena.tags])
    expected = np.linalg.norm(middles[measurements.target] - near, axis=1)
    # the robot moves, the cameras stand off its middle, and slanting tags look smaller
    assert np.abs(distances / expected - 1.0).max() < 0.25
    assert np.abs(np.median(distances / expected) - 1.0) < 0.08


@pytest.mark.parametrize("measurement", [Measurement.RANGE, Measurement.RANGE_BEARING])
def test_range_noise_grows_with_the_range(measurement: Measurement) -> None:
    made = make_run_of(measurement.sighting_kind, seed=1, rows=21)
    noise = NoiseModel(kind=NoiseKind.GROWING, range_std_m=0.2, range_std_m_per_m=0.03)
    measurements = prepared(made, settings_for(measurement, noise=noise))
    assert isinstance(measurements, BeaconMeasurements)
    expected = (0.2 + 0.03 * made.recording.sightings.values[:, 0]) ** 2
    np.testing.assert_allclose(measurements.range_vars_m2, expected)
    assert (measurements.bearings_rad is None) == (measurement is Measurement.RANGE)


@pytest.mark.parametrize(
    ("kind", "wanted", "message"),
    [
        (SightingKind.RANGE, Measurement.POSE, r"holds range sightings, .* 'range' .*got 'pose'"),
        (SightingKind.CORNERS, Measurement.RANGE, r"'pose' or 'corners' can be fused"),
        (SightingKind.RANGE_BEARING, Measurement.RANGE, r"'range_bearing' can be fused"),
    ],
)
def test_another_kind_of_sighting_is_refused(
    kind: SightingKind, wanted: Measurement, message: str
) -> None:
    made = make_run_of(kind, seed=1, rows=11)
    with pytest.raises(InputError, match=message):
        prepared(made, settings_for(wanted))


@pytest.mark.parametrize("measurement", list(Measurement))
def test_an_unknown_tag_or_beacon_is_named(measurement: Measurement) -> None:
    made = make_run_of(measurement.sighting_kind, seed=1, rows=11)
    sightings = made.recording.sightings
    ids = sightings.id.copy()
    ids[3] = 99
    made = replace(
        made,
        recording=replace(
            made.recording,
            sightings=Sightings(
                kind=sightings.kind, frame=sightings.frame, id=ids, values=sightings.values
            ),
        ),
    )
    thing = "tag" if measurement.sighting_kind is SightingKind.CORNERS else "beacon"
    with pytest.raises(InputError, match=rf"{thing} id 99 is not in the arena \(it has: "):
        prepared(made, settings_for(measurement))


@pytest.mark.parametrize("measurement", [Measurement.CORNERS, Measurement.RANGE])
def test_a_sensor_that_the_rig_lacks_is_named(measurement: Measurement) -> None:
    made = make_run_of(measurement.sighting_kind, seed=1, rows=11)
    place = 0 if measurement is Measurement.CORNERS else len(made.rig.mounts)
    names = list(made.recording.sensor_names)
    names[place] = "elsewhere"
    made = replace(made, recording=replace(made.recording, sensor_names=tuple(names)))
    with pytest.raises(InputError, match="'elsewhere' cannot give"):
        prepared(made, settings_for(measurement))


def test_a_corner_that_the_lens_cannot_see_has_no_solution() -> None:
    made = make_run_of(SightingKind.CORNERS, seed=1, rows=21)
    settings = settings_for(Measurement.CORNERS)
    given = prepare_filter(made.recording, rig=made.rig, arena=made.arena, settings=settings)
    assert isinstance(given.measurements, CornerMeasurements)
    corners = given.measurements.corners.copy()
    corners[5, 2, 0] = np.nan
    spoiled = replace(given, measurements=replace(given.measurements, corners=corners))
    from posefuse.fusion.compiled_filter import filter_compiled
    from posefuse.fusion.reference_filter import filter_reference

    for estimate in (filter_compiled(spoiled), filter_reference(spoiled)):
        assert estimate.innovations.outcome[5] == Outcome.NO_SOLUTION
        assert np.isfinite(estimate.poses).all()


def test_a_run_without_sightings_is_dead_reckoned() -> None:
    for measurement in Measurement:
        made = make_run_of(measurement.sighting_kind, seed=1, rows=21)
        kind = measurement.sighting_kind
        none = Sightings(
            kind=kind,
            frame=np.zeros(0, dtype=np.int64),
            id=np.zeros(0, dtype=np.int64),
            values=np.zeros((0, kind.width)),
        )
        recording = replace(made.recording, sightings=none)
        estimate = fuse(
            recording, rig=made.rig, arena=made.arena, settings=settings_for(measurement)
        )
        assert len(estimate.innovations.nis) == 0
        assert (np.diff(estimate.covs[:, 0, 0]) >= 0.0).all()
