"""``posefuse calibrate lens``: from picture files to a camera file, or one line saying why not."""

import sys
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from posefuse.cli.main import run
from posefuse.robot.camera import Lens
from posefuse.robot.load import load_camera
from rendered_board import CHARUCO, known_camera, random_lens, render, varied_poses

ROOT = Path(__file__).parents[2]
WIDE = ROOT / "datasets" / "orchard" / "cameras" / "wide_mono_law.toml"
BOARD = """name = "charuco"
squares_across = 8
squares_down = 5
square_mm = 34
marker_mm = 24
family = "4x4_50"
"""
LENS = random_lens(np.random.default_rng(41))

Call = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def shots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of 12 pictures with the board and one without."""
    folder = tmp_path_factory.mktemp("shots")
    rng = np.random.default_rng(42)
    camera = known_camera(LENS)
    pictures = [
        render(camera, CHARUCO, pose, rng=rng)
        for pose in varied_poses(camera, CHARUCO, count=12, rng=rng)
    ]
    pictures.append(np.full_like(pictures[0], 90))
    for index, picture in enumerate(pictures):
        cv2.imwrite(str(folder / f"{index:02d}.png"), picture)
    return folder


@pytest.fixture
def board_file(tmp_path: Path) -> Path:
    path = tmp_path / "board.toml"
    path.write_text(BOARD, encoding="utf-8")
    return path


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Call:
    def called(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["posefuse", "calibrate", "lens", *map(str, arguments)])
        with pytest.raises(SystemExit) as caught:
            run()
        captured = capsys.readouterr()
        return int(caught.value.code or 0), captured.out, captured.err.removesuffix("\n")

    return called


def _assert_near(found: Lens, true: Lens) -> None:
    np.testing.assert_allclose(found.focal_px, true.focal_px, rtol=0.002)
    np.testing.assert_allclose(found.centre_px, true.centre_px, atol=1.0)


def test_pictures_to_a_camera_file(call: Call, shots: Path, board_file: Path) -> None:
    base = board_file.with_name("base.toml")
    text = WIDE.read_text(encoding="utf-8").replace("1280", "640").replace("800", "400")
    base.write_text(text, encoding="utf-8")
    out = board_file.parent / "cameras" / "front.toml"
    status, output, _ = call(shots, "--board", board_file, "--camera", base, "--out", out)
    assert status == 0
    camera = load_camera(out)
    _assert_near(camera.lens, LENS)
    assert (camera.name, camera.timing) == (load_camera(base).name, load_camera(base).timing)
    assert out.with_suffix(".png").read_bytes().startswith(b"\x89PNG")
    assert "12 of 13 pictures show the board. Its corners lie 0.0" in output
    assert "Not used, no marker of the family 4x4_50 is seen: 12.png" in output
    assert f"Written to {out}; {out.with_suffix('.png')} shows where the board was seen." in output
    assert "fill them in" not in output
    for name in ("fx (px)", "cy (px)", "k3"):
        assert name in output


def test_a_new_file_and_fewer_terms(call: Call, shots: Path, board_file: Path) -> None:
    out = board_file.parent / "new.toml"
    pictures = sorted(shots.glob("0*.png")) + sorted(shots.glob("1[01].png"))
    status, output, _ = call(*pictures, "--board", board_file, "--distortion", 4, "--out", out)
    assert status == 0
    assert "[timing] and [detector]: fill them in" in output
    assert "k3" not in output
    assert "# k3" not in out.read_text(encoding="utf-8")
    assert "Not used" not in output


def test_nothing_is_overwritten(call: Call, shots: Path, board_file: Path) -> None:
    out = board_file.parent / "new.toml"
    for taken in (out, out.with_suffix(".png")):
        taken.write_text("mine", encoding="utf-8")
        status, _, err = call(shots, "--board", board_file, "--out", out)
        assert (status, err) == (2, f"{taken}: a file of that name exists: name a new one")
        assert taken.read_text(encoding="utf-8") == "mine"
        taken.unlink()


def test_too_few_pictures(call: Call, shots: Path, board_file: Path) -> None:
    out = board_file.parent / "new.toml"
    status, output, err = call(
        *sorted(shots.glob("0[0-3].png")), "--board", board_file, "--out", out
    )
    assert (status, output) == (2, "")
    assert err.startswith(
        "take more pictures: 10 different views of the board are needed, there are 4"
    )
    assert not out.exists()


def test_the_wrong_board(call: Call, shots: Path, board_file: Path) -> None:
    board_file.write_text(BOARD.replace("= 8", "= 6"), encoding="utf-8")
    status, output, err = call(*sorted(shots.glob("0[0-2].png")), "--board", board_file)
    assert (status, output) == (2, "")
    assert err.split("\n") == [
        "the board was found in none of 3 pictures: is the board file the right one?",
        "markers of the family 4x4_50 are seen, but not as they lie on a board of 6 x 5 squares: "
        "00.png, 01.png, 02.png",
    ]


def test_faulty_files(call: Call, shots: Path, board_file: Path) -> None:
    text = board_file.with_name("text.png")
    text.write_text("no picture", encoding="utf-8")
    small = board_file.with_name("small.png")
    cv2.imwrite(str(small), np.zeros((40, 60), dtype=np.uint8))
    blank = shots / "12.png"
    status, _, err = call(blank, blank, shots / "00.png", text, small, "--board", board_file)
    assert (status, err.split("\n")) == (
        2,
        [
            f"{text}: not a picture that OpenCV can read, or cut off",
            f"{small}: all pictures must have one size, 640 x 400 px as most have (got 60 x 40)",
        ],
    )
    missing = board_file.with_name("no.toml")
    assert call(blank, "--board", missing)[::2] == (2, f"{missing}: no such file")
    assert call(blank, "--board", board_file, "--camera", missing)[::2] == (
        2,
        f"{missing}: no such file",
    )
    board_file.write_text(BOARD.replace("34", "-34"), encoding="utf-8")
    status, _, err = call(blank, "--board", board_file)
    assert (status, err) == (2, f"{board_file}:4: square_mm: must be greater than 0 m (got -34)")


@pytest.mark.parametrize("arguments", [[], ["a.png", "--print", "b.pdf"]])
def test_pictures_or_print(call: Call, board_file: Path, arguments: list[str]) -> None:
    status, _, err = call(*arguments, "--board", board_file)
    assert status == 2
    assert err.endswith("name pictures to measure with, or --print PDF: one of the two")


def test_printing_the_board(call: Call, board_file: Path) -> None:
    pdf = board_file.with_name("board.pdf")
    status, output, _ = call("--board", board_file, "--print", pdf, "--paper", "a3")
    assert status == 0
    assert output == (
        f"Written to {pdf}: a3, 420 x 297 mm. Print it at 100 % (actual size); its bar must then "
        "measure 100 mm.\n"
    )
    assert pdf.read_bytes().startswith(b"%PDF-")
    status, _, err = call("--board", board_file, "--print", pdf)
    assert (status, err) == (2, f"{pdf}: a file of that name exists: name a new one")
    board_file.write_text(BOARD.replace("34", "40"), encoding="utf-8")
    status, _, err = call("--board", board_file, "--print", pdf.with_name("b.pdf"))
    assert status == 2
    assert err.endswith("use tabloid, or make the squares smaller")
    assert not pdf.with_name("b.pdf").exists()
