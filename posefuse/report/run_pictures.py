"""Pictures of one run: the court from above, the error over time, what the filter made of it."""

import math

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.geometry.plane import PlanePose
from posefuse.plots.consistency import draw_nis
from posefuse.plots.court import court_margin_m, draw_court
from posefuse.plots.drive import draw_path, draw_shots, exaggeration_of
from posefuse.plots.rig import draw_robot
from posefuse.plots.style import Axes, drawing, new_figure, set_finding, svg_text
from posefuse.plots.timeline import draw_distance_error, draw_sightings, tags_per_bin
from posefuse.recording.recording import SightingKind
from posefuse.report.picture import Picture
from posefuse.report.wording import length_with_unit, number_text, share_text
from posefuse.study.pictured_trial import PicturedTrial

__all__ = ["PICTURE_WIDTH_IN", "court_picture", "nis_picture", "timeline_picture"]

PICTURE_WIDTH_IN = 7.8


def court_picture(trial: PicturedTrial, *, length_unit: str = "cm") -> Picture:
    """The arena with the way driven, and estimate and ellipse at the shots."""
    marks, worst = trial.marks, trial.worst_mark
    shown, sentence = worst or 0, _worst_sentence(trial, length_unit)
    pose = marks.true_poses[shown]
    if not np.isfinite(pose).all():
        pose = trial.estimate.poses[marks.rows[shown]]
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, _court_height_in(trial.arena))
        ax = figure.subplots()
        draw_court(ax, trial.arena, length_unit=length_unit)
        _draw_ways(ax, trial, length_unit)
        factor = _draw_marks(ax, trial, length_unit)
        draw_robot(
            ax,
            trial.rig,
            PlanePose(pose),
            arena=trial.arena,
            reach_m=6.0 * court_margin_m(trial.arena),
            length_unit=length_unit,
        )
        figure.legend(loc="outside lower center", ncols=2)
        set_finding(figure, trial.title, sentence)
        svg = svg_text(figure)
    views = " and the views of its cameras" if trial.rig.mounts else ""
    caption = (
        f"The court from above, with the robot{views} {trial.t_s[marks.rows[shown]]:.1f} s into "
        "the run"
        + (", at that shot" if sentence else "")
        + (f". Errors and ellipses are drawn {factor} times their size." if factor > 1 else ".")
    )
    return Picture(
        name="court",
        caption=caption,
        alt=f"Court from above: {trial.title}. {sentence}".strip(),
        svg=svg,
    )


def _worst_sentence(trial: PicturedTrial, length_unit: str) -> str:
    """The mark with the largest distance error; empty without any."""
    worst = trial.worst_mark
    if worst is None:
        return ""
    sizes = np.abs(trial.marks.distance_error_m)
    size = length_with_unit(float(sizes[worst]), length_unit)
    at_s = trial.t_s[trial.marks.rows[worst]]
    return f"The worst of {len(sizes)} shots is off by {size}, at {at_s:.1f} s"


