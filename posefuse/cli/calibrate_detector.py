"""``posefuse calibrate detector``: measures how a tag detector responds to a camera's images."""

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from posefuse.cli.folders import default_folder

if TYPE_CHECKING:
    from collections.abc import Mapping

    from posefuse.calibration.detector_response import ResponseRecipe
    from posefuse.checks import FloatArray
    from posefuse.robot.camera import CornerRefinement, Imaging

__all__ = ["closing_text", "command", "left_out_text"]

_LEAST_SHOWN = 10
_HEADING = "found   in narrow  std"
_LEGEND = f"""
found   share of the tags that are found
in      corners are found this far toward the tag's middle
narrow  left and right corners this far toward each other, besides
std     spread of a corner about these, per axis; -: fewer than {_LEAST_SHOWN} were found
"""
_DIGEST_BLUR_PX = 6.0
"""The digest shows the blur next to this."""


@click.command(name="detector")
@click.argument("camera_file", metavar="CAMERA", type=click.Path(path_type=Path))
@click.option("--family", default="36h11", show_default=True, help="Family of the tags.")
@click.option(
    "--tags",
    type=click.IntRange(min=10),
    default=100,
    show_default=True,
    help="Tags for each combination of size, incidence, blur, noise and defocus.",
)
@click.option(
    "--refinement",
    type=click.Choice(["none", "subpixel", "contour", "edges"]),
    help="How corners are refined. Default: as the camera file says.",
)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True)
@click.option(
    "--workers", type=click.IntRange(min=1), help="Threads. Default: one for each processor."
)
@click.option(
    "--coarse",
    is_flag=True,
    help="Some sizes, angles and blurs, at the camera's own noise and defocus: a first look.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="New table (.csv); how it was made is put beside it. Default: detector.csv in a new "
    "folder in results/.",
)
def command(
    camera_file: Path,
    family: str,
    tags: int,
    refinement: str | None,
    seed: int,
    workers: int | None,
    coarse: bool,  # noqa: FBT001  (click passes by name)
    out: Path | None,
) -> None:
    """Measure how the tag detector responds to the images of a CAMERA.

    Renders tags as the camera sees them, of all sizes, incidences and blurs, at half, once and
    twice its noise and defocus, and runs the detector on them: how often it finds them, how far
    off the corners are. Two processors take about 20 minutes, with --coarse one minute. Name the
    table in the camera file, [detector] table = "...", to simulate with it.
    """
    from posefuse.calibration.detector_response import ResponseRecipe
    from posefuse.calibration.response_file import check_response_path, write_response
    from posefuse.cli.first_run import announce_first_run
    from posefuse.cli.kinds import refuse_other_kinds
    from posefuse.rendering.compiled.render import draw_light
    from posefuse.rendering.detect import DetectorSettings
    from posefuse.robot.camera import CornerRefinement
    from posefuse.robot.load import load_imaging

    refuse_other_kinds(camera_file, "camera")
    camera = load_imaging(camera_file)
    out = out or default_folder() / "detector.csv"
    check_response_path(out)
    chosen = CornerRefinement(refinement) if refinement else camera.refinement
    settings = DetectorSettings(refinement=chosen)
    recipe = ResponseRecipe(tags=tags, family=family, seed=seed, settings=settings)
    recipe = recipe.coarser() if coarse else recipe
    announce_first_run(draw_light)
    table = _measured(camera, recipe, workers or os.cpu_count() or 1)
    write_response(out, table, camera=camera, recipe=recipe)
    _show(table, camera)
    click.echo(left_out_text(table), nl=False)
    click.echo(closing_text(out, camera_file, chosen))


def left_out_text(table: "Mapping[str, FloatArray]") -> str:
    """How many tags were left out though they were found, on lines of their own; none: no line."""
    count, found = int(table["unfitted"].sum()), int(table["found"].sum())
    if count == 0:
        return ""
    return (
        f"{count} of {found + count} tags found are left out: no line fits one of their sides.\n\n"
    )


