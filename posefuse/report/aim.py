"""A shooter and a goal as one self-contained page, and tables of pivots for the robot."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import numpy as np

from posefuse.aim.sheet import ArcSheet
from posefuse.aim.table import CAUTION, write_pivot_table
from posefuse.arena.arena import Goal
from posefuse.checks import FloatArray
from posefuse.plots.aim import draw_flights, draw_pivots
from posefuse.plots.aim_tolerance import draw_bearing_tolerance, draw_distance_tolerance
from posefuse.plots.style import drawing, floor_unit, new_figure, set_finding, svg_text
from posefuse.report.aim_wording import (
    arc_name,
    bearing_text,
    drawn_sentence,
    enough_sentence,
    enough_text,
    floor_text,
    floor_with_unit,
    goal_text,
    hits_sentence,
    hits_text,
    interpolation_sentence,
    left_out_sentence,
    reach_sentence,
    room_text,
    shooter_text,
)
from posefuse.report.glossary import AIM_WORDS
from posefuse.report.page import write_page
from posefuse.report.picture import Picture
from posefuse.report.run_pictures import PICTURE_WIDTH_IN
from posefuse.report.tables import Table
from posefuse.report.wording import angle_text, number_text
from posefuse.study.aimed_goal import AimedGoal, Flights, JudgedTable
from posefuse.units import LENGTHS_M, length_label, to_degrees

__all__ = [
    "aim_finding",
    "own_table",
    "sheet_table",
    "sheet_title",
    "write_aim_report",
    "write_pivot_files",
]


def sheet_title(sheet: ArcSheet, length_unit: str) -> str:
    """What a sheet is about."""
    near, far = sheet.span_m
    return (
        f"{arc_name(sheet.aim.arc).capitalize()}, {floor_text(near, length_unit)} to "
        f"{floor_with_unit(far, length_unit)}"
    )


def sheet_table(sheet: ArcSheet, *, length_unit: str = "cm") -> Table:
    """A line for each distance."""
    floor, unit = length_label(floor_unit(length_unit)), length_label(length_unit)
    headers = (
        f"distance ({floor})",
        "pivot (°)",
        f"slope (°/{floor})",
        "interpolation error (°)",
        "entry (°)",
        f"short by ({unit})",
        f"long by ({unit})",
        "left by (°)",
        "right by (°)",
        "hits per 100",
        f"tolerable sigma ({unit})",
        "most tolerant pivot (°)",
        f"its tolerance ({unit})",
    )
    slopes = LENGTHS_M[floor_unit(length_unit)] * sheet.table.slopes_rad_per_m
    columns = (
        [floor_text(d, length_unit) for d in sheet.table.distances_m.tolist()],
        [angle_text(p) for p in sheet.table.pivots_rad.tolist()],
        [angle_text(s) for s in slopes.tolist()],
        [angle_text(e) for e in sheet.interpolation_rad.tolist()] + [""],
        [angle_text(e, 1) for e in sheet.table.entries_rad.tolist()],
        [
            "any" if m >= d else room_text(m, length_unit)  # no estimate is below 0
            for m, d in zip(
                sheet.band.short_m.tolist(), sheet.table.distances_m.tolist(), strict=True
            )
        ],
        [room_text(m, length_unit) for m in sheet.band.long_m.tolist()],
        [bearing_text(turn) for turn in sheet.band.left_rad.tolist()],
        [bearing_text(turn) for turn in sheet.band.right_rad.tolist()],
        [hits_text(s) for s in sheet.hit_shares.tolist()],
        [enough_text(m, length_unit) for m in sheet.enough_m.tolist()],
        [angle_text(p) for p in sheet.roomiest[:, 0].tolist()],
        [room_text(m, length_unit) for m in sheet.roomiest[:, 1].tolist()],
    )
    return Table(headers, tuple(zip(*columns, strict=True)))


def own_table(own: JudgedTable, *, length_unit: str = "cm") -> Table:
    """The robot's own table beside the exact pivots, and what it costs in hits."""
    table = own.table
    headers = (
        f"distance ({length_label(floor_unit(length_unit))})",
        "pivot of the table (°)",
        "exact (°)",
        "off (°)",
        "interpolation error (°)",
        "hits per 100",
        "with exact pivots",
    )
    off_rad = table.pivots_rad - own.exact_rad
    columns = (
        [floor_text(d, length_unit) for d in table.distances_m.tolist()],
        [angle_text(p) for p in table.pivots_rad.tolist()],
        [angle_text(p) for p in own.exact_rad.tolist()],
        [number_text(to_degrees(e), 2, is_signed=True) for e in off_rad.tolist()],
        [angle_text(g) for g in own.interpolation_rad.tolist()] + [""],
        [hits_text(s) for s in own.hit_shares.tolist()],
        [hits_text(s) for s in own.exact_hit_shares.tolist()],
    )
    return Table(headers, tuple(zip(*columns, strict=True)))


