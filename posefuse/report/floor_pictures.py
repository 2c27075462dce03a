"""Maps of the floor: how accurate, how many tags, how many hits from every place."""

import math
from collections.abc import Sequence

import numpy as np

from posefuse.plots.floor import (
    add_error_bar,
    add_hit_bar,
    add_tags_bar,
    draw_expected_error,
    draw_hit_chance,
    draw_tags_seen,
)
from posefuse.plots.style import Axes, Figure, drawing, new_figure, set_finding, svg_text
from posefuse.report.picture import Picture
from posefuse.report.plan_pictures import hide_unused, left_out, wrapped
from posefuse.report.run_pictures import PICTURE_WIDTH_IN
from posefuse.report.wording import length_with_unit
from posefuse.study.findings import Findings
from posefuse.study.floor_map import FloorMap
from posefuse.units import length_label, metres_to, to_degrees

__all__ = ["expected_error_picture", "hits_picture", "tags_picture"]


def expected_error_picture(findings: Findings, *, length_unit: str = "cm") -> Picture | None:
    """The expected distance error from every place on the floor; ``None`` without a map."""
    maps = findings.floor_maps
    if not maps:
        return None
    known = np.concatenate([m.distance_rms_m[m.is_standable] for m in maps.values()])
    low, high = np.quantile(known, [0.02, 0.98])
    medians_m = {name: m.median_distance_rms_m for name, m in maps.items()}
    with drawing():
        figure, axes = _map_grid(findings, list(maps))
        images = [
            draw_expected_error(
                ax, m, findings.comparison.study.arena, span_m=(low, high), length_unit=length_unit
            )
            for ax, m in zip(axes, maps.values(), strict=True)
        ]
        for ax in axes:
            ax.label_outer()
        add_error_bar(axes, images[0], length_unit=length_unit)
        sentence = _median_title(medians_m, length_unit)
        set_finding(figure, sentence)
        svg = svg_text(figure)
    first = next(iter(maps.values()))
    return Picture(
        name="expected_error",
        caption="The error of the distance to be expected of the plan's own filter (RMS over all "
        f"builds and all noise) {_standing(first, length_unit)}. Noise averages over the frames of "
        "the standstill; errors of the build and the detector's bias are the same in all of them "
        "and do not. That a lone far tag may be solved the wrong way round is not in it. Light "
        "colours are good; where no tag is seen, what the robot knew on arrival is left."
        + left_out(findings),
        alt=f"Floor maps of the expected distance error. {sentence}.",
        svg=svg,
    )


def _median_title(medians_m: dict[str, float], length_unit: str) -> str:
    least, most = (pick(medians_m, key=lambda name: medians_m[name]) for pick in (min, max))
    sentence = f"Median over the floor: {length_with_unit(medians_m[least], length_unit)} ({least})"
    if most == least:
        return sentence
    return f"{sentence} to {length_with_unit(medians_m[most], length_unit)} ({most})"


def tags_picture(findings: Findings, *, length_unit: str = "cm") -> Picture | None:
    """How many tags the cameras find from every place on the floor; ``None`` without a map."""
    maps = findings.floor_maps
    if not maps:
        return None
    blind = {name: m.no_tag_share for name, m in maps.items()}
    least, most = (pick(blind, key=lambda name: blind[name]) for pick in (min, max))
    with drawing():
        figure, axes = _map_grid(findings, list(maps))
        top = max(float(np.nanmax(m.tags_seen)) for m in maps.values())
        images = [
            draw_tags_seen(
                ax, m, findings.comparison.study.arena, most=top, length_unit=length_unit
            )
            for ax, m in zip(axes, maps.values(), strict=True)
        ]
        for ax in axes:
            ax.label_outer()
        add_tags_bar(axes, images[0])
        sentence = f"No tag in sight from {100 * blind[least]:.0f} % of the floor ({least})"
        if len(maps) > 1:
            sentence += f" to {100 * blind[most]:.0f} % ({most})"
        set_finding(figure, sentence)
        svg = svg_text(figure)
    goal = next(iter(maps.values())).goal.name
    return Picture(
        name="tags_seen",
        caption="Tags that all cameras together find in one frame each when the robot stands there "
        f"and faces “{goal}” (orange); one that two cameras see counts twice; grey is where the "
        "robot cannot stand." + left_out(findings),
        alt=f"Floor maps of the tags seen. {sentence}.",
        svg=svg,
    )


def hits_picture(findings: Findings, *, length_unit: str = "cm") -> Picture | None:
    """From where on the floor the shots go in; ``None`` without a map."""
    maps = findings.hit_maps
    if not maps:
        return None
    likely = {name: one.likely_share for name, one in maps.items()}
    least, most = (pick(likely, key=lambda name: likely[name]) for pick in (min, max))
    with drawing():
        figure, axes = _map_grid(findings, list(maps))
        images = [
            draw_hit_chance(ax, one, findings.comparison.study.arena, length_unit=length_unit)
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
        "stands there and faces it; on the line: 90. Its error is that of the map of expected "
        "errors further down, errors of the build included; obstacles in the way of the piece are "
        "not looked at." + left_out(findings),
        alt=f"Floor maps of the expected hits. {sentence}.",
        svg=svg,
    )


def _standing(floor: FloorMap, length_unit: str) -> str:
    """Where and how long the robot stands, and what it knows beforehand."""
    arrival = floor.arrival
    known = f"{metres_to(length_unit, arrival.position_std_m):g} {length_label(length_unit)}"
    return (
        f"when the robot stands there for {arrival.standstill_s:g} s and faces “{floor.goal.name}” "
        f"(orange). It arrives knowing its pose to {known} and "
        f"{to_degrees(arrival.heading_std_rad):.0f}°, as from wheels alone some metres after the "
        "last tag"
    )


def _map_grid(findings: Findings, plans: Sequence[str]) -> tuple[Figure, list[Axes]]:
    """Axes for a map of each plan, with its name."""
    columns = min(2, len(plans))
    lines = math.ceil(len(plans) / columns)
    arena = findings.comparison.study.arena
    height_in = (PICTURE_WIDTH_IN - 1.4) / columns * arena.width_m / arena.length_m + 0.55
    figure = new_figure(PICTURE_WIDTH_IN, min(lines * height_in, 14.0) + 0.6)
    grid = figure.subplots(lines, columns, squeeze=False, sharex=True, sharey=True)
    hide_unused(grid, 1, len(plans), columns)
    axes: list[Axes] = list(grid.flat)[: len(plans)]
    for ax, name in zip(axes, plans, strict=True):
        ax.set_title(wrapped(name, 36))
    return figure, axes
