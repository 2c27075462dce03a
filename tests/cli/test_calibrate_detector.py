"""``posefuse calibrate detector``: from a camera file to a table, or one line saying why not."""

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from posefuse.cli.calibrate_detector import closing_text, left_out_text
from posefuse.cli.main import run
from posefuse.errors import InputError
from posefuse.robot.camera import CornerRefinement
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
    assert "or the .toml file beside it that says how it was measured" in error


@pytest.mark.parametrize(
    ("held", "refinement", "replaced"),
    [
        ('table = "nothing.csv"', "subpixel", "table there."),
        ("noise_px = 0.3", "subpixel", "numbers from noise_px to miss_rate."),
        (
            "noise_px = 0.3",
            "edges",
            'numbers from noise_px to miss_rate, and\nrefinement = "edges"',
        ),
        ('noise_px = 0.3\nrefinement = "edges"', "edges", "numbers from noise_px to miss_rate."),
    ],
)
def test_the_closing_says_what_to_write_where(
    tmp_path: Path, held: str, refinement: str, replaced: str
) -> None:
    camera = tmp_path / "cameras" / "eye.toml"
    camera.parent.mkdir()
    camera.write_text(f"[detector]\n{held}\n", encoding="utf-8")
    closing = closing_text(tmp_path / "out" / "eye.csv", camera, CornerRefinement(refinement))
    assert closing.endswith(
        f'under [detector],\ntable = "../out/eye.csv"\nin place of the {replaced}'
    )


def test_tags_left_out_are_counted() -> None:
    table = {"unfitted": np.array([0, 2, 1]), "found": np.array([10, 7, 0])}
    assert left_out_text(table).startswith("3 of 20 tags found are left out: no line fits one of")
    assert left_out_text({"unfitted": np.zeros(3), "found": np.array([10, 7, 0])}) == ""


@pytest.mark.parametrize(
    ("option", "held", "wanted"),
    [
        ((), "", "subpixel"),
        ((), 'refinement = "contour"', "contour"),
        (("--refinement", "edges"), 'refinement = "contour"', "edges"),
        *((("--refinement", one.value), "", one.value) for one in CornerRefinement),
    ],
)
def test_any_refinement_is_measured(
    tmp_path: Path,
    call: Call,
    monkeypatch: pytest.MonkeyPatch,
    option: tuple[str, ...],
    held: str,
    wanted: str,
) -> None:
    recipes = []

    def refuse(camera, recipe, **unused):
        recipes.append(recipe)
        raise InputError("measured enough")

    monkeypatch.setattr("posefuse.calibration.detector_response.measure_response", refuse)
    camera = with_table(tmp_path, "unused.csv")
    camera.write_text(camera.read_text(encoding="utf-8") + held, encoding="utf-8")
    status, _, error = call("calibrate", "detector", camera, *option, "--out", tmp_path / "new.csv")
    assert (status, error.splitlines()[-1]) == (2, "measured enough")
    assert [recipe.settings.refinement.value for recipe in recipes] == [wanted]


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
