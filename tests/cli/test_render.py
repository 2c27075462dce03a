"""``posefuse render``: a strip of the cameras' images, and movies that open again."""

from pathlib import Path

import cv2
import pytest
from PIL import Image

from posefuse.cli.main import _status, cli

ORCHARD = Path(__file__).parents[2] / "datasets" / "orchard"


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """Two seconds of the demo's courses, sightings from images."""
    text = (ORCHARD / "images.toml").read_text(encoding="utf-8")
    text = text.replace('"../../', f'"{ORCHARD.parents[1].as_posix()}/')
    for name in ("courses/", "rigs/", "filter.toml"):
        text = text.replace(f'"{name}', f'"{ORCHARD.as_posix()}/{name}')
    path = tmp_path / "study.toml"
    path.write_text(text.replace("course_duration_s = 30", "course_duration_s = 2"), "utf-8")
    return path


def _run(*arguments: str | Path) -> None:
    assert cli.main([str(a) for a in arguments], standalone_mode=False) in (None, 0)


def test_the_strip_alone(study: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    _run("render", study, "--plan", "two cameras", "--at", "0.5", "--at", "1.9", "--out", out)
    assert [path.name for path in out.iterdir()] == ["strip.png"]
    with Image.open(out / "strip.png") as image:
        assert image.format == "PNG"
        assert image.size[0] == 1275  # two cameras side by side
    shown = " ".join(capsys.readouterr().out.split())
    assert "tags in view (two cameras, easy, trial 0, seed 2026)." in shown


def test_an_mp4_of_corners_drawn(study: Path, tmp_path: Path) -> None:
    text = study.read_text("utf-8").replace('sightings = "images"', 'sightings = "corners"')
    study.write_text(text, "utf-8")
    out = tmp_path / "out"
    wanted = ("--movie", "drive.mp4", "--from", "1.4", "--for", "0.4")
    _run("render", study, "--course", "fast spins", *wanted, "--out", out)
    movie = cv2.VideoCapture(str(out / "drive.mp4"))
    assert movie.get(cv2.CAP_PROP_FRAME_COUNT) == 6  # 0.4 s at 15 Hz
    size = (movie.get(cv2.CAP_PROP_FRAME_WIDTH), movie.get(cv2.CAP_PROP_FRAME_HEIGHT))
    assert size == (1280, 720)


def test_a_gif_from_images_put_where_it_is_named(
    study: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, named = tmp_path / "out", tmp_path / "mine.gif"
    wanted = ("--movie", named, "--for", "0.3", "--plan", "two cameras")
    _run("render", study, *wanted, "--trial", "1", "--seed", "4", "--out", out)
    assert [path.name for path in out.iterdir()] == ["strip.png"]
    with Image.open(named) as movie:
        assert (movie.n_frames, movie.size) == (3, (960, 540))
    shown = capsys.readouterr()
    assert "frames to render and search" in shown.err
    assert "0 to 0.3 s of the course" in shown.out


@pytest.mark.parametrize(
    ("arguments", "shown"),
    [
        (["--plan", "three"], "plan: none is named 'three' (have: four corners, two cameras)"),
        (["--course", "hard"], "course: none is named 'hard' (have: easy, fast spins, bumps)"),
        (["--at", "2.5"], "--at: must be between 0 and 2 s, within the course 'easy' (got 2.5)"),
        (["--at", "nan"], "--at: must be between 0 and 2 s"),
        (["--movie", "drive.avi"], "drive.avi: a movie's name must end in .mp4 or .gif"),
        (["--movie", "a.gif", "--from", "9"], "--from: must be between 0 and 2 s"),
        (["--from", "1"], "--from: goes with --movie, which is not given"),
        (["--for", "1"], "--for: goes with --movie, which is not given"),
        (["--movie", "a.gif", "--for", "0"], "0.0 is not in the range x>0.0"),
        (["--movie", "TMP/none/a.gif"], "there is no folder"),
        (["--movie", "TMP/there.gif"], "there.gif: a file of that name exists"),
        (["--out", "TMP"], "the folder is not empty: name a new one"),
    ],
)
def test_bad_input_is_one_line_and_nothing_is_written(
    study: Path,
    tmp_path: Path,
    arguments: list[str],
    shown: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "there.gif").write_bytes(b"mine")
    words = [word.replace("TMP", str(tmp_path)) for word in arguments]
    if "--out" not in words:
        words += ["--out", str(tmp_path / "out")]
    assert _status(["render", str(study), *words]) == 2
    captured = capsys.readouterr()
    assert shown in " ".join(captured.err.split())
    assert captured.out == ""
    assert {path.name for path in tmp_path.iterdir()} == {"study.toml", "there.gif"}


def test_a_file_of_another_kind_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert _status(["render", str(ORCHARD / "robot.toml")]) == 2
    assert "expected a study file, got a robot file" in capsys.readouterr().err
