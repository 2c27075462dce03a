"""Which of two poses a standing robot is at, where the tags it sees fit both.

A lone tag that is far or nearly face on looks almost the same from two places. One frame picks the
wrong one about as often as not; the mean of many frames tells them apart, if their noise averages
out. What the frames show as scatter does; what is left of the stated spread may be the same in all.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.errors import InputError
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.gates import chi_square_quantile
from posefuse.fusion.measurements import PoseMeasurements
from posefuse.fusion.settings import Ambiguous, FilterSettings
from posefuse.fusion.standstill import GATE_PROBABILITY, Solutions, solutions_of
from posefuse.fusion.timeline import odometry_poses
from posefuse.fusion.weighing import solve_sightings, weigh_fixes
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.geometry.plane import PlanePose, plane_motion_jacobians
from posefuse.recording.recording import Frames, Odometry, Recording
from posefuse.robot.rig import Rig
from posefuse.solving.fixes import PoseFixes

__all__ = ["MeanViews", "carried", "mean_views", "offering_both", "which_answer"]

_SURE = 2.0 * math.log(1000.0)
"""An answer is taken where the other is a thousand times less likely."""
_ALIKE_M, _ALIKE_RAD = 0.05, math.radians(2.0)
"""Answers nearer to each other than this need not be told apart: a start's spread holds both."""
_NEVER_CLEAR = 1e6
"""No error of a second solution is so many times that of the first."""
_APART_M = 0.1
"""Answers that merge may lie so near to each other that it does not matter which is taken."""
_VIEW_NUMBERS = 6
"""A camera's pose, fitted to the corners."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeanViews:
    """What each camera saw on average while the robot stood: one frame a camera.

    Parameters
    ----------
    recording
        Of these frames alone, captured at the mean instants.
    frame_counts : (cameras,) ints
        How many frames each is the mean of.
    scatters_px2 : (cameras,) array
        Variance of one corner on one axis from frame to frame; 0 where there are fewer than three.
    """

    recording: Recording
    frame_counts: IntArray
    scatters_px2: FloatArray


def offering_both(settings: FilterSettings) -> FilterSettings:
    """The settings, but with both solutions of every frame to choose from."""
    return replace(settings, ambiguous=Ambiguous.NEAREST, ambiguity_ratio=_NEVER_CLEAR)


def carried(
    fixes: PoseMeasurements, captured_at_s: FloatArray, *, odometry: Odometry, row: int
) -> PoseMeasurements:
    """The fixes as poses at an odometry row, moved on from their captures by the odometry.

    Parameters
    ----------
    captured_at_s : (n,) array
        Of each fix; those outside the run up to the row are carried as if captured at its ends.
    """
    stamps = odometry.stamps_s
    ends = np.append(np.clip(captured_at_s, stamps[0], stamps[row]), stamps[row])
    at = odometry_poses(odometry, ends)
    onward = PlanePose((PlanePose(at[:-1]).inverse() @ PlanePose(at[-1])).values[:, None])
    before = PlanePose(fixes.poses)
    by_pose, _ = plane_motion_jacobians(before, onward)
    return replace(
        fixes,
        poses=(before @ onward).wrapped().values,
        unit_covs=by_pose @ fixes.unit_covs @ np.swapaxes(by_pose, -1, -2),
    )


def mean_views(recording: Recording, *, frames: IntArray) -> MeanViews:
    """The mean corners of each camera, over those of its frames that show its usual tags.

    Usual are the tags together in view in the most sightings. Scatter is taken from second
    differences over three frames, a sixth of their mean square, so that a robot that creeps evenly
    does not pass for noise (J. von Neumann and others, Annals of Mathematical Statistics 12,
    153-162, 1941).

    Parameters
    ----------
    frames : (n,) ints
        Which frames count.
    """
    seen, all_frames = recording.sightings, recording.frames
    groups: dict[int, dict[tuple[int, ...], list[tuple[float, FloatArray]]]] = {}
    first, last = np.searchsorted(seen.frame, [frames, frames + 1])
    for frame, begin, end in zip(frames.tolist(), first.tolist(), last.tolist(), strict=True):
        views = groups.setdefault(int(all_frames.sensor[frame]), {})
        corners, ids = seen.values[begin:end], tuple(seen.id[begin:end].tolist())
        views.setdefault(ids, []).append((float(all_frames.captured_at_s[frame]), corners))
    usual = []
    for sensor, views in groups.items():
        ids, shown = max(views.items(), key=lambda view: len(view[0]) * len(view[1]))
        corners = np.array([own for _, own in shown])
        bends = np.diff(corners, n=2, axis=0)
        scatter = float((bends**2).mean()) / 6.0 if len(bends) else 0.0
        captured_s = float(np.mean([at_s for at_s, _ in shown]))
        usual.append((captured_s, sensor, ids, corners.mean(axis=0), len(shown), scatter))
    usual.sort(key=lambda view: view[:2])
    at_s = np.array([view[0] for view in usual])
    return MeanViews(
        recording=replace(
            recording,
            frames=Frames(
                sensor=np.array([view[1] for view in usual]), captured_at_s=at_s, arrived_at_s=at_s
            ),
            sightings=replace(
                seen,
                frame=np.repeat(np.arange(len(usual)), [len(view[2]) for view in usual]),
                id=np.concatenate([np.array(view[2]) for view in usual]),
                values=np.concatenate([view[3] for view in usual]),
            ),
        ),
        frame_counts=np.array([view[4] for view in usual]),
        scatters_px2=np.array([view[5] for view in usual]),
    )


def which_answer(
    views: MeanViews, *, rig: Rig, arena: Arena, settings: FilterSettings, row: int
) -> FloatArray:
    """The pose (3,) at an odometry row that the cameras' mean views agree on.

    ``ambiguous`` says what to do with a view that fits two poses. ``skip``: it is left out.
    ``best``: the one that fits it better counts, however little better. ``nearest``: both count,
    and that answer is taken which all cameras together make a thousand times as likely as any
    other: by how well the corners fit it, and by how well it fits the other cameras' answers.

    Raises
    ------
    InputError
        Nothing is left after ``skip``, or no answer is so much more likely.
    """
    fixes = solve_sightings(views.recording, rig=rig, arena=arena)
    is_solved = fixes.solution_count > 0
    mode, fault = settings.ambiguous, "the mean of what each camera saw fits no pose"
    if mode is Ambiguous.SKIP:
        is_solved &= weigh_fixes(fixes, settings).outcome != Outcome.AMBIGUOUS
        fault = "every view fits two poses and 'skip' leaves it out"
    if not is_solved.any():
        raise InputError(_message(fault))
    chosen = np.flatnonzero(is_solved)
    variances = _mean_variances(fixes, views, settings)
    if mode is Ambiguous.NEAREST:
        fixes = _with_merged_answers(fixes, views.recording, variances, rig=rig, arena=arena)
    weighed = weigh_fixes(fixes, offering_both(settings))
    captured_s = views.recording.frames.captured_at_s
    at_row = carried(weighed, captured_s, odometry=views.recording.odometry, row=row)
    offered = np.minimum(fixes.solution_count, 2 if mode is Ambiguous.NEAREST else 1)
    in_px = np.where(weighed.pixel_vars_px2 > 0.0, variances, 0.0)
    at_row = replace(at_row, pixel_vars_px2=in_px, offered=offered)
    solutions = solutions_of(at_row, chosen, settings.noise)
    errors = np.where(offered[:, None] > 1, fixes.rms_px**2, fixes.rms_px[:, :1] ** 2)
    misfits = 8.0 * fixes.tag_count[:, None] * (errors - errors[:, :1]) / variances[:, None]
    costs, takes = _costs(solutions, misfits[chosen])
    best = int(np.argmin(costs))
    is_other = ((takes != takes[best]) & (offered[chosen] > 1)).any(axis=1)
    hypotheses = solutions.poses.reshape(-1, 3)
    is_other &= _is_elsewhere(hypotheses, hypotheses[best])
    if is_other.any():
        rival = int(np.argmin(np.where(is_other, costs, np.inf)))
        if costs[rival] - costs[best] < _SURE:
            places = f"{_place(hypotheses[best])} and {_place(hypotheses[rival])}"
            raise InputError(_message(f"what was seen fits {places}"))
    pose: FloatArray = hypotheses[best]
    return pose


def _is_elsewhere(poses: FloatArray, pose: FloatArray) -> BoolArray:
    """Which poses (n, 3) lie so far from one that to take the wrong one would matter, (n,)."""
    off_m = np.hypot(*(poses - pose)[:, :2].T)
    off_rad = np.abs(wrap_angle_rad(poses[:, 2] - pose[2]))
    elsewhere: BoolArray = (off_m > _ALIKE_M) | (off_rad > _ALIKE_RAD)
    return elsewhere


def _costs(solutions: Solutions, misfits: FloatArray) -> tuple[FloatArray, IntArray]:
    """How ill each solution fits all views, (2 n,), and which solution of each view it takes.

    Twice the negative log of its likelihood, less a constant: by the squared distance from the
    nearest solution of each view, up to a bound, and that solution's misfit (n, 2).
    """
    bound = 4.0 * chi_square_quantile(GATE_PROBABILITY, 3)
    squared = solutions.squared_distances(solutions.poses.reshape(-1, 3))
    each = np.minimum(squared + misfits, bound)
    takes: IntArray = np.argmin(squared + misfits, axis=2)
    return each.min(axis=2).sum(axis=1), takes


def _with_merged_answers(
    fixes: PoseFixes, recording: Recording, variances_px2: FloatArray, *, rig: Rig, arena: Arena
) -> PoseFixes:
    """The fixes, with a second answer where a lone tag is seen so nearly head on that both merge.

    The noise then decides on which side of the tag's normal the one answer lies, and the covariance
    at it does not tell. The second is the robot turned about the tag to the other side; it counts
    as one that fits as well, where it lies within the reach of the first one's spread.
    """
    poses, covs = fixes.poses.copy(), fixes.unit_covs.copy()
    rms_px, counts = fixes.rms_px.copy(), fixes.solution_count.copy()
    mounts, tags = {m.name: m for m in rig.mounts}, {tag.id: tag for tag in arena.tags}
    bound = 4.0 * chi_square_quantile(GATE_PROBABILITY, 3)
    for view in np.flatnonzero((fixes.tag_count == 1) & (counts == 1)):
        mount = mounts[recording.sensor_names[recording.frames.sensor[fixes.frame[view]]]]
        seen = tags[int(recording.sightings.id[fixes.first_sighting[view]])].world_from_tag
        camera = PlanePose(poses[view, 0]).transform(mount.position_in_robot_m[:2])
        ahead, normal = camera - seen.translation_m[:2], seen.rotation[:2, 2]
        aside = math.atan2(
            normal[0] * ahead[1] - normal[1] * ahead[0], normal[0] * ahead[0] + normal[1] * ahead[1]
        )
        about_tag = PlanePose([0.0, 0.0, -2.0 * aside])
        middle = np.array([*seen.translation_m[:2], 0.0])
        other = (about_tag @ PlanePose(poses[view, 0] - middle)).values + middle
        off = other - poses[view, 0]
        spread = variances_px2[view] * covs[view, 0]
        if np.hypot(*off[:2]) > _APART_M and off @ np.linalg.solve(spread, off) < bound:
            c, s = math.cos(2.0 * aside), math.sin(2.0 * aside)
            turn = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
            poses[view, 1], covs[view, 1] = other, turn @ covs[view, 0] @ turn.T
            rms_px[view, 1], counts[view] = rms_px[view, 0], 2
    return replace(fixes, poses=poses, unit_covs=covs, rms_px=rms_px, solution_count=counts)


def _message(fault: str) -> str:
    return (
        f"start_from 'tags': {fault}; start where the robot sees two tags, or one nearer or more"
        " from aside, or state the start pose (ambiguous = 'best' takes the better fit unasked)"
    )


def _place(pose: FloatArray) -> str:
    return f"({pose[0]:.2f} m, {pose[1]:.2f} m, {math.degrees(pose[2]):.0f}\u00b0)"


def _mean_variances(fixes: PoseFixes, views: MeanViews, settings: FilterSettings) -> FloatArray:
    """Variance (n,) of a mean corner on one axis, in px^2.

    What the frames scatter averages out over them; the rest of the stated spread does not. Never
    less than what the better solution leaves over.
    """
    stated = weigh_fixes(fixes, settings).pixel_vars_px2
    stated = np.where(stated > 0.0, stated, settings.noise.pixel_std_px**2)
    shown = views.scatters_px2
    spread = np.maximum(stated - shown, 0.0) + shown / views.frame_counts
    numbers = 8 * fixes.tag_count
    left_over = fixes.rms_px[:, 0] ** 2 * numbers / (numbers - _VIEW_NUMBERS)
    return np.fmax(spread, left_over)
