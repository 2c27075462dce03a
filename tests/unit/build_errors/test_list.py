"""The list of build errors, its constants in a row, and its draws."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import posefuse as pf
from posefuse.build_errors.catalogue import BUILD_ERRORS, Owner, errors_of
from posefuse.build_errors.constants import constants_of
from posefuse.build_errors.draw import draw_as_built
from posefuse.build_errors.schema import AsBuiltTable
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.errors import FileError, InputError
from posefuse.files.toml_file import load_toml
from posefuse.robot.drivetrain import Gyro
from small_court import small_arena, small_rig

ARENA, RIG = small_arena(), small_rig("front", "left", "right")
OF_STUDY = [error for error in BUILD_ERRORS if not error.is_of_robot_file]
EVERYTHING = BuildSpreads(values={error.name: 0.01 for error in BUILD_ERRORS})


def with_gyro(**spreads: float):
    drivetrain = replace(RIG.drivetrain, gyro=Gyro(**spreads))
    return replace(RIG, drivetrain=drivetrain)


def test_names_are_unique_and_bear_their_unit() -> None:
    names = [error.name for error in BUILD_ERRORS]
    assert len(set(names)) == len(names) == 15
    units = ("_rad", "_m", "_fraction", "_px", "_s", "_k1")
    assert all(name.endswith(units) for name in names)
    assert len({error.stream for error in BUILD_ERRORS}) == len(names)


def test_constants_stand_by_owner_and_as_the_build_says_them() -> None:
    constants = constants_of(RIG, ARENA, EVERYTHING)
    assert len(constants) == 3 * 11 + 7 * len(ARENA.tags) + 2 + len(RIG.drivetrain.wheels) + 3
    assert constants.members[0].label == "front: mount angle, pan"
    assert (
        constants.members[constants.first_tag].label == f"tag {ARENA.tags[0].id}: tag position, x"
    )
    assert constants.members[constants.first_lean + 1].label == "robot: chassis lean, pitch"
    assert constants.members[constants.first_wheel].label == "wheel 1: wheel radius"
    assert [one.error.name for one in constants.members[-3:]] == [
        "slip_fraction",
        "gyro_bias_rad_per_s",
        "gyro_scale_fraction",
    ]
    built = draw_as_built(EVERYTHING, rig=RIG, arena=ARENA, seed=1, trial=0)
    row = built.row(constants)
    for error in BUILD_ERRORS:
        np.testing.assert_array_equal(row[constants.places(error.name)], built[error.name].ravel())
    np.testing.assert_array_equal(row[constants.first_wheel :], built.odometry)
    moved = built.with_row(2.0 * row, constants)
    np.testing.assert_array_equal(moved["tag_lean_rad"], 2.0 * built["tag_lean_rad"])
    with pytest.raises(InputError, match="the build has"):
        built.row(constants_of(small_rig("front"), ARENA, EVERYTHING))


def test_each_owner_draws_for_itself() -> None:
    one, fewer = (
        draw_as_built(EVERYTHING, rig=small_rig(*mounts), arena=ARENA, seed=4, trial=2)
        for mounts in (("front", "left", "right"), ("right", "front"))
    )
    for error in errors_of(Owner.MOUNT):
        np.testing.assert_array_equal(one[error.name][[2, 0]], fewer[error.name])
    arena = replace(ARENA, tags=ARENA.tags[2:])
    other = draw_as_built(EVERYTHING, rig=RIG, arena=arena, seed=4, trial=2)
    for error in errors_of(Owner.TAG):
        np.testing.assert_array_equal(one[error.name][2:], other[error.name])


@pytest.mark.parametrize("error", OF_STUDY, ids=lambda error: error.name)
def test_draws_spread_as_stated_about_zero(error) -> None:
    spreads = BuildSpreads.of(**{error.name: 0.3})
    drawn = np.array(
        [
            draw_as_built(spreads, rig=RIG, arena=ARENA, seed=1, trial=trial)[error.name]
            for trial in range(300)
        ]
    )
    count = drawn.size
    assert abs(drawn.mean()) < 4.0 * 0.3 / np.sqrt(count)
    assert drawn.std() == pytest.approx(0.3, rel=4.0 / np.sqrt(2.0 * count))
    others = draw_as_built(spreads, rig=RIG, arena=ARENA, seed=1, trial=0)
    assert not any(others[other.name].any() for other in BUILD_ERRORS if other is not error)


def test_the_gyros_spreads_stand_in_the_robots_file() -> None:
    rig = with_gyro(bias_rad_per_s=0.02, scale_fraction=0.003)
    constants = constants_of(rig, ARENA, BuildSpreads())
    np.testing.assert_array_equal(constants.stds[-2:], [0.02, 0.003])
    assert not constants.stds[:-2].any()
    built = draw_as_built(BuildSpreads(), rig=rig, arena=ARENA, seed=1, trial=0)
    assert built["gyro_bias_rad_per_s"].all()
    assert built["gyro_scale_fraction"].all()
    assert not draw_as_built(EVERYTHING, rig=RIG, arena=ARENA, seed=1, trial=0).odometry[-2:].any()


def test_spreads_scale_and_refuse_what_is_none() -> None:
    assert EVERYTHING.scaled(3.0)["lean_rad"] == pytest.approx(0.03)
    assert EVERYTHING.changed(lean_rad=0.5)["lean_rad"] == 0.5
    with pytest.raises(InputError, match="'rust' is no build error"):
        BuildSpreads.of(rust=1.0)
    with pytest.raises(InputError, match="as_built: lean_rad: must be 0 or more"):
        BuildSpreads.of(lean_rad=-1.0)


@pytest.mark.parametrize("error", OF_STUDY, ids=lambda error: error.name)
def test_every_error_has_its_key_in_files(tmp_path: Path, error) -> None:
    path = tmp_path / "as_built.toml"
    path.write_text(f"{error.key} = 0.5\n", encoding="utf-8")
    spreads = load_toml(path, AsBuiltTable).spreads
    expected = np.radians(0.5) if error.key.endswith("_deg") else 0.5
    assert spreads[error.name] == pytest.approx(expected)
    assert sum(value > 0.0 for value in spreads.values.values()) == 1
    path.write_text(f"{error.key} = -0.5\n", encoding="utf-8")
    with pytest.raises(FileError, match=rf"as_built\.toml:1: {error.key}: "):
        load_toml(path, AsBuiltTable)


def test_the_demo_states_its_build() -> None:
    study = pf.load_study(Path(__file__).parents[3] / "datasets" / "orchard" / "study.toml")
    assert study.spreads["mount_angle_rad"] > 0.0
