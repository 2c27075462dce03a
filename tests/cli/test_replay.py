"""``posefuse replay``: with and without truth, shots and settings; what it refuses."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from posefuse.cli.main import cli
from posefuse.errors import FileError, InputError

RANGES_TOML = """\
name = "by hand"
measurement = "range"
gate_probability = 0.999
[process]
position_m_per_sqrt_m = 0.05
[noise]
kind = "fixed"
range_std_m = 0.1
"""
TURN_RAD_PER_S, RADIUS_M, STEP_S = 0.2, 3.0, 0.1
MIDDLE_M = np.array([6.0, 6.0])
BEACONS = {2: (0.0, 0.0), 5: (12.0, 1.0), 7: (5.0, 12.0)}


@pytest.fixture
def folder(tmp_path):
    """A robot that drives two rounds of a circle with a radio that ranges to three beacons."""
    inputs = tmp_path / "inputs"
    inputs.mkdir()
    (inputs / "rig.toml").write_text(
        'name = "mower"\nrobot = "robot.toml"\n'
        '[[ranger]]\nname = "radio"\nposition_m = [0, 0, 0]\n',
        encoding="utf-8",
    )
    robot = Path(__file__).parents[2] / "datasets/orchard/robot.toml"
    shutil.copyfile(robot, inputs / "robot.toml")
    beacons = "".join(
        f"[[beacon]]\nid = {ident}\nposition_m = [{x}, {y}, 0.0]\n"
        for ident, (x, y) in BEACONS.items()
    )
    goal = '[[goal]]\nname = "crate"\ncentre_m = [11, 6, 1.5]\nwidth_m = 1\nheight_m = 0.5\n'
    (inputs / "arena.toml").write_text(
        f'name = "yard"\nlength_m = 12.0\nwidth_m = 12.0\n{beacons}{goal}facing_deg = 180\n',
        encoding="utf-8",
    )
    folder = tmp_path / "run"
    folder.mkdir()
    write_run(folder)
    return folder


def write_run(folder):
    generator = np.random.default_rng(6)
    stamps_s = np.arange(0.0, 60.0, STEP_S)
    angle = TURN_RAD_PER_S * stamps_s
    xy_m = MIDDLE_M + RADIUS_M * np.column_stack([np.sin(angle), -np.cos(angle)])
    rows = [
        f"{t!r},{TURN_RAD_PER_S * RADIUS_M * STEP_S * (k > 0)!r},0.0,"
        f"{TURN_RAD_PER_S * STEP_S * (k > 0)!r}"
        for k, t in enumerate(stamps_s.tolist())
    ]
    (folder / "odometry.csv").write_text(
        "t_s,forward_m,left_m,turn_rad\n" + "\n".join(rows) + "\n", encoding="utf-8"
    )
    frames, sightings = ["frame,camera,captured_at_s,arrived_at_s"], ["frame,id,range_m"]
    for number, row in enumerate(range(2, len(stamps_s), 5)):
        t = stamps_s[row].item()
        frames.append(f"{number},radio,{t!r},{t + 0.02!r}")
        ident = list(BEACONS)[number % 3]
        true_m = np.hypot(*(xy_m[row] - BEACONS[ident]))
        sightings.append(f"{number},{ident},{(true_m + 0.1 * generator.normal()).item()!r}")
    (folder / "frames.csv").write_text("\n".join(frames) + "\n", encoding="utf-8")
    (folder / "sightings.csv").write_text("\n".join(sightings) + "\n", encoding="utf-8")
    truth = np.column_stack([stamps_s, xy_m, angle]).tolist()
    (folder / "truth.csv").write_text(
        "t_s,x_m,y_m,heading_rad\n" + "".join(",".join(map(repr, row)) + "\n" for row in truth),
        encoding="utf-8",
    )
    (folder / "shots.csv").write_text(
        "t_s,goal\n10.0,crate\n30.05,crate\n55.0,crate\n", encoding="utf-8"
    )
    (folder / "recording.toml").write_text(
        'name = "two rounds"\nrig = "../inputs/rig.toml"\narena = "../inputs/arena.toml"\n'
        'goal = "crate"\n[start]\nx_m = 6.0\ny_m = 3.0\nheading_deg = 0.0\n'
        "position_std_m = 0.1\nheading_std_deg = 2.0\n",
        encoding="utf-8",
    )


def replay(*arguments):
    return CliRunner().invoke(cli, ["replay", *map(str, arguments)])


def figures(out):
    results = json.loads((out / "results.json").read_text(encoding="utf-8"))
    return {(row["span"], row["figure"]): row["value"] for row in results["figures"]}


def degrees(out):
    """Degrees of freedom of the NEES written."""
    results = json.loads((out / "results.json").read_text(encoding="utf-8"))
    return {row["dof"] for row in results["figures"] if row["figure"] == "nees_mean"}


def test_a_recording_with_everything(folder, tmp_path):
    settings, out = tmp_path / "filter.toml", tmp_path / "out"
    settings.write_text(RANGES_TOML, encoding="utf-8")
    shown = replay(folder, "--settings", settings, "--out", out, "--unit", "mm")
    assert shown.exit_code == 0, shown.output
    assert "two rounds" in shown.output
    assert "mm" in shown.output
    assert "report.html" in shown.output
    names = {path.name for path in out.iterdir()}
    assert names == {"results.json", "scorecard.csv", "estimate.csv", "shots.csv", "report.html"}
    found = figures(out)
    assert 0.0 < found["course", "position_rms_m"] < 0.1
    assert found["shots", "instant_count"] == 3
    assert 0.0 < found["course", "nees_mean"] < 6.0
    assert found["run", "nis_count"] == 120


def test_defaults_need_no_settings_and_no_folder(folder, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shown = replay(folder)
    assert shown.exit_code == 0, shown.output
    (out,) = (tmp_path / "results").iterdir()
    assert figures(out)["course", "position_rms_m"] < 0.3


def test_neither_truth_nor_shots_nor_goal_are_needed(folder, tmp_path):
    (folder / "truth.csv").unlink()
    (folder / "shots.csv").unlink()
    toml = folder / "recording.toml"
    text = toml.read_text(encoding="utf-8").replace('goal = "crate"\n', "")
    toml.write_text(text, encoding="utf-8")
    shown = replay(folder, "--out", tmp_path / "out")
    assert shown.exit_code == 0, shown.output
    assert "no true path" in shown.output
    found = figures(tmp_path / "out")
    assert ("course", "position_rms_m") not in found
    assert found["run", "fused_count"] > 100
    assert not (tmp_path / "out" / "shots.csv").exists()


def test_a_truth_without_headings_scores_positions(folder, tmp_path):
    lines = (folder / "truth.csv").read_text(encoding="utf-8").splitlines()
    cut = "\n".join(line.rpartition(",")[0] for line in lines) + "\n"
    (folder / "truth.csv").write_text(cut, encoding="utf-8")
    assert replay(folder, "--out", tmp_path / "out").exit_code == 0
    found = figures(tmp_path / "out")
    assert degrees(tmp_path / "out") == {2}
    assert ("course", "heading_rms_rad") not in found


@pytest.mark.parametrize(
    ("name", "text", "error"),
    [("frames.csv", "", FileError), ("recording.toml", "name = 3\n", FileError)],
)
def test_a_spoilt_recording_leaves_no_results(folder, tmp_path, name, text, error):
    (folder / name).write_text(text, encoding="utf-8")
    shown = replay(folder, "--out", tmp_path / "out")
    assert isinstance(shown.exception, error)
    assert not (tmp_path / "out").exists()


def test_settings_that_do_not_fit_are_refused_in_words(folder, tmp_path):
    settings = tmp_path / "filter.toml"
    corners = RANGES_TOML.replace('"range"', '"corners"').replace("range_std_m", "pixel_std_px")
    settings.write_text(corners, encoding="utf-8")
    shown = replay(folder, "--settings", settings, "--out", tmp_path / "out")
    assert isinstance(shown.exception, InputError)
    assert "holds range sightings" in str(shown.exception)
    assert not (tmp_path / "out").exists()


def test_a_filled_folder_is_left_alone(folder):
    before = sorted(folder.iterdir())
    shown = replay(folder, "--out", folder)
    assert isinstance(shown.exception, FileError)
    assert sorted(folder.iterdir()) == before