def closing_text(out: Path, camera_file: Path, refinement: "CornerRefinement") -> str:
    """Where things are, and what to write where to use them."""
    from posefuse.files.toml_file import read_toml
    from posefuse.robot.camera import CornerRefinement
    from posefuse.robot.measured_response import recipe_path

    try:
        seen = Path(os.path.relpath(out, camera_file.parent))
    except ValueError:  # on another drive
        seen = out.resolve()
    held = read_toml(camera_file)["detector"]
    replaced = "table there" if "table" in held else "numbers from noise_px to miss_rate"
    is_other = held.get("refinement", CornerRefinement.SUBPIXEL.value) != refinement.value
    return (
        f"Written: {out}; what its columns mean and how it was made: {recipe_path(out)}.\n"
        f"To simulate with it, write in {camera_file}, under [detector],\n"
        f'table = "{seen.as_posix()}"\n'
        f"in place of the {replaced}"
        + (f', and\nrefinement = "{refinement.value}"' if is_other else ".")
    )


def _measured(
    camera: "Imaging", recipe: "ResponseRecipe", workers: int
) -> "Mapping[str, FloatArray]":
    """The table, with a progress bar on standard error."""
    from rich.progress import Progress

    from posefuse.calibration.detector_response import measure_response
    from posefuse.cli.terminal import plain_console

    console = plain_console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as progress:
        bar = progress.add_task("rendering and detecting", total=None)

        def show(done: int, total: int) -> None:
            progress.update(bar, completed=done, total=total)

        return measure_response(camera, recipe, workers=workers, progress=show)


def _show(table: "Mapping[str, FloatArray]", camera: "Imaging") -> None:
    """A digest by size at the camera's own noise and defocus: face on, turned, and blurred."""
    import numpy as np
    from rich.box import SIMPLE
    from rich.table import Table

    from posefuse.cli.terminal import plain_console

    own = np.ones(len(table["edge_px"]), dtype=np.bool_)
    for name, value in (
        ("noise_grey", camera.image.noise_grey),
        ("defocus_px", camera.image.defocus_px),
    ):
        column = table[name]
        own &= column == column[np.argmin(np.abs(column - value))]
    angles, blurs = (np.unique(table[name]) for name in ("incidence_deg", "blur_px"))
    middle = blurs[np.abs(blurs - _DIGEST_BLUR_PX).argmin()]
    views = [(angles[0], blurs[0]), (angles[-2:][0], blurs[0]), (angles[0], middle)]
    title = f"{camera.name}: tags by their edge, incidence and motion blur (px)"
    shown = Table(title=title, box=SIMPLE, pad_edge=False, show_edge=False)
    shown.add_column("\nedge", justify="right", no_wrap=True)
    for angle, blur in dict.fromkeys(views):
        turned = "face on" if angle == 0.0 else f"{angle:g} deg aside"
        moved = "still" if blur == 0.0 else f"blur {blur:g} px"
        shown.add_column(f"{turned}, {moved}\n{_HEADING}", justify="right", no_wrap=True)
    for edge in np.unique(table["edge_px"]):
        cells = []
        for angle, blur in dict.fromkeys(views):
            at = (table["edge_px"] == edge) & (table["incidence_deg"] == angle)
            cells.append(
                _cell(table, int(np.flatnonzero(own & at & (table["blur_px"] == blur))[0]))
            )
        shown.add_row(f"{edge:g}", *cells)
    plain_console().print(shown)
    click.echo(_LEGEND)


def _cell(table: "Mapping[str, FloatArray]", row: int) -> str:
    found = f"{table['found_probability'][row]:4.0%}"
    if table["found"][row] < _LEAST_SHOWN:
        return f"{found}{'-':>18}"
    inward, narrowing, std = (table[name][row] for name in ("inward_px", "narrowing_px", "std_px"))
    return f"{found}{inward:6.2f}{narrowing:7.2f}{std:5.2f}"
