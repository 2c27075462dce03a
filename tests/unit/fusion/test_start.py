"""The first pose: stated, or from the tags during the standstill."""

from dataclasses import replace

import numpy as np
import pytest

from fusion_runs import PIXEL_STD_PX, Made, lone_tag_standstill, make_run_of, settings_for
from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.filter_input import FilterInput
from posefuse.fusion.fuse import fuse, prepare_filter
from posefuse.fusion.settings import (
    Ambiguous,
    FilterSettings,
    Measurement,
    NoiseKind,
    NoiseModel,
    StartFrom,
)
from posefuse.fusion.standstill import combine_fixes
from posefuse.fusion.start import standstill_end
from posefuse.fusion.two_answers import mean_views
from posefuse.fusion.weighing import solve_sightings, weigh_fixes
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.recording.recording import Odometry, SightingKind

STILL_ROWS = 26


@pytest.fixture(scope="module")
def made() -> Made:
    """Half a second of standing, then a drive; the start is not stated."""
    made = make_run_of(SightingKind.CORNERS, seed=11, rows=61, standstill_s=0.5)
    return replace(made, recording=replace(made.recording, start=None))


def prepared(made: Made, settings: FilterSettings) -> FilterInput:
    return prepare_filter(made.recording, rig=made.rig, arena=made.arena, settings=settings)


def from_tags(measurement: Measurement, **changes: object) -> FilterSettings:
    return settings_for(measurement, start_from=StartFrom.TAGS, **changes)


def test_a_start_that_is_not_stated_is_asked_for(made: Made) -> None:
    with pytest.raises(InputError, match=r"'made 11' states no start pose; .*start_from = 'tags'"):
        prepared(made, settings_for(Measurement.CORNERS))


def test_the_standstill_ends_where_the_robot_first_moves(made: Made) -> None:
    assert standstill_end(made.recording.odometry) == STILL_ROWS - 1
    never = Odometry(
        stamps_s=np.arange(5.0), twists=np.full((5, 3), 1e-3) * [[0], [1], [1], [1], [1]]
    )
    assert standstill_end(never) == 4


@pytest.mark.parametrize("measurement", [Measurement.POSE, Measurement.CORNERS])
@pytest.mark.parametrize("ambiguous", list(Ambiguous))
def test_it_comes_close_to_the_truth_whatever_the_solutions(
    made: Made, measurement: Measurement, ambiguous: Ambiguous
) -> None:
    start = prepared(made, from_tags(measurement, ambiguous=ambiguous)).start
    assert made.recording.truth is not None
    off = start.pose - made.recording.truth.poses[0]
    off[2] = wrap_angle_rad(off[2])
    assert np.hypot(*off[:2]) < 0.005
    assert abs(off[2]) < 0.005
    assert off @ np.linalg.inv(start.cov) @ off < 16.3  # 99.9% of chi-square with 3 dof
    assert start.row == STILL_ROWS - 1


def test_the_floors_do_not_average_out(made: Made) -> None:
    noise = NoiseModel(
        kind=NoiseKind.SOLVED,
        pixel_std_px=PIXEL_STD_PX,
        position_floor_m=0.04,
        heading_floor_rad=0.03,
    )
    cov = prepared(made, from_tags(Measurement.POSE, noise=noise)).start.cov
    assert (np.sqrt(np.diag(cov)) >= [0.04, 0.04, 0.03]).all()
    assert np.sqrt(cov[0, 0]) < 0.05


def test_more_frames_of_the_same_standstill_do_not_sharpen_it() -> None:
    made = make_run_of(SightingKind.CORNERS, seed=11, rows=81, standstill_s=1.5)
    settings = settings_for(Measurement.POSE)
    fixes = weigh_fixes(solve_sightings(made.recording, rig=made.rig, arena=made.arena), settings)
    spreads = []
    for count in (16, 160):
        taken = np.arange(count)
        sensor = made.recording.frames.sensor[fixes.frame[taken]]
        _, cov, is_used = combine_fixes(fixes, taken, sensor=sensor, noise=settings.noise)
        assert is_used.mean() > 0.9
        spreads.append(np.sqrt(np.diag(cov)))
    np.testing.assert_allclose(spreads[1], spreads[0], rtol=0.3)


