"""Pictures that set the plans of a comparison side by side."""

import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posefuse.checks import FloatArray
from posefuse.plots.boxes import box_legend_handles, draw_error_boxes, error_span_m
from posefuse.plots.consistency import draw_nees
from posefuse.plots.floor import add_error_bar, add_tags_bar, draw_expected_error, draw_tags_seen
from posefuse.plots.rig import draw_rig_from_above, draw_rig_from_side
from posefuse.plots.style import Axes, Figure, drawing, new_figure, set_finding, svg_text
from posefuse.report.picture import Picture
from posefuse.report.run_pictures import PICTURE_WIDTH_IN
from posefuse.report.wording import is_at_shots, length_with_unit, number_text
from posefuse.statistics.chi_square import chi_square_average_interval
from posefuse.study.comparison import Comparison, Run
from posefuse.study.floor_map import FloorMap, floor_map
from posefuse.units import length_label, metres_to, to_degrees

__all__ = [
    "box_picture",
    "consistency_picture",
    "expected_error_picture",
    "floor_maps",
    "left_out",
    "map_grid",
    "plan_colours",
    "rig_picture",
    "shown_plans",
    "tags_picture",
    "wrapped",
]

MOST_PLANS = 12
"""Plans drawn side by side; of more, the best of the ranking."""
_MOST_COURSES = 4


def shown_plans(comparison: Comparison) -> list[str]:
    """The plans drawn, best first."""
    return [row.plan for row in comparison.ranking[:MOST_PLANS]]


def plan_colours(comparison: Comparison, plans: Sequence[str]) -> list[int]:
    """The number of each plan in the study, which tells its colour."""
    order = [plan.name for plan in comparison.study.plans]
    return [order.index(plan) for plan in plans]


def left_out(comparison: Comparison) -> str:
    """What a caption says of plans that are not drawn."""
    more = len(comparison.ranking) - MOST_PLANS
    return f" The {more} plans that rank last are left out." if more > 0 else ""


def rig_picture(comparison: Comparison, *, length_unit: str = "cm") -> Picture:
    """Every plan's robot from above and from the side."""
    plans = shown_plans(comparison)
    columns = min(3, len(plans))
    blocks = math.ceil(len(plans) / columns)
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, 4.3 * blocks)
        grid = figure.subplots(
            2 * blocks,
            columns,
            squeeze=False,
            sharex=True,
            height_ratios=[1.0, 0.85] * blocks,
        )
        for place, name in enumerate(plans):
            block, column = divmod(place, columns)
            above, side = grid[2 * block, column], grid[2 * block + 1, column]
            rig = comparison.study.plan(name).rig
            draw_rig_from_above(above, rig, length_unit=length_unit)
            draw_rig_from_side(side, rig, length_unit=length_unit)
            above.set_title(wrapped(name, 24))
        for ax in grid.flat:
            ax.label_outer()
        _hide_unused(grid, 2, len(plans), columns)
        svg = svg_text(figure)
    return Picture(
        name="rigs",
        caption="Each plan's robot from above (forward to the right) and from its right side, with "
        "the cameras' views cut off short; the numbers are the cameras' tilts above level."
        + left_out(comparison),
        alt=f"Sketches of the rigs of {len(plans)} plans.",
        svg=svg,
    )


