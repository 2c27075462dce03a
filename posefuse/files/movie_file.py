"""Pictures one after the other as a movie file that can be shared."""

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import chain
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from posefuse.errors import FileError, InputError
from posefuse.files.result_folder import refuse_present

__all__ = ["MOVIE_SUFFIXES", "check_movie_path", "check_movie_suffix", "write_movie"]

MOVIE_SUFFIXES = (".mp4", ".gif")
_CODES = ("avc1", "mp4v")
"""H.264, which everything plays and few builds of OpenCV write; MPEG-4 part 2, which all write."""
_QUIET = {"OPENCV_FFMPEG_LOGLEVEL": "-8"}
"""Keeps the search for an encoder from filling the terminal."""

Picture = NDArray[np.uint8]


def check_movie_suffix(path: Path) -> None:
    """Raises when the name's ending is not that of a movie format that can be written."""
    if path.suffix.lower() not in MOVIE_SUFFIXES:
        allowed = " or ".join(MOVIE_SUFFIXES)
        raise FileError(path, f"a movie's name must end in {allowed} (got {path.suffix!r})")


def check_movie_path(path: Path) -> None:
    """Raises when a movie cannot be written there: wrong suffix, no folder, or taken."""
    check_movie_suffix(path)
    refuse_present(path)
    if not path.parent.is_dir():
        raise FileError(path, f"there is no folder {str(path.parent)!r}")


def write_movie(path: Path, pictures: Iterable[Picture], *, frames_per_s: float) -> None:
    """Writes pictures (h, w, 3), red, green, blue, all of one size, as ``.mp4`` or ``.gif``.

    An MP4 needs even sides. A GIF counts time in hundredths of a second, and its colours are the
    256 that serve the first picture best.
    """
    check_movie_path(path)
    rest = iter(pictures)
    first = next(rest, None)
    if first is None:
        raise InputError("pictures: a movie needs one or more (got none)")
    write = _write_gif if path.suffix.lower() == ".gif" else _write_mp4
    write(path, first, rest, frames_per_s)


def _write_mp4(path: Path, first: Picture, rest: Iterator[Picture], frames_per_s: float) -> None:
    import cv2

    height, width = first.shape[:2]
    with _quiet():
        for code in _CODES:
            fourcc = cv2.VideoWriter.fourcc(*code)
            writer = cv2.VideoWriter(str(path), fourcc, frames_per_s, (width, height))
            if writer.isOpened():
                break
        else:
            raise FileError(path, "OpenCV cannot write it here: it has no encoder; try a .gif")
    try:
        for picture in chain([first], rest):
            writer.write(np.ascontiguousarray(picture[:, :, ::-1]))
    finally:
        writer.release()


@contextmanager
def _quiet() -> Iterator[None]:
    """Within it OpenCV and its movie writers keep silent."""
    import cv2

    before = {name: os.environ.get(name) for name in _QUIET}
    level = cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    os.environ.update(_QUIET)
    try:
        yield
    finally:
        cv2.utils.logging.setLogLevel(level)
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _write_gif(path: Path, first: Picture, rest: Iterator[Picture], frames_per_s: float) -> None:
    from PIL import Image

    palette = Image.fromarray(first).quantize(256, method=Image.Quantize.MAXCOVERAGE)

    def reduced(picture: Picture) -> Image.Image:
        image = Image.fromarray(picture)
        return image.quantize(palette=palette, dither=Image.Dither.NONE)

    palette.save(
        path,
        save_all=True,
        append_images=(reduced(picture) for picture in rest),
        duration=round(100.0 / frames_per_s) * 10,
        loop=0,
        optimize=False,
        disposal=1,
    )
