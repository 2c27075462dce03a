"""``posefuse calibrate lens``: measures a lens, or prints the board that it is measured with."""

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from posefuse.cli.folders import default_folder

if TYPE_CHECKING:
    from collections.abc import Sequence

    from posefuse.calibration.board import Board
    from posefuse.calibration.lens import LensCalibration
    from posefuse.calibration.views import BoardSurvey

__all__ = ["command"]

_PAPERS = ("a4", "letter", "a3", "tabloid", "a2", "a1", "a0")


@click.command(name="lens")
@click.argument("images", metavar="[IMAGES]...", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--board",
    "board_file",
    type=click.Path(path_type=Path),
    required=True,
    help="File that describes the printed board, as above.",
)
@click.option(
    "--camera",
    "base_file",
    type=click.Path(path_type=Path),
    help="Camera file to take everything but the lens from.",
)
@click.option(
    "--distortion",
    "terms",
    type=click.Choice(["4", "5", "8"]),
    default="5",
    show_default=True,
    help="How many terms: k1 k2 p1 p2, and k3, and k4 k5 k6 for very wide lenses.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="New camera file; a picture is put beside it. Default: camera.toml in a new folder in "
    "results/.",
)
@click.option(
    "--print",
    "pdf",
    metavar="PDF",
    type=click.Path(path_type=Path),
    help="Instead: write the board as a page to print at true size. Takes no IMAGES.",
)
@click.option("--paper", type=click.Choice(_PAPERS), default="a4", show_default=True)
def command(
    images: tuple[Path, ...],
    board_file: Path,
    base_file: Path | None,
    terms: str,
    out: Path | None,
    pdf: Path | None,
    paper: str,
) -> None:
    """Measure a lens from pictures of a printed board.

    IMAGES are picture files, or folders of them, all from one camera. Show the board in every part
    of the image and tilted to every side; hold it still. Writes a camera file with the standard
    deviation of each number, and a picture of where the board was seen.

    With --print it writes the board itself: print it at 100 %, mount it flat, and measure it.

    \b
    A board file that fits on A4 and on letter paper:
      name = "board 8 x 5"
      squares_across = 8
      squares_down = 5
      square_mm = 32
      marker_mm = 23        # a plain chessboard has no markers:
      family = "4x4_50"     # leave these two out

    With markers the board may leave the image, so that it reaches the corners; a plain chessboard
    must be seen whole.
    """  # noqa: D301  (click's mark for lines that keep their breaks)
    from posefuse.calibration.load import load_board

    if bool(images) == (pdf is not None):
        raise click.UsageError("name pictures to measure with, or --print PDF: one of the two")
    board = load_board(board_file)
    if pdf is not None:
        _print_board(board, pdf, paper)
        return
    out = out or default_folder() / "camera.toml"
    _measure(images, board, base_file, terms=int(terms), out=out)


def _print_board(board: "Board", pdf: Path, paper: str) -> None:
    from posefuse.calibration.paper import board_page
    from posefuse.files.result_folder import refuse_present
    from posefuse.plots.board import BAR_MM, board_pdf_bytes
    from posefuse.units import metres_to

    refuse_present(pdf)
    page = board_page(board, paper)
    _write_new(pdf, board_pdf_bytes(board, page))
    width, height = (metres_to("mm", length) for length in (page.width_m, page.height_m))
    click.echo(
        f"Written to {pdf}: {paper}, {width:g} x {height:g} mm. "
        f"Print it at 100 % (actual size); its bar must then measure {BAR_MM:g} mm."
    )


