"""Picture files: good ones, turned ones, and what is none."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from posefuse.calibration.images import image_paths, read_grey
from posefuse.calibration.views import survey_images
from posefuse.errors import FileError
from rendered_board import CHARUCO

GREY = np.arange(48, dtype=np.uint8).reshape(6, 8) * 5


def _write(path: Path, picture: np.ndarray) -> Path:
    path.write_bytes(cv2.imencode(path.suffix, picture)[1].tobytes())
    return path


def test_grey_levels_come_back(tmp_path: Path) -> None:
    path = _write(tmp_path / "Zürich ä.png", GREY)
    assert (read_grey(path) == GREY).all()


def test_a_turn_wished_by_the_file_is_not_made(tmp_path: Path) -> None:
    """Exif 2.3, tag 0x0112: 6 asks a viewer to turn the picture by 90 degrees."""
    jpeg = _write(tmp_path / "a.jpg", GREY).read_bytes()
    tiff = b"II*\0\x08\0\0\0" + b"\x01\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0" + b"\0\0\0\0"
    payload = b"Exif\0\0" + tiff
    marker = b"\xff\xe1" + (len(payload) + 2).to_bytes(2, "big") + payload
    turned = tmp_path / "turned.jpg"
    turned.write_bytes(jpeg[:2] + marker + jpeg[2:])
    assert cv2.imread(str(turned), cv2.IMREAD_GRAYSCALE).shape == (8, 6)
    assert read_grey(turned).shape == (6, 8)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (None, "no such file"),
        (b"", "the file is empty"),
        (b"hello", "not a picture that OpenCV can read, or cut off"),
        (
            cv2.imencode(".png", GREY)[1].tobytes()[:60],
            "not a picture that OpenCV can read, or cut off",
        ),
    ],
)
def test_what_is_no_picture(
    tmp_path: Path, content: bytes | None, message: str, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.png"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(FileError) as caught:
        read_grey(path)
    assert str(caught.value) == f"{path}: {message}"
    assert capfd.readouterr().err == ""


def test_a_folder_stands_for_its_pictures(tmp_path: Path) -> None:
    for name in ("b.png", "a.JPG", "notes.txt"):
        (tmp_path / name).write_bytes(b"x")
    assert image_paths([tmp_path, tmp_path / "b.png"]) == [tmp_path / "a.JPG", tmp_path / "b.png"]
    (tmp_path / "empty").mkdir()
    with pytest.raises(FileError, match=r"the folder holds no picture \(png, jpg"):
        image_paths([tmp_path / "empty"])


def test_every_faulty_picture_is_reported(tmp_path: Path) -> None:
    good = [_write(tmp_path / f"{index}.png", GREY) for index in range(3)]
    small = _write(tmp_path / "small.png", GREY[:4])
    missing = tmp_path / "no.png"
    done = []
    with pytest.raises(FileError) as caught:
        survey_images(
            [*good, small, missing], CHARUCO, on_progress=lambda one, of: done.append((one, of))
        )
    assert str(caught.value).split("\n") == [
        f"{missing}: no such file",
        f"{small}: all pictures must have one size, 8 x 6 px as most have (got 8 x 4)",
    ]
    assert done == [(index, 5) for index in range(1, 6)]
