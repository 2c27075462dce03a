"""The error to be expected of a plan that stands still, by its own filter, without Monte Carlo.

A robot at rest takes the same frames again and again. Its filter averages their white noise; it
cannot average what is the same in all of them: errors of the build, the detector's bias, scatter
that stays while corners stay on their pixels. To first order about the truth and the nominal build,
as ``study.forecast`` along a path.

A filter that considers or estimates errors of the build weighs what it sees by what it believes of
them. Of one standstill in one batch either makes the same pose, the best linear one. What a filter
that estimates them has learned on the way there is not in it: with that it does better. Its first
frame is taken for straight about the arrival: from a vague one it does worse.
"""

import math
from dataclasses import dataclass

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.build_errors.constants import constants_of
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.checks import FloatArray, IntArray, positive
from posefuse.errors import InputError
from posefuse.fusion.settings import BuildErrors, FilterSettings, LateFrames, Measurement
from posefuse.fusion.weighing import extra_variances, pixel_variances, with_growth
from posefuse.robot.camera import Timing
from posefuse.robot.rig import Rig
from posefuse.sensing.views import TagViews
from posefuse.solving.linear import linear_cameras, linear_tags
from posefuse.study.compiled.standstill import write_standstill_covs
from posefuse.study.linear_frames import SeenTags, StillFrames, StillRoom

__all__ = ["Arrival", "standstill_covs"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """What a robot knows when it arrives, and how long it then stands.

    Parameters
    ----------
    position_std_m, heading_std_rad
        Spread of its pose beforehand, on each axis: the default is what the wheels alone leave some
        metres after the last tag.
    standstill_s
        For so long frames are fused before the pose is used.
    """

    position_std_m: float = 0.1
    heading_std_rad: float = math.radians(2.0)
    standstill_s: float = 0.5

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            positive(name, getattr(self, name))


def standstill_covs(
    poses: FloatArray,
    views: TagViews,
    *,
    rig: Rig,
    arena: Arena,
    settings: FilterSettings,
    spreads: BuildSpreads,
    arrival: Arrival,
) -> FloatArray:
    """Mean square errors (n, 3, 3) of x_m, y_m, heading_rad over all builds and all noise.

    A frame stands for all that a camera takes from a place: each tag counts in it by how often it
    is found, and the frame by how often any tag is. Where the filter allows for scatter that
    persists, N frames are worth ``N / (1 + (N - 1) persistent_fraction)`` to it. Its gate, and its
    choice between two poses that fit the corners, are taken to be right.

    Parameters
    ----------
    poses : (n, 3) array
        Where the robot stands: x_m, y_m, heading_rad.
    views
        ``sensing.views.still_views`` from there.
    spreads
        Of the errors that builds have; what the filter believes of them is in its settings.

    Raises
    ------
    InputError
        The settings fuse beacons.
    """
    if not settings.measurement.is_of_tags:
        raise InputError(
            "forecast: only filters that fuse tags can be forecast, not those of beacons"
        )
    frame, first, tag_count = np.unique(views.frame, return_index=True, return_counts=True)
    place, eye = np.divmod(frame, len(rig.mounts))
    missed = 1.0 - views.found_probability
    any_found = 1.0 - (np.multiply.reduceat(missed, first) if len(first) else missed)
    fused = np.array(
        [_fused_count(m.camera.timing, settings, arrival.standstill_s) for m in rig.mounts]
    )
    share = views.found_probability / np.repeat(any_found, tag_count)
    count = fused[eye] * any_found
    frames = _frames(poses[place], views, share, (eye, first, tag_count, count), settings)
    first_of_place = np.searchsorted(place, np.arange(len(poses) + 1))
    seen_by_place = np.bincount(place, weights=tag_count, minlength=1)
    constants = constants_of(rig, arena, spreads)
    prior_std = (arrival.position_std_m, arrival.position_std_m, arrival.heading_std_rad)
    covs = np.empty((len(poses), 3, 3))
    write_standstill_covs(
        (first_of_place, constants.first_tag, constants.first_lean),
        frames,
        SeenTags.of(views, slice(None), share=share),
        (linear_cameras(rig.mounts), linear_tags(arena.tags)),
        settings.measurement is Measurement.POSE,
        (np.array(prior_std) ** -2.0, _believed_stds(rig, arena, settings), constants.stds),
        StillRoom.empty(int(seen_by_place.max())),
        covs,
    )
    return covs


def _believed_stds(rig: Rig, arena: Arena, settings: FilterSettings) -> FloatArray:
    """Spreads of the constants as the filter takes them, (p,): zero for a build taken for exact."""
    believed = settings.believed
    if settings.build_errors is BuildErrors.IGNORED or believed is None:
        believed = BuildSpreads()
    return constants_of(rig, arena, believed).stds


def _fused_count(timing: Timing, settings: FilterSettings, standstill_s: float) -> float:
    """How many frames of a standstill reach the filter and are not too late for it, on average."""
    oldest_s = {
        LateFrames.REINSERT: settings.history_s,
        LateFrames.AS_CURRENT: np.inf,
        LateFrames.DROP: settings.drop_older_than_s,
    }[settings.late_frames]
    spare_s, jitter_s = oldest_s - timing.latency_s, timing.latency_jitter_s
    in_time = float(spare_s >= 0.0)
    if abs(spare_s) < jitter_s:
        in_time = 0.5 * (1.0 + spare_s / jitter_s)
    return in_time * (1.0 - timing.drop_rate) * timing.frame_rate_hz * standstill_s


def _frames(
    poses: FloatArray,
    views: TagViews,
    share: FloatArray,
    order: tuple[IntArray, IntArray, IntArray, FloatArray],
    settings: FilterSettings,
) -> StillFrames:
    """One frame of each camera from each place from which it sees a tag."""
    eye, first, tag_count, count = order
    found = np.add.reduceat(share, first) if len(eye) else np.zeros(0)
    distances = np.add.reduceat(share * views.distance_m, first) if len(eye) else np.zeros(0)
    mean_distance_m = distances / found
    repeated = np.maximum(count - 1.0, 0.0) * settings.noise.persistent_fraction
    pixel_var, extra_var = with_growth(
        pixel_variances(settings, mean_distance_m),
        extra_variances(settings, mean_distance_m, found),
        1.0 + repeated,
    )
    return StillFrames(
        eye=eye,
        first=first,
        tag_count=tag_count,
        pose=np.ascontiguousarray(poses),
        fused=count,
        pixel_var=pixel_var,
        extra_var=extra_var,
    )