def aim_finding(aimed: AimedGoal, length_unit: str = "cm") -> list[str]:
    """What the sheets show, a paragraph each."""
    paragraphs = [
        reach_sentence(aimed.goal, aimed.sheets, length_unit),
        left_out_sentence(aimed.shooter),
    ]
    for sheet in aimed.sheets:
        sentences = (
            hits_sentence(sheet, length_unit),
            drawn_sentence(sheet, length_unit),
            enough_sentence(sheet.table.distances_m, sheet.enough_m, length_unit),
        )
        paragraphs.append(" ".join(sentence for sentence in sentences if sentence))
        paragraphs.append(interpolation_sentence(sheet, length_unit))
    return [paragraph for paragraph in paragraphs if paragraph]


def write_pivot_files(aimed: AimedGoal, folder: Path) -> list[str]:
    """Writes the tables of pivots as CSV into a folder that exists: the names of the files."""
    names = []
    for place, sheet in enumerate(aimed.sheets):
        of_arc = [other for other in aimed.sheets if other.aim.arc is sheet.aim.arc]
        stem = f"pivots_{sheet.aim.arc.name.lower()}"
        if len(of_arc) > 1:
            stem += f"_{1 + place - aimed.sheets.index(of_arc[0])}"
        for name, table in ((stem, sheet.table), (f"{stem}_most_tolerant", sheet.roomiest_table)):
            if table is not None:
                write_pivot_table(folder / f"{name}.csv", table)
                names.append(f"{name}.csv")
    return names


def write_aim_report(
    aimed: AimedGoal,
    path: Path,
    *,
    files: Sequence[str],
    command: str,
    length_unit: str = "cm",
    made_at: datetime | None = None,
) -> None:
    """Writes the page: reach, tables, flights, tolerance.

    Parameters
    ----------
    files
        The tables of pivots beside the page.
    command
        Reproduces the page.
    made_at
        The date on the page; ``None``: now.
    """
    own = aimed.own
    write_page(
        path,
        "aim.html",
        made_at=made_at,
        title=f"Aim: {aimed.rig} at {aimed.goal.name}",
        asked=(
            f"Asked: by which pivot does “{aimed.rig}” ({shooter_text(aimed.shooter, length_unit)})"
            f" hit {goal_text(aimed.goal, length_unit)}, in “{aimed.arena}”."
        ),
        command=command,
        finding=aim_finding(aimed, length_unit),
        sheets=[
            (
                sheet_title(sheet, length_unit),
                sheet_table(sheet, length_unit=length_unit),
                flights_picture(sheet, flights, name=f"flights_{place}", length_unit=length_unit),
                tolerance_picture(sheet, name=f"tolerance_{place}", length_unit=length_unit),
            )
            for place, (sheet, flights) in enumerate(
                zip(aimed.sheets, aimed.flights, strict=True), start=1
            )
        ],
        own=None if own is None else own_table(own, length_unit=length_unit),
        pivots=pivots_picture(aimed, length_unit=length_unit),
        files=list(files),
        glossary=AIM_WORDS,
        caution=CAUTION,
    )


