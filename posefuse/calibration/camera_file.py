"""A measured lens as a camera file: a new one, or an existing one with its lens replaced."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import cast

import tomlkit
from tomlkit.items import Array

from posefuse.calibration.lens import DISTORTION_TERMS, LensCalibration
from posefuse.errors import FileError

__all__ = ["BaseCamera", "camera_text"]

_DIGITS = 10
"""The numbers are correlated: rounded to their own deviations they would no longer fit."""

_LEFT_TO_FILL_IN = """
# Pictures of a board do not show these: fill them in and remove the comment signs.
# [timing]
# frame_rate_hz =
# exposure_s =
# latency_s =
# [detector]
# noise_px =
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class BaseCamera:
    """A camera file whose lens is to be replaced."""

    path: Path
    text: str
    width_px: int
    height_px: int


def camera_text(calibration: LensCalibration, *, path: Path, base: BaseCamera | None = None) -> str:
    """The text of a camera file, with standard deviations beside the numbers of the lens.

    Parameters
    ----------
    path
        Where the file is to lie: a new camera takes its name from it, and a file that the base
        names is named as seen from there.
    base
        Everything but its lens is kept, comments included. Without it the tables that pictures do
        not show are left to be filled in.

    Raises
    ------
    FileError
        The base's image is not as large as the pictures.
    """
    if base is not None:
        _refuse_other_size(base, calibration)
        camera = tomlkit.parse(base.text)
        _keep_table(camera, base.path.parent, path.parent)
    else:
        camera = tomlkit.document()
        camera["name"] = path.stem
        camera["width_px"] = calibration.width_px
        camera["height_px"] = calibration.height_px
    if "field_of_view_deg" in camera:
        camera.remove("field_of_view_deg")
    lens = calibration.lens
    camera["focal_px"] = _pair(
        lens.focal_px.tolist(), calibration.focal_std_px.tolist(), note=_provenance(calibration)
    )
    camera["centre_px"] = _pair(lens.centre_px.tolist(), calibration.centre_std_px.tolist())
    camera["distortion"] = _distortion(calibration)
    return tomlkit.dumps(camera) + (_LEFT_TO_FILL_IN if base is None else "")


def _keep_table(camera: tomlkit.TOMLDocument, old: Path, new: Path) -> None:
    """Names the table of the detector's response, if there is one, as seen from the new folder."""
    detector = camera.unwrap()["detector"]
    if "table" not in detector:
        return
    target = old / detector["table"]
    try:
        seen = Path(os.path.relpath(target, new))
    except ValueError:  # on another drive
        seen = target.resolve()
    cast("dict[str, str]", camera["detector"])["table"] = seen.as_posix()


def _refuse_other_size(base: BaseCamera, calibration: LensCalibration) -> None:
    size = (calibration.width_px, calibration.height_px)
    if (base.width_px, base.height_px) != size:
        problem = (
            f"{base.width_px} x {base.height_px} px, the pictures are {size[0]} x {size[1]} px"
        )
        raise FileError(base.path, problem, key="width_px, height_px")


def _provenance(calibration: LensCalibration) -> str:
    views = calibration.views
    corners = sum(len(view.residuals_px) for view in views)
    return (
        f"; measured in {len(views)} pictures, {corners} corners, {calibration.rms_px:.3f} px rms, "
        f"by posefuse {metadata.version('posefuse')}"
    )


def _pair(values: Sequence[float], deviations: Sequence[float], *, note: str = "") -> Array:
    pair = tomlkit.array()
    pair.extend([_rounded(value) for value in values])
    pair.comment(f"standard deviations {deviations[0]:.2g} and {deviations[1]:.2g} px{note}")
    return pair


def _distortion(calibration: LensCalibration) -> Array:
    """One term a line."""
    terms = tomlkit.array().multiline(multiline=True)
    values, deviations = calibration.lens.distortion, calibration.distortion_std
    for name, value, deviation in zip(
        DISTORTION_TERMS[: calibration.terms], values, deviations, strict=False
    ):
        terms.add_line(_rounded(value), comment=f"{name}, standard deviation {deviation:.2g}")
    terms.add_line(indent="")
    return terms


def _rounded(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")
