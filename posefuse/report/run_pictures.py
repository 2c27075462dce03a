"""Pictures of one run: the court from above, the error over time, what the filter made of it."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from posefuse.arena.arena import Arena, Goal
from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.estimate import Estimate, Outcome
from posefuse.geometry.plane import PlanePose
from posefuse.plots.consistency import draw_nis
from posefuse.plots.court import court_margin_m, draw_court
from posefuse.plots.drive import draw_path, draw_shots, exaggeration_of
from posefuse.plots.rig import draw_robot
from posefuse.plots.style import Axes, drawing, new_figure, set_finding, svg_text
from posefuse.plots.timeline import draw_distance_error, draw_sightings, tags_per_bin
from posefuse.recording.recording import Recording, SightingKind
from posefuse.report.picture import Picture
from posefuse.report.wording import length_with_unit, number_text, share_text
from posefuse.robot.rig import Rig
from posefuse.scoring.instants import InstantErrors, instant_errors
from posefuse.scoring.score import shot_rows

__all__ = ["PICTURE_WIDTH_IN", "PicturedTrial", "court_picture", "nis_picture", "timeline_picture"]

PICTURE_WIDTH_IN = 7.8
_MARKS_WITHOUT_SHOTS = 16


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PicturedTrial:
    """One run with what its pictures need.

    Parameters
    ----------
    title
        Whose run it is.
    goal
        The goal of a run without shots; ``None``: no distance is drawn.
    """

    title: str
    recording: Recording
    estimate: Estimate
    arena: Arena
    rig: Rig
    goal: Goal | None

    @property
    def t_s(self) -> FloatArray:
        """The odometry's stamps, from the first one on."""
        return np.asarray(self.estimate.stamps_s - self.estimate.stamps_s[0])

    def shot_goals(self) -> list[Goal]:
        """The goal of each shot."""
        shots = self.recording.shots
        return [self.arena.goal(name) for name in shots.goals] if shots is not None else []

    def goals_ahead(self) -> list[Goal]:
        """The goal of the next shot at every odometry row; after the last one it stays."""
        goals = self.shot_goals() or ([self.goal] if self.goal is not None else [])
        if not goals:
            return []
        coming = np.searchsorted(shot_rows(self.recording), np.arange(len(self.t_s)))
        return [goals[place] for place in np.minimum(coming, len(goals) - 1)]

    def errors_at(self, rows: IntArray, goals: list[Goal]) -> InstantErrors:
        """Errors at some odometry rows; nan without a truth."""
        return instant_errors(rows, estimate=self.estimate, truth=self.recording.truth, goals=goals)

    def distance_std_m(self, goals: list[Goal]) -> FloatArray:
        """The filter's own spread of the distance to the goal of each row, (rows,)."""
        toward = np.array([goal.xy_in_world_m for goal in goals]) - self.estimate.poses[:, :2]
        toward /= np.maximum(np.hypot(*toward.T), 1e-9)[:, None]
        variance = np.einsum("ni,nij,nj->n", toward, self.estimate.covs[:, :2, :2], toward)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))


def court_picture(run: PicturedTrial, *, length_unit: str = "cm") -> Picture:
    """The arena with the way driven, and estimate and ellipse at the shots."""
    rows, label = _marked_rows(run)
    errors = run.errors_at(rows, run.shot_goals())
    instant, sentence = _worst_shot(run, errors, length_unit)
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, _court_height_in(run.arena))
        ax = figure.subplots()
        draw_court(ax, run.arena, length_unit=length_unit)
        _draw_ways(ax, run, length_unit)
        factor = _draw_marks(ax, run, errors, label=label, length_unit=length_unit)
        pose = errors.true_poses[instant]
        if not np.isfinite(pose).all():
            pose = run.estimate.poses[rows[instant]]
        draw_robot(
            ax,
            run.rig,
            PlanePose(pose),
            arena=run.arena,
            reach_m=6.0 * court_margin_m(run.arena),
            length_unit=length_unit,
        )
        figure.legend(loc="outside lower center", ncols=2)
        set_finding(figure, run.title, sentence)
        svg = svg_text(figure)
    looks = " and what its cameras look at" if run.rig.mounts else ""
    caption = (
        f"The court from above, with the robot{looks} {run.t_s[rows[instant]]:.1f} s into the run"
        + (", at that shot" if sentence else "")
        + (f". Errors and ellipses are drawn {factor} times their size." if factor > 1 else ".")
    )
    return Picture(
        name="court",
        caption=caption,
        alt=f"Court from above: {run.title}. {sentence}".strip(),
        svg=svg,
    )


