"""``posefuse calibrate detector``: from a camera file to a table, or one line saying why not."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from posefuse.cli.calibrate_detector import closing_text
from posefuse.cli.main import run
from posefuse.robot.load import load_camera

ROOT = Path(__file__).parents[2]
WIDE = ROOT / "datasets" / "orchard" / "cameras" / "wide_mono.toml"

Call = Callable[..., tuple[int, str, str]]


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Call:
    def called(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["posefuse", *map(str, arguments)])
        with pytest.raises(SystemExit) as left:
            run()
        captured = capsys.readouterr()
        return int(left.value.code or 0), captured.out, captured.err

    return called


def with_table(folder: Path, table: str) -> Path:
    """The demo camera with a table, which lies elsewhere, in place of what it holds."""
    text = WIDE.read_text(encoding="utf-8")
    camera = folder / "camera.toml"
    head = text[: text.index("[detector]")]
    camera.write_text(f'{head}[detector]\ntable = "{table}"\n', encoding="utf-8")
    return camera


def test_a_coarse_table_that_the_camera_file_may_name(tmp_path: Path, call: Call) -> None:
    out = tmp_path / "detector" / "wide.csv"
    status, output, _ = call(
        "calibrate", "detector", WIDE, "--coarse", "--tags", 10, "--workers", 1, "--out", out
    )
    assert status == 0
    assert "edge   found   in narrow  std   found   in narrow  std" in output
    assert output.count("%") == 3 * 7  # three views of seven sizes
    assert f"Written: {out}; what its columns mean and how it was made: " in output
    assert out.with_suffix(".toml").is_file()
    camera = with_table(tmp_path, "detector/wide.csv")
    assert load_camera(camera).detector.measured is not None
    status, output, _ = call("check", camera)
    assert status == 0
    assert "detector measured on tags of 10 to 90 px" in output
    status, output, _ = call("check", out.with_suffix(".toml"))
    assert status == 0
    assert "detector response of 'wide mono': wide.csv, 84 rows" in output
    status, _, error = call("check", out)
    assert status == 2
    assert "or the .toml file beside it that tells how it was measured" in error


@pytest.mark.parametrize(
    ("held", "replaced"),
    [
        ('table = "nothing.csv"', "table there."),
        ("noise_px = 0.3", "numbers from noise_px to miss_rate."),
    ],
)
def test_the_closing_says_what_to_write_where(tmp_path: Path, held: str, replaced: str) -> None:
    camera = tmp_path / "cameras" / "eye.toml"
    camera.parent.mkdir()
    camera.write_text(f"[detector]\n{held}\n", encoding="utf-8")
    assert closing_text(tmp_path / "out" / "eye.csv", camera).endswith(
        f'under [detector],\ntable = "../out/eye.csv"\nin place of the {replaced}'
    )


@pytest.mark.parametrize("name", ["there.csv", "there.toml"])
def test_nothing_is_written_over(tmp_path: Path, call: Call, name: str) -> None:
    (tmp_path / name).write_text("mine", encoding="utf-8")
    status, _, error = call("calibrate", "detector", WIDE, "--out", tmp_path / "there.csv")
    assert status == 2
    assert error == f"{tmp_path / name}: a file of that name exists: name a new one\n"
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text(encoding="utf-8") == "mine"


def test_a_tag_that_does_not_fit_into_the_image(tmp_path: Path, call: Call) -> None:
    camera = with_table(tmp_path, "unused.csv")
    text = camera.read_text(encoding="utf-8")
    small = text.replace("width_px = 1280", "width_px = 64").replace(
        "height_px = 800", "height_px = 48"
    )
    camera.write_text(small, encoding="utf-8")
    out = tmp_path / "out.csv"
    status, _, error = call("calibrate", "detector", camera, "--coarse", "--out", out)
    assert status == 2
    assert error.lstrip("\n") == (  # rich before 14.3 ends an empty bar with a line
        "edge_px: a tag of 90 px, seen at 0 deg, does not fit into the image of 64 x 48 px\n"
    )
    assert not out.exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            (ROOT / "fieldlayouts" / "orchard_court.toml",),
            "expected a camera file, got an arena file",
        ),
        ((WIDE, "--family", "9h9"), "family: must be one of 36h11, "),
        ((WIDE, "--out", "table.txt"), "table.txt: a table's name must end in .csv"),
        (("nowhere.toml",), "nowhere.toml"),
    ],
)
def test_what_is_refused(arguments: tuple[object, ...], message: str, call: Call) -> None:
    status, _, error = call("calibrate", "detector", *arguments)
    assert status == 2
    assert message in error
    assert error.count("\n") == 1
