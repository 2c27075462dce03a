"""Pictures of what errors mean for the shots: how much room they have, and from where it hits."""

import math
import os
from collections.abc import Sequence

import numpy as np

from posefuse.plots.aim_tolerance import (
    SpreadAtPlaces,
    draw_bearing_tolerance,
    draw_distance_tolerance,
)
from posefuse.plots.floor import LIKELY_SHARE, add_hit_bar, draw_hit_chance
from posefuse.plots.style import drawing, new_figure, set_finding, svg_text
from posefuse.report.aim_wording import arc_name, floor_with_unit, room_text
from posefuse.report.hits_section import best_with_hits
from posefuse.report.picture import Picture
from posefuse.report.plan_pictures import left_out, map_grid, plan_colours, shown_plans, wrapped
from posefuse.report.run_pictures import PICTURE_WIDTH_IN
from posefuse.report.shot_room import ShotRoom, shot_room, spreads_at_places
from posefuse.report.wording import length_with_unit
from posefuse.scoring.instants import InstantErrors
from posefuse.study.comparison import Comparison
from posefuse.study.floor_map import FloorMap
from posefuse.study.hit_map import HitMap, hit_map, shot_second_moments
from posefuse.units import length_label, to_degrees

__all__ = [
    "comparison_room",
    "hit_maps",
    "hits_picture",
    "plans_tolerance_picture",
    "run_tolerance_picture",
]

Spreads = tuple[SpreadAtPlaces, SpreadAtPlaces]


def comparison_room(comparison: Comparison) -> ShotRoom | None:
    """The room around the study's shots with the shooter of the first plan whose hits are known."""
    row = best_with_hits(comparison)
    shooter = comparison.study.plan(row.plan).rig.body.shooter if row is not None else None
    if row is None or shooter is None:
        return None
    runs = _shots(comparison, row.plan, trials=1)
    study = comparison.study
    return shot_room(runs, arena=study.arena, goal=study.goal, shooter=shooter)


def _shots(comparison: Comparison, plan: str, *, trials: int | None = None) -> list[InstantErrors]:
    return [
        card.shots
        for run in comparison.runs
        if run.plan == plan
        for card in run.cards[:trials]
        if card.shots is not None
    ]


def plans_tolerance_picture(
    comparison: Comparison, room: ShotRoom, *, length_unit: str = "cm"
) -> Picture:
    """The tolerance band over the distance, with the errors of every plan on top."""
    plans = shown_plans(comparison)
    spreads = [
        spreads_at_places(
            plan,
            colour,
            _shots(comparison, plan),
            arena=comparison.study.arena,
            goal=room.goal,
        )
        for plan, colour in zip(plans, plan_colours(comparison, plans), strict=True)
    ]
    whose = "what each plan is off at the places it shoots from, 95 of 100 errors, dot: their mean"
    return _tolerance_picture(
        room, spreads, whose=whose, more=left_out(comparison), length_unit=length_unit
    )


def run_tolerance_picture(room: ShotRoom, spreads: Spreads, *, length_unit: str = "cm") -> Picture:
    """The same with the errors of one run."""
    whose = "what the estimate was off at the shots of this run"
    return _tolerance_picture(room, [spreads], whose=whose, more="", length_unit=length_unit)


def _tolerance_picture(
    room: ShotRoom, spreads: Sequence[Spreads], *, whose: str, more: str, length_unit: str
) -> Picture:
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, 6.8)
        distance, bearing = figure.subplots(2, 1, sharex=True)
        draw_distance_tolerance(
            distance,
            room.band,
            enough_m=room.band_enough_m,
            spreads=[of_distance for of_distance, _ in spreads],
            length_unit=length_unit,
        )
        draw_bearing_tolerance(
            bearing,
            room.band,
            spreads=[of_bearing for _, of_bearing in spreads],
            length_unit=length_unit,
        )
        distance.set_xlabel("")
        handles, labels = distance.get_legend_handles_labels()
        names = [wrapped(label, 40) for label in labels]
        figure.legend(handles, names, loc="outside lower center", ncols=3)
        sentence = _room_title(room, spreads, length_unit)
        set_finding(figure, sentence)
        svg = svg_text(figure)
    return Picture(
        name="tolerance",
        caption=f"Green: how far off the estimate may be and a shot on the {arc_name(room.arc)} at "
        f"“{room.goal.name}”, from straight before it and thrown exactly as told, still goes in; "
        "dashed: the spread that costs one hit in 100 with the real shooter. Bars: "
        f"{whose}. Above zero is too far, or too far left. The scale is even in the grey strip and "
        f"logarithmic beyond.{more}",
        alt=f"Tolerance band over the distance. {sentence}.",
        svg=svg,
    )