def _marked_rows(run: PicturedTrial) -> tuple[IntArray, str]:
    """The rows marked on the court and what they are: the shots, or instants spread evenly."""
    rows = shot_rows(run.recording)
    if len(rows):
        return rows, "true place of a shot"
    last = len(run.t_s) - 1
    return np.unique(np.linspace(0, last, _MARKS_WITHOUT_SHOTS).astype(np.int64)), "true place"


def _worst_shot(run: PicturedTrial, errors: InstantErrors, length_unit: str) -> tuple[int, str]:
    """Which mark has the largest distance error, and that in words; the first mark without any."""
    sizes = np.abs(errors.distance_error_m)
    if not np.isfinite(sizes).any():
        return 0, ""
    worst = int(np.nanargmax(sizes))
    size = length_with_unit(float(sizes[worst]), length_unit)
    at_s = run.t_s[errors.rows[worst]]
    return worst, f"The worst of {len(sizes)} shots is off by {size}, at {at_s:.1f} s"


def _draw_ways(ax: Axes, run: PicturedTrial, length_unit: str) -> None:
    """The true path; the estimated one where it is all there is, or far enough off to be seen."""
    step = max(1, len(run.t_s) // 1500)
    errors = run.errors_at(np.arange(0, len(run.t_s), step), [])
    is_known = np.isfinite(errors.position_error_m)
    if is_known.any():
        draw_path(ax, errors.true_poses[:, :2], length_unit=length_unit)
    seen_from_m = 0.2 * court_margin_m(run.arena)
    if not is_known.any() or np.median(errors.position_error_m[is_known]) > seen_from_m:
        draw_path(
            ax,
            run.estimate.poses[errors.rows, :2],
            length_unit=length_unit,
            label="path as estimated",
            colour="#0072B2",
            line_style="--",
        )


def _draw_marks(
    ax: Axes, run: PicturedTrial, errors: InstantErrors, *, label: str, length_unit: str
) -> int:
    """Draws errors and ellipses; tells how many times their size."""
    has_truth = run.recording.truth is not None
    estimated = run.estimate.poses[errors.rows]
    places = errors.true_poses if has_truth else estimated
    shown = np.isfinite(places).all(axis=1)
    true_xy, estimated_xy = places[shown, :2], estimated[shown, :2]
    covs = run.estimate.covs[errors.rows][shown, :2, :2]
    factor = exaggeration_of(covs, estimated_xy - true_xy, wanted_m=0.8 * court_margin_m(run.arena))
    draw_shots(
        ax,
        true_xy_m=true_xy,
        estimated_xy_m=estimated_xy,
        covs_m2=covs,
        exaggeration=factor,
        length_unit=length_unit,
        label=label if has_truth else label.replace("true", "estimated"),
        is_true=has_truth,
    )
    return factor


def _court_height_in(arena: Arena) -> float:
    across_in, around_m = PICTURE_WIDTH_IN - 0.9, 2.0 * court_margin_m(arena)
    height_in = across_in * (arena.width_m + around_m) / (arena.length_m + around_m)
    return min(max(height_in, 2.0), 9.0) + 1.4


def timeline_picture(run: PicturedTrial, *, length_unit: str = "cm") -> Picture:
    """Error over time with the filter's own band, and under it what each camera saw."""
    goals = run.goals_ahead()
    sensors = len(run.recording.sensor_names)
    heights = [3.0, 0.35 + 0.22 * max(sensors, 3)]
    with drawing():
        if goals:
            figure = new_figure(PICTURE_WIDTH_IN, sum(heights) + 0.8)
            top, strip = figure.subplots(2, 1, sharex=True, height_ratios=heights)
            sentence = _draw_error(top, run, goals, length_unit)
            set_finding(figure, run.title, sentence)
        else:
            figure = new_figure(PICTURE_WIDTH_IN, heights[1] + 1.0)
            strip, sentence = figure.subplots(), ""
            set_finding(figure, run.title)
        _draw_strip(strip, run)
        svg = svg_text(figure)
    to_goal = "the distance to the goal" + (" of the next shot" if run.shot_goals() else "")
    above = (
        f"Above: error of {to_goal} (estimate minus truth), and the filter's own ±2 sigma, which "
        "should hold 95 of 100. "
        if run.recording.truth is not None
        else f"Above: the filter's own ±2 sigma of {to_goal}. "
    )
    return Picture(
        name="timeline",
        caption=f"{above + 'Below: how' if goals else 'How'} many {_seen_things(run)} each sensor "
        "saw; white is none, pink is no frame.",
        alt=f"Distance error and sightings over time: {run.title}. {sentence}".strip(),
        svg=svg,
    )


def _draw_error(ax: Axes, run: PicturedTrial, goals: list[Goal], length_unit: str) -> str:
    """Draws the error; tells how much of it the filter's band holds."""
    every = run.errors_at(np.arange(len(run.t_s)), goals).distance_error_m
    rows = shot_rows(run.recording)
    std_m = run.distance_std_m(goals)
    draw_distance_error(
        ax,
        t_s=run.t_s,
        error_m=every,
        std_m=std_m,
        shots_t_s=run.t_s[rows],
        shot_errors_m=every[rows],
        length_unit=length_unit,
    )
    is_known = np.isfinite(every)
    if not is_known.any():
        return ""
    inside = float(np.mean(np.abs(every[is_known]) <= 2.0 * std_m[is_known]))
    rms = length_with_unit(math.sqrt(float(np.mean(every[is_known] ** 2))), length_unit)
    return f"Distance error {rms} RMS; {100.0 * inside:.0f} % of it within the filter's ±2 sigma"


def _seen_things(run: PicturedTrial) -> str:
    return "tags" if run.recording.sightings.kind is SightingKind.CORNERS else "beacons"


def _draw_strip(ax: Axes, run: PicturedTrial) -> None:
    recording, span_s = run.recording, (0.0, float(run.t_s[-1]))
    frames = recording.frames
    tags = tags_per_bin(
        captured_at_s=frames.captured_at_s - run.estimate.stamps_s[0],
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
        what=_seen_things(run),
    )


def nis_picture(run: PicturedTrial) -> Picture | None:
    """How the innovations of one run are spread; ``None`` when nothing reached the gate."""
    innovations = run.estimate.innovations
    reached = np.isfinite(innovations.nis)
    if not reached.any():
        return None
    dof = int(np.bincount(innovations.dof[reached]).argmax())
    nis = innovations.nis[reached & (innovations.dof == dof)]
    refused = float(np.mean(innovations.outcome[reached] == Outcome.GATED))
    sentence = (
        f"Half of the NIS lie below {number_text(float(np.median(nis)), 1)} (honest filter: "
        f"{number_text(float(chdtri(dof, 0.5)), 1)}); the gate refused {share_text(refused)} %"
    )
    with drawing():
        figure = new_figure(PICTURE_WIDTH_IN, 3.2)
        ax = figure.subplots()
        draw_nis(ax, nis=nis, dof=dof)
        set_finding(figure, run.title, sentence)
        svg = svg_text(figure)
    return Picture(
        name="nis",
        caption="How far measurements were from what the filter expected, in its own spreads: bars "
        "that follow the line mean that it knows how good its measurements are.",
        alt=f"Histogram of the normalised innovations squared: {run.title}. {sentence}.",
        svg=svg,
    )