def pivots_picture(aimed: AimedGoal, *, length_unit: str = "cm") -> Picture:
    """The pivots of both arcs over the distance."""
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, 3.8)
        ax = draw_pivots(figure.subplots(), aimed.sheets, aimed.shooter, length_unit=length_unit)
        figure.legend(*ax.get_legend_handles_labels(), loc="outside lower center", ncols=2)
        sentence = reach_sentence(aimed.goal, aimed.sheets, length_unit)
        set_finding(figure, sentence)
        svg = svg_text(figure)
    return Picture(
        name="pivots",
        caption="The pivot that brings the piece through the middle of the opening, and the one "
        "that tolerates the largest distance error; dashed grey: the pivot's range.",
        alt=f"Curves of the pivot over the distance. {sentence}",
        svg=svg,
    )


def flights_picture(
    sheet: ArcSheet, flights: Flights, *, name: str, length_unit: str = "cm"
) -> Picture:
    """Flights from all over the reach into the opening."""
    aim, paths_m = sheet.aim, flights.paths_m
    piece = aim.shooter.projectile
    sentence = _flights_title(sheet, flights.pivots_rad)
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, _flights_height_in(paths_m, aim.goal))
        draw_flights(
            figure.subplots(),
            paths_m,
            goal=aim.goal,
            arc=aim.arc,
            diameter_m=piece.diameter_m if piece else 0.0,
            length_unit=length_unit,
        )
        set_finding(figure, sentence)
        svg = svg_text(figure)
    return Picture(
        name=name,
        caption=f"Throws on the {arc_name(aim.arc)} from {len(paths_m)} distances, to scale: "
        "from the release (dot) through the middle of the opening (dotted, between the bars of its "
        "rim); the circle is the piece.",
        alt=f"Paths of throws from the side. {sentence}.",
        svg=svg,
    )


def _flights_height_in(paths_m: FloatArray, goal: Goal) -> float:
    top = max(float(np.nanmax(paths_m[..., 1])), float(goal.centre_in_world_m[2]) + goal.height_m)
    width = float(-paths_m[..., 0].min()) + 0.2
    return float(np.clip((PICTURE_WIDTH_IN - 0.9) * (top + 0.2) / width, 1.6, 6.0)) + 0.9


def _flights_title(sheet: ArcSheet, pivots: FloatArray) -> str:
    entries = np.degrees(sheet.table.entries_rad)
    steepest = float(entries.max())
    way = f"falling by up to {steepest:.0f}°" if steepest > 0.0 else "rising still"
    low, high = np.degrees([pivots.min(), pivots.max()])
    return (
        f"{arc_name(sheet.aim.arc).capitalize()}: pivots of {low:.0f}° to {high:.0f}°, the piece "
        f"comes in {way}"
    )


def tolerance_picture(sheet: ArcSheet, *, name: str, length_unit: str = "cm") -> Picture:
    """How far off the estimate may be over the distance."""
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, 3.6)
        distance, bearing = figure.subplots(1, 2)
        draw_distance_tolerance(
            distance, sheet.band, enough_m=sheet.enough_m, length_unit=length_unit
        )
        draw_bearing_tolerance(bearing, sheet.band, length_unit=length_unit)
        handles, labels = distance.get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=2)
        sentence = _tolerance_title(sheet, length_unit)
        set_finding(figure, sentence)
        svg = svg_text(figure)
    return Picture(
        name=name,
        caption="How far off the estimated distance (left; positive is too far) and direction "
        "(right; positive is too far left) may be so that a shot without spread still goes in, one "
        "error at a time; the dashed line is for the real shooter. The scale is linear in the grey "
        "strip and logarithmic beyond.",
        alt=f"Tolerance bands over the distance. {sentence}.",
        svg=svg,
    )


def _tolerance_title(sheet: ArcSheet, length_unit: str) -> str:
    room = np.minimum(sheet.band.short_m, sheet.band.long_m)
    tightest = int(np.argmin(room))
    at = floor_with_unit(float(sheet.table.distances_m[tightest]), length_unit)
    return (
        f"{arc_name(sheet.aim.arc).capitalize()}: least tolerance for a wrong distance at {at}: "
        f"{room_text(float(room[tightest]), length_unit)} {length_label(length_unit)}"
    )