def _room_title(room: ShotRoom, spreads: Sequence[Spreads], length_unit: str) -> str:
    """The place with the least room, beside the largest error there is."""
    enough_m = np.where(room.places_enough_m > 0.0, room.places_enough_m, np.inf)
    tightest = int(np.argmin(enough_m))
    told = "From none of the places does the shooter score"
    if np.isfinite(enough_m[tightest]):
        enough = f"{room_text(float(enough_m[tightest]), length_unit)} {length_label(length_unit)}"
        at = floor_with_unit(float(room.places_m[tightest]), length_unit)
        told = f"The most exacting place, {at} away: {enough} (1 sigma) cost one hit in 100"
    ends = [np.maximum(np.abs(one.lows), np.abs(one.highs)) for one, _ in spreads]
    largest = max((float(each.max()) for each in ends if len(each)), default=math.nan)
    if math.isfinite(largest):
        told += f"; 95 of 100 errors are below {length_with_unit(largest, length_unit)} everywhere"
    return told


def hit_maps(comparison: Comparison, floors: dict[str, FloorMap]) -> dict[str, HitMap]:
    """The hit map of each plan drawn whose hits are known, best first.

    On top of what one frame of each camera leaves, the plan's own errors at its shots are added.
    """
    with_hits = {row.plan for row in comparison.ranking if row.hits is not None}
    study = comparison.study
    maps = {}
    for plan, floor in floors.items():
        shooter = study.plan(plan).rig.body.shooter
        if plan in with_hits and shooter is not None:
            runs = [run for run in comparison.runs if run.plan == plan]
            extra = shot_second_moments(runs, arena=study.arena)
            maps[plan] = hit_map(
                floor, shooter=shooter, extra_cov=extra, workers=os.cpu_count() or 1
            )
    return maps


def hits_picture(
    comparison: Comparison, maps: dict[str, HitMap], *, length_unit: str = "cm"
) -> Picture | None:
    """From where on the floor the shots go in; ``None`` without a map."""
    if not maps:
        return None
    likely = {name: _likely_share(one) for name, one in maps.items()}
    least, most = (pick(likely, key=lambda name: likely[name]) for pick in (min, max))
    with drawing():
        figure, axes = map_grid(comparison, {name: one.floor for name, one in maps.items()})
        images = [
            draw_hit_chance(ax, one, comparison.study.arena, length_unit=length_unit)
            for ax, one in zip(axes, maps.values(), strict=True)
        ]
        for ax in axes:
            ax.label_outer()
        add_hit_bar(axes, images[0])
        sentence = f"9 of 10 shots go in from {100 * likely[most]:.0f} % of the floor ({most})"
        if most != least:
            sentence += f", with “{least}” from {100 * likely[least]:.0f} %"
        set_finding(figure, sentence)
        svg = svg_text(figure)
    first = next(iter(maps.values()))
    return Picture(
        name="hit_map",
        caption=f"Expected hits in 100 shots at “{first.floor.goal.name}” (orange) by a robot that "
        "stands there and faces it; the line: 90. Its error: what one frame of each camera leaves "
        "there, and on top of it what the plan was off at its shots in this study, build errors "
        f"included ({_extra_text(first, length_unit)} for “{next(iter(maps))}”). Obstacles in "
        "the way of the piece are not looked at." + left_out(comparison),
        alt=f"Floor maps of the expected hits. {sentence}.",
        svg=svg,
    )


def _likely_share(one: HitMap) -> float:
    """Share of the floor from which nine of ten shots go in."""
    return float(np.mean(one.shares[one.floor.is_standable] >= LIKELY_SHARE))


def _extra_text(one: HitMap, length_unit: str) -> str:
    along, across, heading = one.extra_std.tolist()
    return (
        f"{length_with_unit(along, length_unit)} along the line of sight, "
        f"{length_with_unit(across, length_unit)} across it and {to_degrees(heading):.2f}° RMS"
    )
