"""``posefuse simulate`` and back: a written and re-read recording replays to the same bits."""

from pathlib import Path

import numpy as np
import pytest

import posefuse as pf
from posefuse.cli.main import cli
from posefuse.errors import FileError, InputError

ROOT = Path(__file__).parents[2]
STUDY = ROOT / "datasets" / "orchard" / "study.toml"


def _run(*arguments: str | Path) -> None:
    assert cli.main([str(a) for a in arguments], standalone_mode=False) in (None, 0)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("simulated") / "recordings"
    _run(
        "simulate",
        STUDY,
        "--plan",
        "two cameras",
        "--course",
        "easy",
        "--trials",
        "2",
        "--out",
        out,
    )
    return out


def test_a_folder_for_each_trial(written: Path) -> None:
    names = sorted(path.name for path in written.iterdir())
    assert names == ["two_cameras-easy-trial_0", "two_cameras-easy-trial_1"]


def test_a_written_recording_replays_to_the_same_bits(written: Path) -> None:
    study = pf.load_study(STUDY)
    plan = study.plan("two cameras")
    scene = pf.prepare_scene(
        arena=study.arena,
        rig=plan.rig,
        course=study.course("easy"),
        spreads=study.spreads,
        start_std=study.start_std,
    )
    recording = pf.simulate(scene, seed=study.seed, trial=1)
    stored = pf.read_recording(written / "two_cameras-easy-trial_1")
    ours, theirs = (
        pf.fuse(r, rig=rig, arena=arena, settings=plan.settings)
        for r, rig, arena in (
            (recording, plan.rig, study.arena),
            (stored.recording, stored.rig, stored.arena),
        )
    )
    np.testing.assert_array_equal(ours.poses, theirs.poses)
    np.testing.assert_array_equal(ours.covs, theirs.covs)
    np.testing.assert_array_equal(ours.innovations.nis, theirs.innovations.nis)


def test_the_command_replays_it(written: Path, tmp_path: Path, capsys) -> None:
    settings = STUDY.parent / "filter.toml"
    out = tmp_path / "replayed"
    _run("replay", written / "two_cameras-easy-trial_0", "--settings", settings, "--out", out)
    assert {"estimate.csv", "report.html", "results.json"} <= {p.name for p in out.iterdir()}
    assert "two cameras" in capsys.readouterr().out


def test_a_plans_own_camera_goes_along(tmp_path: Path) -> None:
    one = ("--plan", "OpenCV's sub-pixel", "--course", "easy")
    _run("simulate", STUDY.parent / "refinements.toml", *one, "--out", tmp_path)
    (folder,) = tmp_path.iterdir()
    stored = pf.read_recording(folder)
    assert {mount.camera.name for mount in stored.rig.mounts} == {"wide mono"}
    assert stored.camera_path == folder / "inputs/datasets/orchard/cameras/wide_mono.toml"


def test_an_unknown_plan_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"plan: none is named 'four' \(have: four sides, level"):
        _run("simulate", STUDY, "--plan", "four", "--out", tmp_path / "x")
    assert not (tmp_path / "x").exists()


def test_a_filled_folder_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(FileError, match="the folder is not empty: name a new one"):
        _run("simulate", STUDY, "--out", tmp_path)
    assert (tmp_path / "mine.txt").read_text(encoding="utf-8") == "mine"