def test_its_frames_are_not_used_twice(made: Made) -> None:
    settings = from_tags(Measurement.CORNERS)
    filter_input = prepared(made, settings)
    arrived = made.recording.frames.arrived_at_s
    start_s = filter_input.timeline.stamps_s[filter_input.start.row]
    assert not filter_input.start.spent[arrived > start_s].any()
    assert filter_input.start.spent.sum() > 40
    assert not filter_input.start.spent[filter_input.frame].any()
    estimate = fuse(made.recording, rig=made.rig, arena=made.arena, settings=settings)
    spent = filter_input.start.spent[estimate.innovations.frame]
    assert np.isnan(estimate.innovations.nis[spent]).all()
    assert (estimate.innovations.outcome[spent] == Outcome.FUSED).mean() > 0.9
    assert np.isfinite(estimate.innovations.nis[~spent]).any()


def test_the_standstill_s_rows_carry_the_start(made: Made) -> None:
    settings = from_tags(Measurement.CORNERS)
    start = prepared(made, settings).start
    estimate = fuse(made.recording, rig=made.rig, arena=made.arena, settings=settings)
    np.testing.assert_allclose(estimate.poses[: start.row], np.tile(start.pose, (start.row, 1)))
    np.testing.assert_allclose(estimate.covs[0], start.cov)


def test_a_wrong_solution_among_many_is_outvoted(made: Made) -> None:
    """A tag in the wrong place: its lone frames are refused."""
    arena = made.arena
    moved = replace(
        arena.tags[0],
        world_from_tag=type(arena.tags[0].world_from_tag).from_parts(
            arena.tags[0].world_from_tag.rotation,
            arena.tags[0].world_from_tag.translation_m + np.array([0.0, 0.8, 0.0]),
        ),
    )
    seen = np.unique(made.recording.sightings.id)
    assert arena.tags[0].id in seen or len(seen) > 3
    wrong = replace(made, arena=replace(arena, tags=(moved, *arena.tags[1:])))
    start = prepared(wrong, from_tags(Measurement.POSE)).start
    assert made.recording.truth is not None
    assert np.hypot(*(start.pose - made.recording.truth.poses[0])[:2]) < 0.05


def test_a_robot_that_moves_at_once_sees_no_tag_standing() -> None:
    made = make_run_of(SightingKind.CORNERS, seed=11, rows=21)
    with pytest.raises(InputError, match=r"no tag was seen while the robot stood still"):
        prepared(made, from_tags(Measurement.POSE))


SEEDS = range(12)


def lone_tag_settings(noise_px: float, ambiguous: Ambiguous = Ambiguous.NEAREST) -> FilterSettings:
    noise = NoiseModel(
        kind=NoiseKind.SOLVED,
        pixel_std_px=noise_px,
        position_floor_m=0.0,
        heading_floor_rad=0.0,
    )
    return from_tags(Measurement.POSE, noise=noise, ambiguous=ambiguous)


def off_truth(made: Made, settings: FilterSettings) -> FloatArray:
    """How far the start is off at its row, in standard deviations and in metres."""
    start = prepared(made, settings).start
    assert made.recording.truth is not None
    off = start.pose - made.recording.truth.poses[start.row]
    off[2] = wrap_angle_rad(off[2])
    return np.array([np.sqrt(off @ np.linalg.inv(start.cov) @ off), np.hypot(*off[:2])])


def test_noise_that_averages_out_tells_the_two_poses_of_a_lone_tag_apart() -> None:
    for seed in SEEDS:
        made = lone_tag_standstill(
            seed, distance_m=4.0, incidence_rad=np.radians(20.0), noise_px=0.15
        )
        first = solve_sightings(made.recording, rig=made.rig, arena=made.arena)
        assert (first.solution_count == 2).all()
        sigmas, metres = off_truth(made, lone_tag_settings(0.15))
        assert metres < 0.1
        assert sigmas < 4.0


def test_noise_that_stays_leaves_them_undecided_and_the_start_is_refused() -> None:
    message = (
        r"what was seen fits \(-?\d+\.\d\d m, -?\d+\.\d\d m, -?\d+\u00b0\) and \(.*\);"
        r" start where the robot sees two tags, .*state the start pose"
    )
    for seed in SEEDS:
        made = lone_tag_standstill(
            seed, distance_m=4.0, incidence_rad=np.radians(20.0), noise_px=0.3, persistent=True
        )
        with pytest.raises(InputError, match=message):
            prepared(made, lone_tag_settings(0.3))


