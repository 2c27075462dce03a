"""Pictures that set the plans of a comparison side by side."""

import math

from posefuse.checks import FloatArray
from posefuse.plots.boxes import box_legend_handles, draw_error_boxes, error_span_m
from posefuse.plots.consistency import draw_nees
from posefuse.plots.rig import draw_rig_from_above, draw_rig_from_side, rig_legend_handles
from posefuse.plots.style import drawing, new_figure, set_finding, svg_text
from posefuse.report.panels import columns_of_sketches, wrapped
from posefuse.report.picture import Picture
from posefuse.report.run_pictures import PICTURE_WIDTH_IN
from posefuse.report.wording import length_with_unit, number_text
from posefuse.study.comparison import Comparison
from posefuse.study.consistency import POSE_DOF
from posefuse.study.findings import MOST_PLANS, Findings

__all__ = [
    "box_picture",
    "consistency_picture",
    "left_out",
    "plan_numbers",
    "rig_picture",
]

_MOST_COURSES = 4


def plan_numbers(findings: Findings) -> list[int]:
    """The number in the study of each plan shown: it stands for the plan's colour."""
    order = [plan.name for plan in findings.comparison.study.plans]
    return [order.index(plan) for plan in findings.shown_plans]


def left_out(findings: Findings) -> str:
    """What a caption says of plans that are not drawn."""
    more = len(findings.comparison.ranking) - MOST_PLANS
    return f" The {more} plans that rank last are left out." if more > 0 else ""


def rig_picture(findings: Findings, *, length_unit: str = "cm") -> Picture:
    """Every plan's robot from above and from the side."""
    plans, travel_m = findings.shown_plans, findings.lift_travel_m
    columns = columns_of_sketches(len(plans))
    blocks = math.ceil(len(plans) / columns)
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, 4.6 * blocks + 0.4)
        grid = figure.subplots(
            2 * blocks, columns, squeeze=False, height_ratios=[1.0, 0.95] * blocks
        )
        upper, lower = list(grid[::2].flat), list(grid[1::2].flat)
        for above, side, name in zip(upper, lower, plans, strict=False):
            rig = findings.comparison.study.plan(name).rig
            draw_rig_from_above(above, rig, length_unit=length_unit)
            draw_rig_from_side(side, rig, lift_travel_m=travel_m, length_unit=length_unit)
            above.set_title(wrapped(name, 24))
            above.set_xlabel("")
        for axes in (upper, lower):
            for place, ax in enumerate(axes[: len(plans)]):
                if place % columns:
                    ax.set_ylabel("")
            for ax in axes[len(plans) :]:
                ax.set_axis_off()
        handles = rig_legend_handles(has_lift=bool(travel_m))
        if len(plans) < len(upper):
            upper[len(plans)].legend(handles=handles, loc="upper left", fontsize=9.0)
        else:
            figure.legend(handles=handles, loc="outside lower center", ncols=3)
        svg = svg_text(figure)
    return Picture(
        name="rigs",
        caption="Each plan's robot from above (forward to the right) and from its right side; the "
        "numbers are the cameras' tilts above level." + left_out(findings),
        alt=f"Sketches of the rigs of {len(plans)} plans.",
        svg=svg,
    )


def box_picture(findings: Findings, *, length_unit: str = "cm") -> Picture:
    """A box over the distance errors of each plan, one panel a course."""
    comparison, plans = findings.comparison, findings.shown_plans
    panels = _panels(findings)
    span_m = error_span_m([sizes for panel in panels.values() for sizes, _ in panel])
    has_attainable = any(math.isfinite(least) for of in panels.values() for _, least in of)
    title = _box_title(comparison, length_unit)
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, 1.6 + 0.42 * len(plans))
        axes = figure.subplots(1, len(panels), sharey=True, squeeze=False)[0]
        for ax, (name, panel) in zip(axes, panels.items(), strict=True):
            draw_error_boxes(
                ax,
                plans=[wrapped(plan, 22) for plan in plans],
                errors_m=[errors for errors, _ in panel],
                attainable_m=[least for _, least in panel],
                colours=plan_numbers(findings),
                span_m=span_m,
                length_unit=length_unit,
            )
            ax.set_title(wrapped(name, 24))
        set_finding(figure, title)
        figure.legend(
            handles=box_legend_handles(has_attainable=has_attainable),
            loc="outside lower center",
            ncols=5,
        )
        svg = svg_text(figure)
    what = "at every shot of every trial" if comparison.is_at_shots else "(RMS of each trial)"
    return Picture(
        name="boxes",
        caption=f"Size of the distance error {what}, best plan on top"
        + ("; the axis is logarithmic." if span_m[0] > 0.0 else ".")
        + left_out(findings),
        alt=f"Box plot of the distance errors. {title}.",
        svg=svg,
    )


def _panels(findings: Findings) -> dict[str, list[tuple[FloatArray, float]]]:
    """Of each panel by its title: the errors and what is attainable of each plan shown."""
    plans, rankings = findings.shown_plans, findings.course_rankings
    if len(rankings) > _MOST_COURSES:
        attainable_m = {
            row.plan: row.distance_attainable_rms_m for row in findings.comparison.ranking
        }
        return {"all courses": [(findings.errors_m[plan], attainable_m[plan]) for plan in plans]}
    return {
        course: [
            (findings.course_errors_m[plan, course], row.distance_attainable_rms_m)
            for plan in plans
            for row in rows
            if row.plan == plan
        ]
        for course, rows in rankings.items()
    }


def _box_title(comparison: Comparison, length_unit: str) -> str:
    """The range the plans span, in words."""
    best, last = comparison.ranking[0], comparison.ranking[-1]
    least = length_with_unit(best.distance_rms_m.value, length_unit)
    if last is best:
        return f"{best.plan}: {least} RMS"
    most = length_with_unit(last.distance_rms_m.value, length_unit)
    return f"Smallest error: {best.plan}, {least} RMS; largest: {last.plan}, {most}"


def consistency_picture(findings: Findings) -> Picture | None:
    """NEES of each plan at each shot, averaged over the trials; ``None`` without shots."""
    if not findings.nees_at_shots:
        return None
    plans, trials = findings.shown_plans, findings.comparison.trials
    inside = number_text(100.0 * findings.consistent_share, 0)
    sentence = f"{inside} % of the shots lie where a consistent filter has 95 %"
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, 1.5 + 0.5 * len(plans))
        draw_nees(
            figure.subplots(),
            plans=[wrapped(plan, 26) for plan in plans],
            nees=[of_plan.at_shots for of_plan in findings.nees_at_shots.values()],
            means=[of_plan.mean for of_plan in findings.nees_at_shots.values()],
            region=findings.nees_region,
            colours=plan_numbers(findings),
            dof=POSE_DOF,
        )
        set_finding(figure, sentence)
        svg = svg_text(figure)
    return Picture(
        name="consistency",
        caption="One dot a shot: the squared error in units of the filter's own spread (NEES), "
        f"averaged over {trials} independent trials; right of the grey band the filter is "
        "overconfident, left of it underconfident. Shots of one trial are alike: the interval of "
        "the mean over all shots comes from the spread between trials. Where it holds "
        f"{POSE_DOF}, these trials show no fault of the filter." + left_out(findings),
        alt=f"Dots of the NEES of each plan. {sentence}.",
        svg=svg,
    )
