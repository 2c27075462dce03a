"""Pictures from files: their paths and their grey levels."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from posefuse.errors import FileError

__all__ = ["GreyImage", "image_paths", "read_grey"]

GreyImage: TypeAlias = NDArray[np.uint8]

_ENDINGS = (".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".pgm", ".webp")


def image_paths(named: Iterable[Path]) -> list[Path]:
    """The picture files, each once: a folder stands for the pictures in it, ordered by name.

    Raises
    ------
    FileError
        A folder without a picture.
    """
    found: dict[Path, None] = {}
    for path in named:
        found |= dict.fromkeys(_pictures_in(path) if path.is_dir() else [path])
    return list(found)


def _pictures_in(folder: Path) -> Sequence[Path]:
    pictures = sorted(path for path in folder.iterdir() if path.suffix.lower() in _ENDINGS)
    if not pictures:
        endings = ", ".join(ending[1:] for ending in _ENDINGS)
        raise FileError(folder, f"the folder holds no picture ({endings})")
    return pictures


def read_grey(path: Path) -> GreyImage:
    """The picture's grey levels, (height, width), as the sensor's rows lie.

    A turn that the file asks a viewer for is not made: a lens belongs to the sensor's own rows.

    Raises
    ------
    FileError
        Missing, not readable, empty, or not a picture.
    """
    import cv2

    if path.is_dir():
        raise FileError(path, "expected a picture, got a folder")
    try:
        content = np.frombuffer(path.read_bytes(), dtype=np.uint8)
    except FileNotFoundError:
        raise FileError(path, "no such file") from None
    except OSError as error:
        raise FileError(path, f"cannot be read: {error.strerror}") from None
    if not content.size:
        raise FileError(path, "the file is empty")
    with _silent_opencv():
        image = cv2.imdecode(content, cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION)
    if image is None:
        raise FileError(path, "not a picture that OpenCV can read, or cut off")
    grey: GreyImage = image.astype(np.uint8, copy=False)
    return grey


@contextmanager
def _silent_opencv() -> Iterator[None]:
    """Within it OpenCV keeps silent: its own message on a bad file would not name the file."""
    from cv2.utils import logging

    before = logging.getLogLevel()
    logging.setLogLevel(logging.LOG_LEVEL_SILENT)
    try:
        yield
    finally:
        logging.setLogLevel(before)