def test_a_tag_seen_nearly_head_on_where_both_poses_merge_is_refused_too() -> None:
    """The solver knows one pose then, up to a metre off; noise that averages out is no matter."""
    merged = refused = 0
    for seed in range(20):
        seen = {"distance_m": 3.0, "incidence_rad": np.radians(5.0), "noise_px": 0.3}
        lasting = lone_tag_standstill(seed, **seen, persistent=True)
        fixes = solve_sightings(lasting.recording, rig=lasting.rig, arena=lasting.arena)
        merged += int(fixes.solution_count[0] == 1)
        try:
            metres = off_truth(lasting, lone_tag_settings(0.3))[1]
        except InputError:
            refused += 1
        else:
            assert metres < 0.3
    assert merged >= 3
    assert refused >= merged


def test_best_takes_the_better_fit_and_skip_refuses_what_is_ambiguous() -> None:
    """From frames that all err alike: the better fit is the wrong pose now and then."""
    is_right, is_refused = [], []
    for seed in SEEDS:
        made = lone_tag_standstill(
            seed, distance_m=6.0, incidence_rad=np.radians(15.0), noise_px=0.15, persistent=True
        )
        fixes = solve_sightings(made.recording, rig=made.rig, arena=made.arena)
        assert made.recording.truth is not None
        best_off = np.hypot(*(fixes.poses[0, 0] - made.recording.truth.poses[0])[:2])
        metres = off_truth(made, lone_tag_settings(0.15, Ambiguous.BEST))[1]
        assert metres == pytest.approx(best_off, abs=1e-3)
        is_right.append(metres < 0.5)
        if fixes.rms_px[0, 1] < 2.0 * fixes.rms_px[0, 0]:
            with pytest.raises(InputError, match=r"every view fits two poses and 'skip' leaves"):
                prepared(made, lone_tag_settings(0.15, Ambiguous.SKIP))
        is_refused.append(fixes.rms_px[0, 1] < 2.0 * fixes.rms_px[0, 0])
    assert 0 < sum(is_right) < len(SEEDS)
    assert 0 < sum(is_refused) < len(SEEDS)


@pytest.mark.parametrize("creep", [(0.0, 0.0), (0.045, 0.045)])
def test_mean_views_tell_noise_from_creeping(creep: tuple[float, float]) -> None:
    made = lone_tag_standstill(3, distance_m=2.5, incidence_rad=0.6, noise_px=0.3, creep=creep)
    views = mean_views(made.recording, frames=np.arange(5, 55))
    assert views.frame_counts.tolist() == [50]
    np.testing.assert_allclose(views.scatters_px2, 0.3**2, rtol=0.2)
    mean = made.recording.sightings.values[5:55].mean(axis=0)
    np.testing.assert_allclose(views.recording.sightings.values, mean[None])
    at_s = made.recording.frames.captured_at_s[5:55].mean()
    np.testing.assert_allclose(views.recording.frames.captured_at_s, at_s)


@pytest.mark.parametrize("creep", [(0.04, 0.04), (-0.045, 0.045), (0.0, 0.0)])
def test_a_creeping_robot_s_fixes_are_carried_on_by_the_odometry(
    creep: tuple[float, float],
) -> None:
    made = lone_tag_standstill(3, distance_m=2.5, incidence_rad=0.6, noise_px=0.3, creep=creep)
    sigmas, metres = off_truth(made, lone_tag_settings(0.3))
    assert prepared(made, lone_tag_settings(0.3)).start.row == 100
    assert sigmas < 4.0
    assert metres < 0.05


@pytest.mark.parametrize("measurement", [Measurement.RANGE, Measurement.RANGE_BEARING])
def test_beacons_cannot_give_a_start(measurement: Measurement) -> None:
    made = make_run_of(measurement.sighting_kind, seed=11, rows=21)
    with pytest.raises(
        InputError, match=rf"'{measurement.value}' does not have; allowed: 'stated'"
    ):
        prepared(made, from_tags(measurement))
