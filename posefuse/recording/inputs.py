"""The files a recording rests on, copied beside it so that it can be moved and sent whole."""

import os
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path

from posefuse.errors import FileError, InputError

__all__ = ["copy_inputs"]


def copy_inputs(paths: Iterable[Path], folder: Path) -> Mapping[Path, Path]:
    """Copies files under ``folder``; where each now is.

    They keep their places below the innermost folder that holds them all, so that paths from one
    file to another stay true.

    Parameters
    ----------
    paths
        Files; one named twice is copied once.
    folder
        Made where it does not exist.

    Returns
    -------
    mapping
        From each path as given to the copy.
    """
    given = list(paths)
    if not given:
        return {}
    plain = {path: Path(os.path.abspath(path)) for path in given}  # noqa: PTH100 (folds ".." too)
    try:
        top = Path(os.path.commonpath([path.parent for path in plain.values()]))
    except ValueError:
        raise InputError(
            "inputs: the files must lie on one drive to be copied together "
            f"(got {', '.join(str(path) for path in given)})"
        ) from None
    copies = {path: folder / absolute.relative_to(top) for path, absolute in plain.items()}
    for path, copy in copies.items():
        copy.parent.mkdir(parents=True, exist_ok=True)
        try:
            shutil.copyfile(path, copy)
        except OSError as error:
            raise FileError(path, f"cannot be copied to {copy}: {error.strerror}") from None
    return copies
