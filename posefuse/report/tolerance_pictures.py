"""How large errors may be at the shots, with the errors there are on top."""

import math
from collections.abc import Sequence

from posefuse.plots.aim_tolerance import (
    PlanSpread,
    draw_bearing_tolerance,
    draw_distance_tolerance,
)
from posefuse.plots.style import drawing, new_figure, plan_colour, set_finding, svg_text
from posefuse.report.aim_wording import arc_name, floor_with_unit, room_text
from posefuse.report.panels import wrapped
from posefuse.report.picture import Picture
from posefuse.report.plan_pictures import left_out, plan_numbers
from posefuse.report.run_pictures import PICTURE_WIDTH_IN
from posefuse.report.wording import length_with_unit
from posefuse.study.findings import Findings
from posefuse.study.replay import Replay
from posefuse.study.shot_room import PlaceSpreads, ShotRoom
from posefuse.units import length_label

__all__ = ["plans_tolerance_picture", "run_tolerance_picture"]

Drawn = tuple[str, int, PlaceSpreads]
"""A name, the number of its colour, and its errors."""


def plans_tolerance_picture(findings: Findings, *, length_unit: str = "cm") -> Picture | None:
    """The tolerance band over the distance, with the errors of every plan on top."""
    if findings.room is None:
        return None
    plans, numbers = findings.shown_plans, plan_numbers(findings)
    return _tolerance_picture(
        findings.room,
        [
            (plan, number, findings.spreads[plan])
            for plan, number in zip(plans, numbers, strict=True)
        ],
        whose="each plan's errors at the places it shoots from, 95 of 100, dot: their mean",
        more=left_out(findings),
        length_unit=length_unit,
    )


def run_tolerance_picture(replay: Replay, *, length_unit: str = "cm") -> Picture | None:
    """The same with the errors of one run."""
    if replay.room is None or replay.spreads is None:
        return None
    return _tolerance_picture(
        replay.room,
        [("this run", 0, replay.spreads)],
        whose="the errors of the estimate at the shots of this run",
        more="",
        length_unit=length_unit,
    )


def _tolerance_picture(
    room: ShotRoom, drawn: Sequence[Drawn], *, whose: str, more: str, length_unit: str
) -> Picture:
    sentence = _title(room, [spreads for _, _, spreads in drawn], length_unit)
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, 6.8)
        distance, bearing = figure.subplots(2, 1, sharex=True)
        draw_distance_tolerance(
            distance,
            room.band,
            enough_m=room.band_enough_m,
            spreads=[PlanSpread(name, plan_colour(n), s.distance) for name, n, s in drawn],
            length_unit=length_unit,
        )
        draw_bearing_tolerance(
            bearing,
            room.band,
            spreads=[PlanSpread(name, plan_colour(n), s.bearing) for name, n, s in drawn],
            length_unit=length_unit,
        )
        distance.set_xlabel("")
        handles, labels = distance.get_legend_handles_labels()
        names = [wrapped(label, 40) for label in labels]
        figure.legend(handles, names, loc="outside lower center", ncols=3)
        set_finding(figure, sentence)
        svg = svg_text(figure)
    return Picture(
        name="tolerance",
        caption=f"Green: the errors with which a shot on the {arc_name(room.arc)} at "
        f"“{room.goal.name}”, from straight before it and by a shooter without spread, still goes "
        "in; dashed: the spread that costs one hit in 100 with the real shooter. Bars: "
        f"{whose}. Above zero is too far, or too far left. The scale is linear in the grey strip "
        f"and logarithmic beyond.{more}",
        alt=f"Tolerance band over the distance. {sentence}.",
        svg=svg,
    )


def _title(room: ShotRoom, spreads: Sequence[PlaceSpreads], length_unit: str) -> str:
    """The place that forgives least, beside the largest error there is."""
    tightest = room.tightest_place
    sentence = "From none of the places does the shooter score"
    if tightest is not None:
        enough_m = float(room.places_enough_m[tightest])
        enough = f"{room_text(enough_m, length_unit)} {length_label(length_unit)}"
        at = floor_with_unit(float(room.places_m[tightest]), length_unit)
        sentence = f"The most exacting place, {at} away: {enough} (1 sigma) cost one hit in 100"
    errors_m = [one.largest_distance_error_m for one in spreads]
    largest_m = max((m for m in errors_m if math.isfinite(m)), default=math.nan)
    if math.isfinite(largest_m):
        largest = length_with_unit(largest_m, length_unit)
        sentence += f"; 95 of 100 errors are below {largest} everywhere"
    return sentence