def _draw_ways(ax: Axes, trial: PicturedTrial, length_unit: str) -> None:
    """The true path; the estimated one where it is all there is, or far enough off to be seen."""
    rows = np.arange(0, len(trial.t_s), max(1, len(trial.t_s) // 1500))
    errors_m = trial.course.position_error_m[rows]
    is_known = np.isfinite(errors_m)
    if is_known.any():
        draw_path(ax, trial.course.true_poses[rows, :2], length_unit=length_unit)
    seen_from_m = 0.2 * court_margin_m(trial.arena)
    if not is_known.any() or np.median(errors_m[is_known]) > seen_from_m:
        draw_path(
            ax,
            trial.estimate.poses[rows, :2],
            length_unit=length_unit,
            label="path as estimated",
            colour="#0072B2",
            line_style="--",
        )


def _draw_marks(ax: Axes, trial: PicturedTrial, length_unit: str) -> int:
    """Draws errors and ellipses; returns how many times their size."""
    marks, has_truth = trial.marks, trial.recording.truth is not None
    estimated = trial.estimate.poses[marks.rows]
    places = marks.true_poses if has_truth else estimated
    shown = np.isfinite(places).all(axis=1)
    true_xy, estimated_xy = places[shown, :2], estimated[shown, :2]
    covs = trial.estimate.covs[marks.rows][shown, :2, :2]
    wanted_m = 0.8 * court_margin_m(trial.arena)
    factor = exaggeration_of(covs, estimated_xy - true_xy, wanted_m=wanted_m)
    label = f"{'true' if has_truth else 'estimated'} place"
    draw_shots(
        ax,
        true_xy_m=true_xy,
        estimated_xy_m=estimated_xy,
        covs_m2=covs,
        exaggeration=factor,
        length_unit=length_unit,
        label=f"{label} of a shot" if trial.has_shots else label,
        is_true=has_truth,
    )
    return factor


def _court_height_in(arena: Arena) -> float:
    across_in, around_m = PICTURE_WIDTH_IN - 0.9, 2.0 * court_margin_m(arena)
    height_in = across_in * (arena.width_m + around_m) / (arena.length_m + around_m)
    return min(max(height_in, 2.0), 9.0) + 1.4


def timeline_picture(
    trial: PicturedTrial, *, name: str = "timeline", length_unit: str = "cm"
) -> Picture:
    """Error over time with the filter's own band, and under it what each camera saw."""
    sensors = len(trial.recording.sensor_names)
    heights = [3.0, 0.35 + 0.22 * max(sensors, 3)]
    sentence = _band_sentence(trial, length_unit)
    with drawing():
        if trial.has_distance:
            figure = new_figure(PICTURE_WIDTH_IN, sum(heights) + 0.8)
            top, strip = figure.subplots(2, 1, sharex=True, height_ratios=heights)
            _draw_error(top, trial, length_unit)
            set_finding(figure, trial.title, sentence)
        else:
            figure = new_figure(PICTURE_WIDTH_IN, heights[1] + 1.0)
            strip = figure.subplots()
            set_finding(figure, trial.title)
        _draw_strip(strip, trial)
        svg = svg_text(figure)
    return Picture(
        name=name,
        caption=_timeline_caption(trial),
        alt=f"Distance error and sightings over time: {trial.title}. {sentence}".strip(),
        svg=svg,
    )


def _timeline_caption(trial: PicturedTrial) -> str:
    below = f"many {_seen_things(trial)} each sensor saw; white is none, pink is no frame."
    if not trial.has_distance:
        return f"How {below}"
    to_goal = "the distance to the goal" + (" of the next shot" if trial.has_shots else "")
    above = (
        f"error of {to_goal} (estimate minus truth), and the filter's own ±2 sigma, which should "
        "hold 95 of 100."
        if trial.recording.truth is not None
        else f"the filter's own ±2 sigma of {to_goal}."
    )
    return f"Above: {above} Below: how {below}"


def _band_sentence(trial: PicturedTrial, length_unit: str) -> str:
    """How much of the error the filter's band holds; empty without a truth."""
    if not math.isfinite(trial.distance_rms_m):
        return ""
    rms = length_with_unit(trial.distance_rms_m, length_unit)
    inside = 100.0 * trial.share_within_two_sigma
    return f"Distance error {rms} RMS; {inside:.0f} % of it within the filter's ±2 sigma"


def _draw_error(ax: Axes, trial: PicturedTrial, length_unit: str) -> None:
    every = trial.course.distance_error_m
    rows = trial.marks.rows if trial.has_shots else np.zeros(0, dtype=np.int64)
    draw_distance_error(
        ax,
        t_s=trial.t_s,
        error_m=every,
        std_m=trial.distance_std_m,
        shots_t_s=trial.t_s[rows],
        shot_errors_m=every[rows],
        length_unit=length_unit,
    )


def _seen_things(trial: PicturedTrial) -> str:
    return "tags" if trial.recording.sightings.kind is SightingKind.CORNERS else "beacons"


def _draw_strip(ax: Axes, trial: PicturedTrial) -> None:
    recording, span_s = trial.recording, (0.0, float(trial.t_s[-1]))
    frames = recording.frames
    tags = tags_per_bin(
        captured_at_s=frames.captured_at_s - trial.estimate.stamps_s[0],
        sensor=frames.sensor,
        tag_counts=np.bincount(recording.sightings.frame, minlength=len(frames.sensor)),
        sensor_count=len(recording.sensor_names),
        span_s=span_s,
    )
    draw_sightings(
        ax,
        tags=tags,
        sensor_names=recording.sensor_names,
        span_s=span_s,
        what=_seen_things(trial),
    )


def nis_picture(trial: PicturedTrial) -> Picture | None:
    """How the innovations of one run are spread; ``None`` when nothing reached the gate."""
    sample = trial.nis
    if sample is None:
        return None
    sentence = (
        f"Half of the NIS lie below {number_text(sample.median, 1)} (consistent filter: "
        f"{number_text(sample.expected_median, 1)}); the gate refused "
        f"{share_text(sample.gated_share)} %"
    )
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, 3.2)
        draw_nis(figure.subplots(), nis=sample.nis, dof=sample.dof)
        set_finding(figure, trial.title, sentence)
        svg = svg_text(figure)
    return Picture(
        name="nis",
        caption="How far measurements were from what the filter expected, in its own spreads: bars "
        "that follow the line mean that it knows how good its measurements are.",
        alt=f"Histogram of the normalised innovations squared: {trial.title}. {sentence}.",
        svg=svg,
    )