def _measure(
    images: "Sequence[Path]", board: "Board", base_file: Path | None, *, terms: int, out: Path
) -> None:
    from posefuse.calibration.camera_file import camera_text
    from posefuse.calibration.images import image_paths
    from posefuse.calibration.lens import calibrate_lens
    from posefuse.calibration.load import load_base_camera
    from posefuse.files.result_folder import refuse_present

    picture = out.with_suffix(".png")
    for path in (out, picture):
        refuse_present(path)
    base = None if base_file is None else load_base_camera(base_file)
    survey = _surveyed(image_paths(images), board)
    calibration = calibrate_lens(survey, board, terms=terms)
    text = camera_text(calibration, path=out, base=base)
    drawn = _drawn(calibration)
    _show(calibration, survey)
    _write_new(out, text.encode("utf-8"))
    _write_new(picture, drawn)
    click.echo(f"Written to {out}; {picture} shows where the board was seen.")
    if base is None:
        click.echo(
            "Pictures of a board do not show [timing] and [detector]: fill them in before a rig "
            "names this camera, or take them from another camera file by --camera FILE."
        )


def _surveyed(paths: "Sequence[Path]", board: "Board") -> "BoardSurvey":
    """What the pictures show, with a progress bar on standard error."""
    from rich.progress import Progress

    from posefuse.calibration.views import survey_images
    from posefuse.cli.terminal import plain_console

    console = plain_console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as progress:
        bar = progress.add_task("pictures", total=len(paths))
        return survey_images(
            paths, board, on_progress=lambda done, _: progress.update(bar, completed=done)
        )


def _drawn(calibration: "LensCalibration") -> bytes:
    """The picture as a PNG file."""
    import numpy as np

    from posefuse.plots.lens import draw_board_places, draw_board_tilts
    from posefuse.plots.style import drawing, new_figure, png_bytes, set_finding

    views = calibration.views
    finding = (
        f"Focal length {calibration.lens.focal_px[0]:.2f} px, standard deviation "
        f"{calibration.focal_std_px[0]:.2g} px: {len(views)} pictures of "
        f"{calibration.board.name!r}, {calibration.rms_px:.3f} px rms"
    )
    with drawing():
        figure = new_figure(10.5, 1.4 + 5.8 * calibration.height_px / calibration.width_px)
        places, tilts = figure.subplots(1, 2, width_ratios=(1.75, 1.0))
        draw_board_places(
            places,
            corners_px=[view.view.corners_px for view in views],
            width_px=calibration.width_px,
            height_px=calibration.height_px,
        )
        draw_board_tilts(tilts, np.degrees([view.tilts_rad for view in views]))
        set_finding(figure, finding)
    return png_bytes(figure)


def _show(calibration: "LensCalibration", survey: "BoardSurvey") -> None:
    """The lens with its standard deviations, and what does not fit, on standard output."""
    from posefuse.calibration.lens import named_numbers
    from posefuse.cli.terminal import plain_console, terminal_table

    console = plain_console()
    console.print(f"\nLens, {calibration.width_px} x {calibration.height_px} px")
    headers = ("", "value", "standard deviation")
    rows = [
        (number.name, *_with_deviation(number.value, number.value_std))
        for number in named_numbers(calibration)
    ]
    console.print(terminal_table(headers, rows, width=console.width))
    count, every = len(survey.views), len(survey.views) + len(survey.absent)
    worst = max(calibration.views, key=lambda view: view.rms_px)
    console.print(
        f"{count} of {every} pictures show the board. Its corners lie {calibration.rms_px:.3f} px "
        f"(rms) from where this lens puts them, at worst {worst.rms_px:.3f} px "
        f"({worst.view.name}).",
        soft_wrap=True,
    )
    for line in survey.reasons:
        console.print(f"Not used, {line}", style="yellow", soft_wrap=True)
    for view in calibration.odd_views:
        console.print(
            f"Warning: {view.view.name} fits badly ({view.rms_px:.2f} px rms): is it blurred, or "
            "the board bent? Leave it out and see what changes.",
            style="yellow",
            soft_wrap=True,
        )


def _with_deviation(value: float, deviation: float) -> tuple[str, str]:
    """Both with as many places as two digits of the deviation take.

    >>> _with_deviation(476.36143, 0.1512)
    ('476.36', '0.15')
    """
    places = max(0, 1 - math.floor(math.log10(deviation)))
    return f"{value:.{places}f}", f"{deviation:.{places}f}"


def _write_new(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as file:
        file.write(content)
