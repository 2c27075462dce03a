"""Other noise for a filter: keys and numbers as they stand in its file, found by trials."""

import math
from dataclasses import replace
from types import SimpleNamespace

import pytest

from posefuse.build_errors.spreads import BuildSpreads
from posefuse.errors import InputError
from posefuse.fusion.settings import (
    BuildErrors,
    FilterSettings,
    Measurement,
    NoiseKind,
    NoiseModel,
)
from posefuse.simulation.scene import SightingSource
from posefuse.statistics.intervals import Interval
from posefuse.study import retuning as module
from posefuse.study.compare import compare
from posefuse.study.retuning import KeyChange, belief_changes, retuned, scaled
from small_court import small_study

FLOORS = NoiseModel(position_floor_m=0.02, heading_floor_rad=math.radians(0.5))


def test_spreads_are_scaled_in_the_units_of_the_file_and_rounded() -> None:
    settings, changes = scaled(FilterSettings(noise=FLOORS), 6.666)
    assert changes == (
        KeyChange(key="position_floor_m", old_noise=0.02, new_noise=0.13),
        KeyChange(key="heading_floor_deg", old_noise=pytest.approx(0.5), new_noise=3.3),
    )
    assert settings.noise.position_floor_m == 0.13
    assert settings.noise.heading_floor_rad == pytest.approx(math.radians(3.3))
    assert settings.noise.pixel_std_px == FLOORS.pixel_std_px


def test_without_floors_the_corners_are_trusted_less() -> None:
    bare = replace(FLOORS, position_floor_m=0.0, heading_floor_rad=0.0, pixel_std_px=0.5)
    _, (change,) = scaled(FilterSettings(noise=bare), 3.0)
    assert change == KeyChange(key="pixel_std_px", old_noise=0.5, new_noise=1.5)


@pytest.mark.parametrize("measurement", list(Measurement))
@pytest.mark.parametrize("kind", list(NoiseKind))
def test_every_noise_model_has_keys_that_count(measurement, kind) -> None:
    try:
        settings = FilterSettings(measurement=measurement, noise=NoiseModel(kind=kind))
    except InputError:
        return  # refused: it needs no retuning
    changed, changes = scaled(settings, 2.0)
    assert changed.noise != settings.noise
    for change in changes:
        assert change.new_noise == pytest.approx(2.0 * change.old_noise, rel=0.05)


def test_spreads_of_the_build_that_are_believed_otherwise_are_named() -> None:
    built = BuildSpreads.of(mount_angle_rad=math.radians(0.5), tag_position_m=0.005)
    believed = built.changed(mount_angle_rad=math.radians(0.2), focal_fraction=0.003)
    given = FilterSettings(
        measurement=Measurement.CORNERS,
        noise=NoiseModel(kind=NoiseKind.FIXED),
        build_errors=BuildErrors.CONSIDERED,
        believed=believed,
    )
    assert belief_changes(given, built) == (
        KeyChange(
            key="mount_angle_deg", old_noise=pytest.approx(0.2), new_noise=pytest.approx(0.5)
        ),
        KeyChange(key="focal_fraction", old_noise=0.003, new_noise=0.0),
    )
    assert belief_changes(replace(given, believed=built), built) == ()
    # slip is felt by no filter; the gyro's spreads stand in the robot's file
    others = built.changed(slip_fraction=0.1, gyro_bias_rad_per_s=0.1)
    assert belief_changes(replace(given, believed=built), others) == ()
    ignoring = replace(given, build_errors=BuildErrors.IGNORED)
    assert belief_changes(ignoring, built) == ()


def nees(value: float) -> Interval:
    return Interval(value=value, low=0.8 * value, high=1.3 * value)


def with_nees(comparison, law, monkeypatch):
    """``retuned`` where a filter whose floors are ``x`` times as high has a NEES of ``law(x)``."""
    (plan,) = comparison.study.plans
    tried = []

    def fake(study, *, trials, seed, workers):
        assert (trials, seed, workers) == (comparison.trials, comparison.seed, 1)
        factor = study.plans[0].settings.noise.position_floor_m / FLOORS.position_floor_m
        tried.append(factor)
        row = replace(comparison.ranking[0], nees_mean=nees(law(factor)))
        return SimpleNamespace(ranking=(row,))

    row = replace(comparison.ranking[0], nees_mean=nees(law(1.0)))
    monkeypatch.setattr(module, "compare", fake)
    monkeypatch.setattr(module, "rank_plans", lambda study, trials: (row,))
    return retuned(comparison, plan, workers=1), tried


@pytest.fixture(scope="module")
def comparison():
    study = small_study()
    plan = replace(study.plans[0], settings=FilterSettings(noise=FLOORS))
    return compare(replace(study, plans=(plan,)), workers=1)


@pytest.mark.parametrize("start", [0.2, 1.0, 20.9, 300.0])
def test_it_finds_the_floors_that_bring_nees_to_three(start, comparison, monkeypatch) -> None:
    found, tried = with_nees(comparison, lambda x: start * x**-1.15 + 0.05, monkeypatch)
    assert found.nees_after == nees(found.nees_after.value)
    assert found.nees_after.value == pytest.approx(3.0, rel=0.15)
    assert found.nees_before.value == pytest.approx(start + 0.05)
    assert found.changes[0].new_noise == pytest.approx(0.02 * tried[-1])
    assert len(tried) <= 5
    assert found.trials == comparison.trials


def test_it_says_what_comes_nearest_where_nothing_does(comparison, monkeypatch) -> None:
    found, tried = with_nees(comparison, lambda x: 9.0 + 20.0 / x, monkeypatch)
    assert found.nees_after.value == min(9.0 + 20.0 / x for x in tried)
    assert max(tried) == pytest.approx(64.0, rel=0.05)


def test_what_it_says_is_what_trials_give(comparison) -> None:
    """The whole of it, on the small court: the stated figures are those of a study so changed."""
    (plan,) = comparison.study.plans
    found = retuned(comparison, plan, workers=1)
    assert found.nees_before == comparison.ranking[0].nees_mean
    assert found.distance_rms_before_m == comparison.ranking[0].distance_rms_m.value
    floors = {change.key: change.new_noise for change in found.changes}
    noise = replace(
        plan.settings.noise,
        position_floor_m=floors["position_floor_m"],
        heading_floor_rad=math.radians(floors["heading_floor_deg"]),
    )
    changed = replace(plan, settings=replace(plan.settings, noise=noise))
    (row,) = compare(replace(comparison.study, plans=(changed,)), workers=1).ranking
    assert found.nees_after == row.nees_mean
    assert found.distance_rms_after_m == row.distance_rms_m.value
    assert abs(math.log(found.nees_after.value / 3.0)) <= abs(
        math.log(found.nees_before.value / 3.0)
    )


def test_rendered_studies_are_tried_with_drawn_corners(comparison, monkeypatch) -> None:
    study = replace(comparison.study, sightings=SightingSource.IMAGES)
    rendered = replace(comparison, study=study)
    found, tried = with_nees(rendered, lambda x: 12.0 / x, monkeypatch)
    assert tried[0] == 1.0  # the figures before are drawn corners' too
    assert found.nees_before.value == 12.0
