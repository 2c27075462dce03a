"""Movies that other readers open again: OpenCV's and Pillow's."""

from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from posefuse.errors import FileError, InputError
from posefuse.files.movie_file import check_movie_path, write_movie

COUNT, HEIGHT, WIDTH = 12, 90, 160


def pictures() -> Iterator[np.ndarray]:
    """A red square that goes right."""
    for place in range(COUNT):
        picture = np.full((HEIGHT, WIDTH, 3), 240, dtype=np.uint8)
        picture[30:60, 10 * place : 10 * place + 30] = (200, 30, 30)
        yield picture


def test_an_mp4_opens_again(tmp_path: Path) -> None:
    path = tmp_path / "drive.mp4"
    write_movie(path, pictures(), frames_per_s=15.0)
    movie = cv2.VideoCapture(str(path))
    frames = []
    while (read := movie.read())[0]:
        frames.append(read[1][:, :, ::-1])
    assert movie.get(cv2.CAP_PROP_FPS) == pytest.approx(15.0)
    assert len(frames) == COUNT
    for frame, picture in zip(frames, pictures(), strict=True):
        assert frame.shape == picture.shape
        assert np.abs(frame.astype(int) - picture).mean() < 6.0


def test_a_gif_opens_again(tmp_path: Path) -> None:
    path = tmp_path / "drive.GIF"
    write_movie(path, pictures(), frames_per_s=10.0)
    with Image.open(path) as movie:
        assert (movie.n_frames, movie.size) == (COUNT, (WIDTH, HEIGHT))
        assert movie.info["duration"] == 100
        assert movie.info["loop"] == 0
        for place, picture in enumerate(pictures()):
            movie.seek(place)
            np.testing.assert_allclose(np.asarray(movie.convert("RGB")), picture, atol=8)


@pytest.mark.parametrize("name", ["drive.avi", "drive", "drive.mp4.txt"])
def test_other_kinds_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(FileError, match=r"must end in \.mp4 or \.gif \(got '"):
        write_movie(tmp_path / name, pictures(), frames_per_s=10.0)
    assert not list(tmp_path.iterdir())


def test_nothing_is_replaced_and_no_folder_invented(tmp_path: Path) -> None:
    there = tmp_path / "there.gif"
    there.write_bytes(b"mine")
    with pytest.raises(FileError, match=r"there\.gif: a file of that name exists"):
        check_movie_path(there)
    assert there.read_bytes() == b"mine"
    with pytest.raises(FileError, match="there is no folder"):
        check_movie_path(tmp_path / "none" / "drive.mp4")


def test_no_pictures_are_reported(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a movie needs one or more"):
        write_movie(tmp_path / "drive.gif", iter(()), frames_per_s=10.0)
