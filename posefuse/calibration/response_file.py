"""A measured detector response on disk: an open table, and beside it how it was made."""

import json
from collections.abc import Mapping
from importlib import metadata
from pathlib import Path

from posefuse.calibration.detector_response import ResponseRecipe
from posefuse.checks import FloatArray
from posefuse.errors import FileError
from posefuse.files.result_folder import refuse_present
from posefuse.files.table_file import write_table
from posefuse.robot.camera import Imaging
from posefuse.robot.measured_response import recipe_path

__all__ = ["check_response_path", "write_response"]

_COLUMNS = {
    "edge_px": "root of the area of the tag's image",
    "incidence_deg": "between the line of sight and the face's normal",
    "blur_px": "how far the tag's middle moves in the image during the exposure",
    "noise_grey": "noise of a surface half as bright as white, standard deviation",
    "defocus_px": "as [image] of a camera file says",
    "rendered": "tags shown",
    "found": "tags found; with less than 10 the errors are those of larger or sharper tags",
    "misread": "other ids found, or corners off by more than half an edge",
    "unfitted": "tags left out, where no line fits a side (refinement edges alone)",
    "found_probability": "found / rendered",
    "found_low": "its 95 % Wilson interval",
    "found_high": "its 95 % Wilson interval",
    "inward_px": "bias: each corner is found this far toward the tag's middle",
    "narrowing_px": "bias: left and right corners are found this far toward each other, besides",
    "shift_x_px": "bias: every corner is found this far to the right",
    "shift_y_px": "bias: every corner is found this far down",
    "std_px": "spread of a corner about these, per axis",
    "shared_fraction": "share of its variance that shifts the four corners alike",
    "persistent_fraction": "share of its variance that persists at rest, from look to look",
    "bias_rest_px": "RMS of what these biases leave of the four corners' mean errors",
    "std_along_px": "spread along the motion blur (along x where there is none)",
    "std_across_px": "spread across it",
    "correlation_beside": "between the errors of neighbouring corners, mean of both axes",
    "correlation_opposite": "between the errors of opposite corners, mean of both axes",
}


def check_response_path(path: Path) -> None:
    """Raises where a table or its recipe exists already, or the name is not that of a table."""
    if path.suffix != ".csv":
        raise FileError(path, "a table's name must end in .csv")
    for one in (path, recipe_path(path)):
        refuse_present(one)


def write_response(
    path: Path,
    table: Mapping[str, FloatArray],
    *,
    camera: Imaging,
    recipe: ResponseRecipe,
) -> None:
    """Writes the table and its recipe, both new.

    Raises
    ------
    FileError
        One of them exists already.
    """
    check_response_path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f".{path.name}.unfinished")
    write_table(unfinished, table)
    recipe_path(path).write_text(recipe_text(path, camera, recipe), encoding="utf-8")
    unfinished.rename(path)


def recipe_text(path: Path, camera: Imaging, recipe: ResponseRecipe) -> str:
    """The recipe as TOML."""
    import cv2

    settings = recipe.settings
    lines = [
        f"# How {path.name} was measured: single tags of each size, incidence, blur, noise",
        "# and defocus, on dark and on bright walls, rendered as this camera sees them and looked",
        "# for by OpenCV's detector.",
        "",
        *_lines(
            {
                "camera": camera.name,
                "seed": recipe.seed,
                "tags": recipe.tags,
                "second_looks": recipe.second_looks,
                "family": recipe.family,
                "edges_px": recipe.edges_px,
                "incidences_deg": recipe.incidences_deg,
                "blurs_px": recipe.blurs_px,
                "noise_factors": recipe.noise_factors,
                "defocus_factors": recipe.defocus_factors,
                "posefuse": metadata.version("posefuse"),
                "opencv": cv2.__version__,
            }
        ),
        "",
        "[detector]",
        *_lines({name: getattr(settings, name) for name in settings.__dataclass_fields__}),
        "",
        "[image] # the camera's own; noise and defocus are these times the factors",
        *_lines({name: getattr(camera.image, name) for name in camera.image.__dataclass_fields__}),
        "",
        "[lens]",
        *_lines(
            {
                "size_px": (camera.sensor.width_px, camera.sensor.height_px),
                "focal_px": camera.lens.focal_px.tolist(),
                "centre_px": camera.lens.centre_px.tolist(),
                "distortion": camera.lens.distortion.tolist(),
            }
        ),
        "",
        "[columns]",
        *_lines(_COLUMNS),
    ]
    return "\n".join(lines) + "\n"


def _lines(values: Mapping[str, object]) -> list[str]:
    # the spellings of texts, numbers and lists of numbers in JSON are TOML's, too
    return [f"{name} = {json.dumps(value, ensure_ascii=False)}" for name, value in values.items()]
