"""Studies whose sightings come from rendered images, on the command line."""

import json
from pathlib import Path

import pytest

import posefuse as pf
from posefuse.cli.main import cli
from posefuse.errors import FileError

ORCHARD = Path(__file__).parents[2] / "datasets" / "orchard"
SOURCE = (ORCHARD / "images.toml").read_text(encoding="utf-8")


def study_file(folder: Path, *changes: tuple[str, str]) -> Path:
    """The demo's study of images with some text changed, in a folder of its own."""
    text = SOURCE.replace('"../../', f'"{ORCHARD.parents[1].as_posix()}/')
    for name in ("courses/", "rigs/", "filter.toml"):
        text = text.replace(f'"{name}', f'"{ORCHARD.as_posix()}/{name}')
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "study.toml"
    path.write_text(text, encoding="utf-8")
    return path


def short(folder: Path) -> Path:
    return study_file(folder, ("course_duration_s = 30", "course_duration_s = 0.5"))


def _run(*arguments: str | Path) -> None:
    assert cli.main([str(a) for a in arguments], standalone_mode=False) in (None, 0)


def test_compare_runs_from_images(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    _run("compare", short(tmp_path), "--trials", "1", "--out", out)
    shown = capsys.readouterr()
    assert "four corners" in shown.out
    # 6 cameras at 30 Hz for half a second on each of three courses
    assert "270 frames to render" in shown.err
    results = json.loads((out / "results.json").read_text(encoding="utf-8"))
    assert results["sightings"] == "images"
    assert [plan["cameras"] for plan in results["plans"]] == [["wide mono, edges"]] * 2
    assert "in rendered images" in (out / "report.html").read_text(encoding="utf-8")


def test_a_recording_from_images_replays(tmp_path: Path) -> None:
    out = tmp_path / "recordings"
    one = ("--plan", "two cameras", "--course", "easy")
    _run("simulate", short(tmp_path), *one, "--out", out)
    _run("replay", out / "two_cameras-easy-trial_0", "--out", tmp_path / "replayed")
    assert (tmp_path / "replayed" / "report.html").exists()
    drawn = tmp_path / "drawn"
    _run("simulate", short(tmp_path), *one, "--sightings", "corners", "--out", drawn)
    in_images, from_response = (
        (folder / "two_cameras-easy-trial_0" / "sightings.csv").read_text(encoding="utf-8")
        for folder in (out, drawn)
    )
    assert in_images != from_response


def test_check_shows_source_and_length(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _run("check", short(tmp_path))
    shown = capsys.readouterr().out
    assert "sightings from images" in shown
    assert "easy (0.5 s)" in shown


@pytest.mark.parametrize(
    ("old", "new", "shown"),
    [
        (
            '"images"',
            '"video"',
            r":11: sightings: must be one of 'corners', 'images' \(got 'video'\)",
        ),
        ("_s = 30", "_s = 0", r":10: course_duration_s: must be greater than 0 \(got 0\)"),
        ("_s = 30", "_cm = 30", r":10: course_duration_cm: "),
    ],
)
def test_bad_values(tmp_path: Path, old: str, new: str, shown: str) -> None:
    path = study_file(tmp_path, (f"{old} ", f"{new} "))
    with pytest.raises(FileError, match=shown):
        pf.load_study(path)
