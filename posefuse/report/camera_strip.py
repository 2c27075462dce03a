"""A strip of what the cameras see at some instants, with the tags found in it."""

import textwrap
from pathlib import Path

from posefuse.plots.camera import camera_legend_handles
from posefuse.plots.style import Figure, drawing, new_figure, png_bytes, set_finding, svg_text
from posefuse.report.camera_frame import brightness_for, draw_frame, found_text, shortened
from posefuse.report.picture import Picture
from posefuse.report.run_pictures import PICTURE_WIDTH_IN
from posefuse.study.strip import Strip

__all__ = ["strip_finding", "strip_picture", "write_strip"]

_PNG_COLUMNS = 4
_PNG_PANEL_IN, _PNG_LEAST_IN = 4.0, 7.5
_PNG_DOTS_PER_IN = 150.0
_LABEL_IN, _FRAME_TITLE_IN = 0.5, 0.44
_LABEL_LETTERS_PER_IN, _CAPTION_LETTERS_PER_IN = 12.0, 14.5


def strip_finding(strip: Strip) -> str:
    """How many of the tags in view were found."""
    found, in_view = strip.found_count, strip.found_count + strip.missed_count
    if not in_view:
        return "No camera has a tag in view"
    if found == in_view:
        whole = f"all {found} tags in view" if found > 1 else "the one tag in view"
        return f"The detector finds {whole}"
    return f"The detector finds {found or 'none'} of the {in_view} tags in view"


def write_strip(strip: Strip, path: Path) -> None:
    """The strip as a PNG file."""
    columns = _columns(len(strip.rig.mounts), most=_PNG_COLUMNS)
    width_in = max(columns * _PNG_PANEL_IN + _LABEL_IN, _PNG_LEAST_IN)
    with drawing():
        figure = _strip_figure(strip, width_in=width_in, columns=columns, caption=_caption(strip))
        path.write_bytes(png_bytes(figure, dots_per_inch=_PNG_DOTS_PER_IN))


def strip_picture(strip: Strip) -> Picture:
    """The strip as a picture of a report."""
    mounts = len(strip.rig.mounts)
    columns = _columns(mounts, most=2 if mounts <= 4 else 3)
    with drawing():
        figure = _strip_figure(strip, width_in=PICTURE_WIDTH_IN, columns=columns)
        svg = svg_text(figure)
    found = "; ".join(
        f"{mount.name} at {instant.at_s:.2f} s: {found_text(frame)}"
        for instant, row in zip(strip.instants, strip.frames, strict=True)
        for mount, frame in zip(strip.rig.mounts, row, strict=True)
        if frame is not None
    )
    return Picture(
        name="strip",
        caption=_caption(strip),
        alt=f"Camera images of {strip.title}. {strip_finding(strip)}. {found}.",
        svg=svg,
    )


def _columns(mounts: int, *, most: int) -> int:
    """As many as fit, rows filled evenly: six cameras stand in two rows of three."""
    rows = -(-mounts // most)
    return -(-mounts // rows)


def _caption(strip: Strip) -> str:
    brightness = brightness_for(strip.seen())
    return (
        "Rendered images, and what OpenCV's detector finds in them; the time is that of each "
        "camera's frame nearest to the instant. A tag is in view when it lies whole in the image, "
        "nothing hides it, and it is neither smaller nor seen from further aside than the "
        "camera's file allows."
        + (f" Shown {brightness:g} times as bright as they are." if brightness > 1.0 else "")
    )


def _strip_figure(strip: Strip, *, width_in: float, columns: int, caption: str = "") -> Figure:
    """A block of rows for each instant; in it the cameras, ``columns`` to a row."""
    mounts = strip.rig.mounts
    rows = -(-len(mounts) // columns)
    panel_in = (width_in - _LABEL_IN) / columns - 0.1
    sensors = [mount.camera.sensor for mount in mounts]
    tall = max(sensor.height_px / sensor.width_px for sensor in sensors)
    lines = textwrap.wrap(caption, round(_CAPTION_LETTERS_PER_IN * width_in))
    height_in = len(strip.instants) * rows * (panel_in * tall + _FRAME_TITLE_IN)
    figure = new_figure(width_in, height_in + 0.95 + 0.17 * len(lines))
    grid = figure.subplots(len(strip.instants) * rows, columns, squeeze=False)
    brightness = brightness_for(strip.seen())
    for place, (instant, frames) in enumerate(zip(strip.instants, strip.frames, strict=True)):
        panels = grid[place * rows : (place + 1) * rows].ravel()
        for ax in panels[len(mounts) :]:
            ax.set_axis_off()
        for ax, mount, frame in zip(panels, mounts, frames, strict=False):
            draw_frame(ax, frame, name=mount.name, panel_width_in=panel_in, brightness=brightness)
        letters = round(_LABEL_LETTERS_PER_IN * panel_in * tall)
        label = f"{instant.at_s:.2f} s\n{shortened(instant.what, letters)}".strip()
        panels[0].set_ylabel(label)
    figure.legend(
        handles=camera_legend_handles(has_missed=any(len(f.missed_ids) for f in strip.seen())),
        loc="outside lower left",
        ncols=3,
        title="\n".join(lines),
        alignment="left",
    )
    set_finding(figure, strip_finding(strip), strip.title)
    return figure
