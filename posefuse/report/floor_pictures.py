"""Maps of the floor: how accurate, how many tags, how many hits from every place."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from posefuse.plots.floor import (
    add_error_bar,
    add_hit_bar,
    add_hit_difference_bar,
    add_tags_bar,
    draw_expected_error,
    draw_hit_chance,
    draw_hit_difference,
    draw_tags_seen,
)
from posefuse.plots.style import Axes, Figure, drawing, new_figure, set_finding, svg_text
from posefuse.report.panels import columns_of_maps, show_outer_labels, wrapped
from posefuse.report.picture import Picture
from posefuse.report.plan_pictures import left_out
from posefuse.report.run_pictures import PICTURE_WIDTH_IN
from posefuse.report.wording import length_with_unit, listed
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
        figure, axes, spare = _map_grid(findings, list(maps))
        images = [
            draw_expected_error(
                ax, m, findings.comparison.study.arena, span_m=(low, high), length_unit=length_unit
            )
            for ax, m in zip(axes, maps.values(), strict=True)
        ]
        show_outer_labels(axes, columns_of_maps(len(axes)))
        add_error_bar(axes, images[0], spare=spare, length_unit=length_unit)
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
        + _knowing(maps)
        + left_out(findings),
        alt=f"Floor maps of the expected distance error. {sentence}.",
        svg=svg,
    )


def _knowing(maps: Mapping[str, FloorMap]) -> str:
    """Which plans' filters know how exact builds are, and what of that is in the maps."""
    considering = [name for name, one in maps.items() if one.considers_build]
    estimating = [name for name, one in maps.items() if one.estimates_build]
    text = ""
    if considering:
        text += (
            f" The filter of {listed(considering)} considers errors of the build: it trusts what it"
            " sees as far as builds are exact."
        )
    if estimating:
        text += (
            f" The filter of {listed(estimating)} estimates errors of the build; shown is the least"
            " error that one standstill allows it before it has learned anything of its own build."
            " It does worse at first from an arrival as vague as this, and better over a run."
        )
    return text


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
        figure, axes, spare = _map_grid(findings, list(maps))
        top = max(float(np.nanmax(m.tags_seen)) for m in maps.values())
        images = [
            draw_tags_seen(
                ax, m, findings.comparison.study.arena, most=top, length_unit=length_unit
            )
            for ax, m in zip(axes, maps.values(), strict=True)
        ]
        show_outer_labels(axes, columns_of_maps(len(axes)))
        add_tags_bar(axes, images[0], spare=spare)
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
    base, arena = findings.hit_base, findings.comparison.study.arena
    others = {name: one for name, one in maps.items() if name != base}
    with drawing():
        titles = {
            name: f"{wrapped(name, 36)}: {100 * share:.0f} %" for name, share in likely.items()
        }
        figure, first, axes, spare = _base_and_others(
            findings, titles[base], [titles[name] for name in others]
        )
        image = draw_hit_chance(first, maps[base], arena, length_unit=length_unit)
        add_hit_bar([first], image)
        images = [
            draw_hit_difference(
                ax,
                one.floor,
                findings.hit_differences_per_100[name],
                arena,
                most=findings.hit_difference_span_per_100,
                length_unit=length_unit,
            )
            for ax, (name, one) in zip(axes, others.items(), strict=True)
        ]
        if images:
            show_outer_labels(axes, columns_of_maps(len(axes)))
            add_hit_difference_bar(axes, images[0], spare=spare)
        sentence = f"9 of 10 shots go in from {100 * likely[most]:.0f} % of the floor ({most})"
        if most != least:
            sentence += f", with “{least}” from {100 * likely[least]:.0f} %"
        set_finding(figure, sentence)
        svg = svg_text(figure)
    shown = maps[base]
    below = (
        f" Below: what the other plans hit more (green) or fewer (brown) than “{base}”."
        if others
        else ""
    )
    return Picture(
        name="hit_map",
        caption=f"Expected hits in 100 shots at “{shown.floor.goal.name}” (orange) by a robot that "
        "stands there and faces it; on the line: 90, and above each map from how much of the floor "
        f"nine of ten go in.{below} Its error is that of the map of expected errors further down, "
        "errors of the build included; obstacles in the way of the piece are not looked at."
        + left_out(findings),
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


def _map_grid(findings: Findings, plans: Sequence[str]) -> tuple[Figure, list[Axes], Axes | None]:
    """Axes for a map of each plan, with its name; what is left over of the grid, for a legend."""
    columns = columns_of_maps(len(plans))
    lines = math.ceil(len(plans) / columns)
    figure = new_figure(PICTURE_WIDTH_IN, lines * _line_height_in(findings, columns) + 0.6)
    axes = list(figure.subplots(lines, columns, squeeze=False).flat)
    return figure, *_titled(axes, [wrapped(plan, 36) for plan in plans])


def _base_and_others(
    findings: Findings, base_title: str, other_titles: Sequence[str]
) -> tuple[Figure, Axes, list[Axes], Axes | None]:
    """Axes for a large map of one plan, and for smaller ones of the others below it."""
    columns = columns_of_maps(max(len(other_titles), 1))
    lines = math.ceil(len(other_titles) / columns)
    large_in, small_in = (_line_height_in(findings, count) for count in (1, columns))
    below_in = lines * small_in + 0.2
    figure = new_figure(PICTURE_WIDTH_IN, large_in + below_in * bool(other_titles) + 0.6)
    if not other_titles:
        ax = figure.subplots()
        ax.set_title(base_title)
        return figure, ax, [], None
    halves: Any = figure.subfigures(2, 1, height_ratios=[large_in, below_in])
    upper, lower = halves
    first = upper.subplots()
    first.set_title(base_title)
    axes = list(lower.subplots(lines, columns, squeeze=False).flat)
    return figure, first, *_titled(axes, other_titles)


def _titled(axes: list[Axes], titles: Sequence[str]) -> tuple[list[Axes], Axes | None]:
    """As many of the axes as there are titles, with these, and one that is left over."""
    for ax, title in zip(axes, titles, strict=False):
        ax.set_title(title)
    return axes[: len(titles)], axes[-1] if len(axes) > len(titles) else None


def _line_height_in(findings: Findings, columns: int) -> float:
    """Height of a line of maps in so many columns, with their titles."""
    arena = findings.comparison.study.arena
    height_in = (PICTURE_WIDTH_IN - 1.4) / columns * arena.width_m / arena.length_m + 0.55
    return min(height_in, 4.5)
