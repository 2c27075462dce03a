"""Filter settings from TOML: units, defaults, and one clear line for each fault."""

import math
from pathlib import Path

import pytest

from posefuse.errors import FileError, InputError
from posefuse.fusion.gates import chi_square_quantile, gate_of
from posefuse.fusion.load import load_settings, settings_from_table
from posefuse.fusion.schema import FilterTable
from posefuse.fusion.settings import (
    BuildErrors,
    FilterSettings,
    LateFrames,
    Measurement,
    NoiseKind,
    NoiseModel,
    StartFrom,
)

WHOLE = """
name = "mine"
measurement = "corners"
gate_probability = 0.99
late_frames = "drop"
history_ms = 250
drop_older_than_ms = 30
ambiguous = "skip"
ambiguity_ratio = 3.0
start_from = "tags"

[process]
position_m_per_sqrt_m = 0.03
heading_deg_per_sqrt_rad = 0.6

[noise]
kind = "growing"
pixel_std_px = 0.8
pixel_std_px_per_m = 0.2
position_floor_cm = 2.5
heading_floor_deg = 1.5
"""
LEAST = "[process]\n[noise]\nkind = 'solved'\npixel_std_px = 1.0\n"


def load(tmp_path: Path, text: str) -> FilterSettings:
    path = tmp_path / "filter.toml"
    path.write_text(text, encoding="utf-8")
    return load_settings(path)


def test_a_whole_file(tmp_path: Path) -> None:
    settings = load(tmp_path, WHOLE)
    assert settings.name == "mine"
    assert settings.measurement is Measurement.CORNERS
    assert settings.gate_probability == 0.99
    assert settings.late_frames is LateFrames.DROP
    assert settings.history_s == pytest.approx(0.25)
    assert settings.drop_older_than_s == pytest.approx(0.03)
    assert settings.start_from is StartFrom.TAGS
    assert settings.process.position_m_per_sqrt_m == 0.03
    assert settings.process.heading_rad_per_sqrt_rad == pytest.approx(math.radians(0.6))
    assert settings.noise.kind is NoiseKind.GROWING
    assert settings.noise.position_floor_m == pytest.approx(0.025)
    assert settings.noise.heading_floor_rad == pytest.approx(math.radians(1.5))


def test_what_is_left_out_keeps_its_default(tmp_path: Path) -> None:
    settings, default = load(tmp_path, LEAST), FilterSettings()
    assert settings.name == "filter"
    assert settings.process.position_m_per_sqrt_s == default.process.position_m_per_sqrt_s
    assert settings.process.heading_rad_per_sqrt_rad == pytest.approx(
        default.process.heading_rad_per_sqrt_rad
    )
    assert settings.history_s == default.history_s


def test_what_is_believed_of_the_build(tmp_path: Path) -> None:
    text = "build_errors = 'estimated'\n" + LEAST + "persistent_fraction = 0.4\n"
    settings = load(tmp_path, text + "[as_built]\nmount_angle_deg = 0.5\ntag_position_mm = 4\n")
    assert settings.build_errors is BuildErrors.ESTIMATED
    assert settings.noise.persistent_fraction == 0.4
    assert settings.believed is not None
    assert settings.believed["mount_angle_rad"] == pytest.approx(math.radians(0.5))
    assert settings.believed["tag_position_m"] == pytest.approx(0.004)
    assert settings.believed["focal_fraction"] == 0.0


def test_zero_switches_the_gate_off(tmp_path: Path) -> None:
    assert load(tmp_path, "gate_probability = 0\n" + LEAST).gate_probability is None