def _hide_unused(grid: NDArray[Any], rows_each: int, count: int, columns: int) -> None:
    for place in range(count, len(grid) // rows_each * columns):
        block, column = divmod(place, columns)
        for row in range(rows_each):
            grid[rows_each * block + row, column].set_visible(False)


def box_picture(comparison: Comparison, *, length_unit: str = "cm") -> Picture:
    """A box over the distance errors of each plan, one panel a course."""
    plans = shown_plans(comparison)
    courses = [course.name for course in comparison.study.courses]
    panels = [[name] for name in courses] if len(courses) <= _MOST_COURSES else [courses]
    runs = [[[comparison.run(plan, name) for name in panel] for plan in plans] for panel in panels]
    errors = [[_errors_m(of_plan) for of_plan in panel] for panel in runs]
    span_m = error_span_m([sizes for panel in errors for sizes in panel])
    has_bound = not math.isnan(_bound_rms_m([run for panel in runs for of in panel for run in of]))
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, 1.6 + 0.42 * len(plans))
        axes = figure.subplots(1, len(panels), sharey=True, squeeze=False)[0]
        for ax, panel, of_panel, sizes in zip(axes, panels, runs, errors, strict=True):
            draw_error_boxes(
                ax,
                plans=[wrapped(plan, 22) for plan in plans],
                errors_m=sizes,
                bounds_m=[_bound_rms_m(of_plan) for of_plan in of_panel],
                colours=plan_colours(comparison, plans),
                span_m=span_m,
                length_unit=length_unit,
            )
            ax.set_title(wrapped(panel[0], 24) if len(panel) == 1 else "all courses")
        set_finding(figure, _box_title(comparison, length_unit))
        figure.legend(
            handles=box_legend_handles(has_bound=has_bound), loc="outside lower center", ncols=5
        )
        svg = svg_text(figure)
    what = "at every shot of every trial" if is_at_shots(comparison) else "(RMS of each trial)"
    return Picture(
        name="boxes",
        caption=f"Size of the distance error {what}, best plan on top"
        + ("; the axis is logarithmic." if span_m[0] > 0.0 else ".")
        + left_out(comparison),
        alt=f"Box plot of the distance errors. {_box_title(comparison, length_unit)}.",
        svg=svg,
    )


def _box_title(comparison: Comparison, length_unit: str) -> str:
    """The range the plans span, in words."""
    best, last = comparison.ranking[0], comparison.ranking[-1]
    sentence = f"{best.plan}: {length_with_unit(best.distance_rms_m.value, length_unit)} RMS"
    if last is best:
        return sentence
    return f"{sentence}; {last.plan}: {length_with_unit(last.distance_rms_m.value, length_unit)}"


def _errors_m(runs: Sequence[Run]) -> FloatArray:
    """Errors at the shots of all trials; where none is marked, each trial's RMS."""
    cards = [card for run in runs for card in run.cards]
    at_shots = [card.shots.distance_error_m for card in cards if card.shots is not None]
    if at_shots:
        return np.concatenate(at_shots)
    spans = [card.whole_course.distance_m for card in cards]
    return np.array([span.rms for span in spans if span is not None])


def _bound_rms_m(runs: Sequence[Run]) -> float:
    spans = [card.at_shots or card.whole_course for run in runs for card in run.cards]
    bounds = [s.bound_distance_rms_m for s in spans if s.bound_distance_rms_m is not None]
    return math.sqrt(float(np.mean(np.square(bounds)))) if bounds else math.nan


def floor_maps(comparison: Comparison) -> dict[str, FloorMap]:
    """The floor map of each drawn plan that finds a place to stand, best first.

    The cells are 0.3 m wide, wider where more than 60 of them would lie along a wall.
    """
    study = comparison.study
    cell_m = max(0.3, study.arena.length_m / 60.0, study.arena.width_m / 60.0)
    maps = {
        name: floor_map(arena=study.arena, rig=study.plan(name).rig, goal=study.goal, cell_m=cell_m)
        for name in shown_plans(comparison)
    }
    return {name: made for name, made in maps.items() if made.is_standable.any()}


def expected_error_picture(
    comparison: Comparison, maps: dict[str, FloorMap], *, length_unit: str = "cm"
) -> Picture | None:
    """The expected distance error from every place on the floor; ``None`` without a map."""
    if not maps:
        return None
    known = np.concatenate([m.distance_std_m[m.is_standable] for m in maps.values()])
    low, high = np.quantile(known, [0.02, 0.98])
    medians = {name: float(np.nanmedian(m.distance_std_m)) for name, m in maps.items()}
    with drawing():
        figure, axes = map_grid(comparison, maps)
        images = [
            draw_expected_error(
                ax, m, comparison.study.arena, span_m=(low, high), length_unit=length_unit
            )
            for ax, m in zip(axes, maps.values(), strict=True)
        ]
        for ax in axes:
            ax.label_outer()
        add_error_bar(axes, images[0], length_unit=length_unit)
        sentence = _median_title(medians, length_unit)
        set_finding(figure, sentence)
        svg = svg_text(figure)
    first = next(iter(maps.values()))
    prior = f"{metres_to(length_unit, first.prior_position_std_m):g} {length_label(length_unit)}"
    return Picture(
        name="expected_error",
        caption="What one frame of each camera can tell of the distance to "
        f"“{first.goal.name}” (orange) when the robot stands there and faces it, knowing its pose "
        f"only to {prior} and {to_degrees(first.prior_heading_std_rad):.0f}° before. "
        "Light is good; build errors are left out, so real errors are larger."
        + left_out(comparison),
        alt=f"Floor maps of the expected distance error. {sentence}.",
        svg=svg,
    )


