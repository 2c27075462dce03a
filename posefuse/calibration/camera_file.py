"""A measured lens as a camera file: a new one, or one that is there with its lens replaced."""

from collections.abc import Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

import tomlkit
from tomlkit.items import Array

from posefuse.calibration.lens import DISTORTION_TERMS, LensCalibration
from posefuse.errors import FileError
from posefuse.files.text_file import read_text
from posefuse.robot.file import load_camera
from posefuse.robot.tables import DetectorTable, TimingTable

__all__ = ["BaseCamera", "camera_text", "load_base"]

_DIGITS = 10
"""The numbers lean on one another: rounded to their own deviation they would no longer fit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BaseCamera:
    """A camera file whose lens is to be replaced."""

    path: Path
    text: str
    width_px: int
    height_px: int


def load_base(path: Path) -> BaseCamera:
    """The camera file at ``path``, checked.

    Raises
    ------
    FileError
        With one line for each fault.
    """
    sensor = load_camera(path).sensor
    return BaseCamera(
        path=path, text=read_text(path), width_px=sensor.width_px, height_px=sensor.height_px
    )


def camera_text(calibration: LensCalibration, *, name: str, base: BaseCamera | None = None) -> str:
    """The text of a camera file, with standard deviations beside the numbers of the lens.

    Parameters
    ----------
    name
        Of the camera, in a file of its own.
    base
        Everything but its lens is kept, comments included. Without it the tables that pictures tell
        nothing of are left to be filled in.

    Raises
    ------
    FileError
        The base's image is not as large as the pictures.
    """
    if base is not None:
        _refuse_other_size(base, calibration)
    camera = tomlkit.document() if base is None else tomlkit.parse(base.text)
    if base is None:
        camera["name"] = name
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
    return tomlkit.dumps(camera) + ("" if base is not None else _left_to_fill_in())


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
    pair.comment(f"standard deviations {deviations[0]:.2g}, {deviations[1]:.2g}{note}")
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


def _left_to_fill_in() -> str:
    """The keys that a camera file must have besides, as comments."""
    lines = [
        "",
        "# Pictures of a board tell nothing of these: fill them in and take the marks off.",
    ]
    for title, table in (("timing", TimingTable), ("detector", DetectorTable)):
        keys = [key for key, field in table.model_fields.items() if field.is_required()]
        lines += [f"# [{title}]", *(f"# {key} =" for key in keys)]
    return "\n".join([*lines, ""])