FAULTS = {
    "[noise]\nkind = 'fixed'\nposition_std_m = 0.1\nheading_std_deg = 2\n": (
        r"filter\.toml: \[process\] is missing: state how far"
    ),
    "[process]\n": r"filter\.toml: \[noise\] is missing: state how far",
    "[process]\n[noise]\nkind = 'fixed'\nposition_std_m = 0.1\n": (
        r"filter\.toml:2: noise: heading_std_deg is missing, .*'pose' with the kind 'fixed'"
    ),
    "[process]\n[noise]\nkind = 'solved'\npixel_std_px = -1.0\n": (
        r"filter\.toml:4: noise\.pixel_std_px: must be greater than 0 \(got -1\.0\)"
    ),
    "[process]\nposition_m_per_sqrt_m = -0.1\n[noise]\nkind = 'solved'\npixel_std_px = 1.0\n": (
        r"filter\.toml:2: process\.position_m_per_sqrt_m: must be .*0 \(got -0\.1\)"
    ),
    "measurement = 'corners'\n" + LEAST: (
        r"filter\.toml:3: noise: .*'solved' needs the measurement 'pose'; 'corners' allows"
    ),
    "measurement = 'range_bearing'\n[process]\n[noise]\nkind = 'fixed'\nrange_std_m = 0.5\n": (
        r"filter\.toml:3: noise: bearing_std_deg is missing"
    ),
    "gate_probability = 0.2\n" + LEAST: r"filter\.toml:1: gate_probability: must be 0 .*got 0\.2",
    "gate_probability = 1.0\n" + LEAST: r"filter\.toml:1: gate_probability: must be 0 .*got 1\)",
    "measurment = 'pose'\n" + LEAST: r"filter\.toml:1: measurment: .*'measurement'",
    "late_frames = 'reply'\n" + LEAST: r"filter\.toml:1: late_frames: must be one of 'reinsert'",
    "history_s = 0\n" + LEAST: r"filter\.toml:1: history_s: must be greater than 0",
    "build_errors = 'considered'\n" + LEAST: (
        r"filter\.toml:1: build_errors: .*'considered' needs the table \[as_built\] of the filter"
    ),
    "build_errors = 'known'\n" + LEAST: r"filter\.toml:1: build_errors: must be one of 'ignored'",
    "measurement = 'range'\nbuild_errors = 'estimated'\n[process]\n[as_built]\nlean_deg = 0.1\n"
    "[noise]\nkind = 'fixed'\nrange_std_m = 1": (
        r"filter\.toml:2: build_errors: .*'pose' or 'corners'; 'range' allows 'ignored'"
    ),
    LEAST + "[as_built]\nmount_angel_deg = 1\n": (
        r"filter\.toml:6: as_built\.mount_angel_deg: .*'mount_angle_deg'"
    ),
    LEAST + "persistent_fraction = 1.5\n": r"filter\.toml:5: noise\.persistent_fraction: must be",
    LEAST.replace("1.0", "nan"): r"filter\.toml:4: noise\.pixel_std_px: must be",
}


@pytest.mark.parametrize("text", FAULTS, ids=range(len(FAULTS)))
def test_a_fault_is_reported_in_one_line(tmp_path: Path, text: str) -> None:
    with pytest.raises(FileError, match=FAULTS[text]) as refused:
        load(tmp_path, text)
    assert "\n" not in str(refused.value)


def test_a_table_of_a_study_is_checked_alike() -> None:
    with pytest.raises(InputError, match=r"\[process\] is missing"):
        settings_from_table(FilterTable())
    table = FilterTable.model_validate(
        {"process": {}, "noise": {"kind": "solved", "pixel_std_px": 1}}
    )
    assert settings_from_table(table).noise.pixel_std_px == 1.0


def test_settings_built_by_hand_obey_the_same_rules() -> None:
    with pytest.raises(InputError, match="'corners' allows 'fixed' and 'growing'"):
        FilterSettings(measurement=Measurement.CORNERS)
    with pytest.raises(InputError, match=r"gate_probability: must be between 0\.5 and 1"):
        FilterSettings(gate_probability=0.1)
    noise = NoiseModel(kind=NoiseKind.FIXED, persistent_fraction=0.5)
    with pytest.raises(InputError, match=r"persistent_fraction needs .*got 'range'"):
        FilterSettings(measurement=Measurement.RANGE, noise=noise)


@pytest.mark.parametrize(
    ("dof", "five", "one"),
    [(1, 3.84, 6.63), (2, 5.99, 9.21), (3, 7.81, 11.3), (6, 12.6, 16.8), (8, 15.5, 20.1)],
)
def test_chi_square_points(dof: int, five: float, one: float) -> None:
    """Baron, Probability and Statistics for Computer Scientists, table A6: three digits."""
    assert chi_square_quantile(0.95, dof) == pytest.approx(five, rel=5e-3)
    assert chi_square_quantile(0.99, dof) == pytest.approx(one, rel=5e-3)
    assert gate_of(0.95, dof) == chi_square_quantile(0.95, dof)
    assert gate_of(None, dof) == math.inf