def _median_title(medians_m: dict[str, float], length_unit: str) -> str:
    least, most = (pick(medians_m, key=lambda name: medians_m[name]) for pick in (min, max))
    sentence = f"Median over the floor: {length_with_unit(medians_m[least], length_unit)} ({least})"
    if most == least:
        return sentence
    return f"{sentence} to {length_with_unit(medians_m[most], length_unit)} ({most})"


def tags_picture(
    comparison: Comparison, maps: dict[str, FloorMap], *, length_unit: str = "cm"
) -> Picture | None:
    """How many tags the cameras find from every place on the floor; ``None`` without a map."""
    if not maps:
        return None
    blind = {name: float(np.mean(m.tags_seen[m.is_standable] < 0.5)) for name, m in maps.items()}
    least, most = (pick(blind, key=lambda name: blind[name]) for pick in (min, max))
    with drawing():
        figure, axes = map_grid(comparison, maps)
        top = max(float(np.nanmax(m.tags_seen)) for m in maps.values())
        images = [
            draw_tags_seen(ax, m, comparison.study.arena, most=top, length_unit=length_unit)
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
        "robot cannot stand." + left_out(comparison),
        alt=f"Floor maps of the tags seen. {sentence}.",
        svg=svg,
    )


def map_grid(comparison: Comparison, maps: Mapping[str, FloorMap]) -> tuple[Figure, list[Axes]]:
    """Axes for a map of each plan, with its name."""
    columns = min(2, len(maps))
    lines = math.ceil(len(maps) / columns)
    arena = comparison.study.arena
    height_in = (PICTURE_WIDTH_IN - 1.4) / columns * arena.width_m / arena.length_m + 0.55
    figure = new_figure(PICTURE_WIDTH_IN, min(lines * height_in, 14.0) + 0.6)
    grid = figure.subplots(lines, columns, squeeze=False, sharex=True, sharey=True)
    _hide_unused(grid, 1, len(maps), columns)
    axes: list[Axes] = list(grid.flat)[: len(maps)]
    for ax, name in zip(axes, maps, strict=True):
        ax.set_title(wrapped(name, 36))
    return figure, axes


def consistency_picture(comparison: Comparison) -> Picture | None:
    """NEES of each plan at each shot, averaged over the trials; ``None`` without shots."""
    if not is_at_shots(comparison):
        return None
    plans = shown_plans(comparison)
    nees = [
        np.concatenate(
            [
                np.mean([card.shots.nees for card in run.cards if card.shots is not None], axis=0)
                for run in comparison.runs
                if run.plan == plan and run.cards[0].shots is not None
            ]
        )
        for plan in plans
    ]
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, 1.5 + 0.5 * len(plans))
        ax = figure.subplots()
        draw_nees(
            ax,
            plans=[wrapped(plan, 26) for plan in plans],
            nees=nees,
            trials=comparison.trials,
            colours=plan_colours(comparison, plans),
        )
        sentence = _consistency_title(comparison, nees)
        set_finding(figure, sentence)
        svg = svg_text(figure)
    return Picture(
        name="consistency",
        caption="One dot a shot: the squared error in units of the filter's own spread (NEES), "
        f"averaged over {comparison.trials} trials; right of the grey band the filter is too sure "
        "of itself." + left_out(comparison),
        alt=f"Dots of the NEES of each plan. {sentence}.",
        svg=svg,
    )


def _consistency_title(comparison: Comparison, nees: Sequence[FloatArray]) -> str:
    low, high = chi_square_average_interval(3, comparison.trials)
    every = np.concatenate(nees)
    every = every[np.isfinite(every)]
    inside = float(np.mean((every >= low) & (every <= high))) if every.size else math.nan
    return f"{number_text(100.0 * inside, 0)} % of the shots lie where an honest filter has 95 %"


def wrapped(name: str, width: int) -> str:
    """The name on two lines at most; of a longer one the middle is left out."""
    if len(name) > 2 * width:
        name = f"{name[: width - 2].rstrip()} … {name[1 - width :].lstrip()}"
    return "\n".join(textwrap.wrap(name, width)) or name
