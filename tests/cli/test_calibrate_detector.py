"""``posefuse calibrate detector``: from a camera file to a table, or one line saying why not."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from posefuse.cli.main import run
from posefuse.robot.file import load_camera

ROOT = Path(__file__).parents[2]
WIDE = ROOT / "datasets" / "orchard" / "cameras" / "wide_mono.toml"

Call = Callable[..., tuple[int, str, str]]


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Call:
    def called(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["posefuse", *map(str, arguments)])
        with pytest.raises(SystemExit) as left:
            run()
        told = capsys.readouterr()
        return int(left.value.code or 0), told.out, told.err

    return called


def test_a_coarse_table_that_the_camera_file_may_name(tmp_path: Path, call: Call) -> None:
    out = tmp_path / "detector" / "wide.csv"
    status, told, _ = call(
        "calibrate", "detector", WIDE, "--coarse", "--tags", 10, "--workers", 1, "--out", out
    )
    assert status == 0
    assert "tags found" in told
    assert f"Written to {out}" in told.replace("\n", "")
    assert (tmp_path / "detector" / "wide.toml").is_file()
    text = WIDE.read_text(encoding="utf-8")
    head, tail = text[: text.index("[detector]")], text[text.index("least_edge_px") :]
    camera = tmp_path / "camera.toml"
    camera.write_text(f'{head}[detector]\ntable = "detector/wide.csv"\n{tail}', encoding="utf-8")
    assert load_camera(camera).detector.measured is not None
    status, told, _ = call("check", camera)
    assert status == 0
    assert "detector measured on tags of 10 to 90 px" in told


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((ROOT / "fieldlayouts" / "orchard_court.toml",), "a layout file, where a camera file is"),
        ((WIDE, "--family", "9h9"), "family: must be one of 36h11, "),
        ((WIDE, "--out", "table.txt"), "table.txt: a table's name must end in .csv"),
        (("nowhere.toml",), "nowhere.toml"),
    ],
)
def test_what_is_refused(arguments: tuple[object, ...], told: str, call: Call) -> None:
    status, _, error = call("calibrate", "detector", *arguments)
    assert status == 2
    assert told in error
    assert error.count("\n") == 1
