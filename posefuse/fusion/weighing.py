"""What of each sighting enters the filter, and how far it is trusted."""

import math

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.errors import InputError
from posefuse.fusion.compiled.measurements import tag_distances
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.measurements import (
    BeaconMeasurements,
    CornerMeasurements,
    PoseMeasurements,
)
from posefuse.fusion.settings import Ambiguous, FilterSettings, Measurement, NoiseKind
from posefuse.recording.recording import Recording, Sightings
from posefuse.robot.rig import Rig
from posefuse.solving.fixes import PoseFixes, normalised_corners, solve_frames
from posefuse.solving.repeats import count_repeats

__all__ = [
    "beacon_measurements",
    "cameras_of_frames",
    "check_kind",
    "corner_measurements",
    "extra_variances",
    "pixel_variances",
    "sighting_repeats",
    "solve_sightings",
    "tags_seen",
    "weigh_fixes",
    "with_growth",
]

_HOPELESS = 100.0
"""A second solution that fits the corners worse by so many squared spreads is not offered."""


def check_kind(recording: Recording, wanted: Measurement) -> None:
    """Refuse a measurement that the recording's sightings do not hold.

    Raises
    ------
    InputError
        The recording holds another kind of sighting; the message names what can be fused from it.
    """
    kind = recording.sightings.kind
    if kind is not wanted.sighting_kind:
        fitting = " or ".join(repr(m.value) for m in Measurement if m.sighting_kind is kind)
        raise InputError(
            f"measurement: recording {recording.name!r} holds {kind.value} sightings, from which"
            f" {fitting} can be fused (got {wanted.value!r})"
        )


def solve_sightings(
    recording: Recording, *, rig: Rig, arena: Arena, until_s: float = math.inf
) -> PoseFixes:
    """The pose of the robot at every frame that saw a tag.

    Parameters
    ----------
    until_s
        Frames that arrive later are left out.

    Raises
    ------
    InputError
        A tag or camera that the arena or the rig does not have.
    """
    sightings = recording.sightings
    target = tags_seen(recording, arena)
    chosen: slice | BoolArray = slice(None)
    if until_s < math.inf:
        chosen = recording.frames.arrived_at_s[sightings.frame] <= until_s
    return solve_frames(
        sighting_frame=sightings.frame[chosen],
        sighting_tag=target[chosen],
        corners_px=sightings.values[chosen].reshape(-1, 4, 2),
        camera_of_frame=cameras_of_frames(recording, rig),
        mounts=rig.mounts,
        tags=arena.tags,
    )


def tags_seen(recording: Recording, arena: Arena) -> IntArray:
    """Index into the arena's tags of each sighting of corners, (S,).

    Raises
    ------
    InputError
        A tag that the arena does not have.
    """
    return _targets_of(recording.sightings, "tag", [tag.id for tag in arena.tags])


def cameras_of_frames(recording: Recording, rig: Rig) -> IntArray:
    """Index into the rig's mounts of each frame's camera, (F,).

    Raises
    ------
    InputError
        A camera that the rig does not have.
    """
    return _sensors_of_frames(recording, rig, [m.name for m in rig.mounts])


def sighting_repeats(recording: Recording, *, rig: Rig, arena: Arena) -> IntArray:
    """For each sighting how many frames in a row have shown its tag where it is now, (S,)."""
    sightings = recording.sightings
    camera = cameras_of_frames(recording, rig)[sightings.frame]
    tag = tags_seen(recording, arena)
    return count_repeats(sightings.values, camera=camera, tag=tag)


def weigh_fixes(
    fixes: PoseFixes, settings: FilterSettings, *, repeats: IntArray | None = None
) -> PoseMeasurements:
    """Solved poses with the covariance and the choice of solutions that the settings give them.

    Where corners are to be fused (a start from tags needs solved poses nevertheless) the corners'
    own noise is carried through the reprojection Jacobian, whatever its kind.

    Parameters
    ----------
    repeats : (S,) ints
        For each sighting how many frames in a row have shown its tag where it is now: see
        ``sighting_repeats``. Without them all frames count as independent.
    """
    pixel_vars = pixel_variances(settings, fixes.mean_distance_m)
    extra_vars = extra_variances(settings, fixes.mean_distance_m, fixes.tag_count)
    if repeats is not None:
        growth = _mean_over_frames(fixes, _growth(repeats, settings.noise.persistent_fraction))
        pixel_vars, extra_vars = with_growth(pixel_vars, extra_vars, growth)
    fit_vars = np.where(pixel_vars > 0.0, pixel_vars, settings.noise.pixel_std_px**2)
    misfits = 8.0 * fixes.tag_count[:, None] * fixes.rms_px**2 / fit_vars[:, None]
    offered = np.minimum(fixes.solution_count, 1)
    outcome = np.where(offered > 0, Outcome.FUSED, Outcome.NO_SOLUTION).astype(np.int64)
    has_two = fixes.solution_count > 1
    if settings.ambiguous is Ambiguous.NEAREST:
        offered = offered + (has_two & (misfits[:, 1] < misfits[:, 0] + _HOPELESS))
    elif settings.ambiguous is Ambiguous.SKIP:
        is_close = fixes.rms_px[:, 1] < settings.ambiguity_ratio * fixes.rms_px[:, 0]
        outcome[has_two & is_close] = Outcome.AMBIGUOUS
    return PoseMeasurements(
        frame=fixes.frame,
        sighting=fixes.first_sighting,
        tag_count=fixes.tag_count,
        poses=fixes.poses,
        unit_covs=fixes.unit_covs,
        pixel_vars_px2=pixel_vars,
        extra_vars=extra_vars,
        misfits=misfits,
        offered=offered,
        outcome=outcome,
    )


def _growth(repeats: IntArray, persistent_fraction: float) -> FloatArray:
    """What the variance of the j-th frame of one place is multiplied by, (S,).

    So that N frames are worth ``N / (1 + (N - 1) r)``: the information that the mean of N values
    holds of which each two correlate by r.
    """
    r, before = persistent_fraction, repeats - 1.0
    growth: FloatArray = (1.0 + before * r) * (1.0 + (before - 1.0) * r) / (1.0 - r)
    return growth


def with_growth(
    pixel_vars: FloatArray, extra_vars: FloatArray, growth: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Variances of corners (n,), and what poses get besides (n, 2), where frames repeat each other.

    The floors of poses that are weighed by their corners stay.
    """
    is_of_corners = pixel_vars > 0.0
    grown = np.where(is_of_corners[:, None], extra_vars, extra_vars * growth[:, None])
    return pixel_vars * growth, grown


def _mean_over_frames(fixes: PoseFixes, values: FloatArray) -> FloatArray:
    """Mean of a number of each sighting over the frames with sightings."""
    if not len(fixes.frame):
        return np.empty(0)
    return np.asarray(np.add.reduceat(values, fixes.first_sighting) / fixes.tag_count)


def pixel_variances(settings: FilterSettings, mean_distance_m: FloatArray) -> FloatArray:
    """Variance of the corners in each frame, (n,); 0 where the noise model does not use it."""
    noise, stds = settings.noise, np.zeros(len(mean_distance_m))
    if noise.kind is NoiseKind.SOLVED or settings.measurement is Measurement.CORNERS:
        stds += noise.pixel_std_px
    if noise.kind is NoiseKind.GROWING and settings.measurement is Measurement.CORNERS:
        stds += noise.pixel_std_px_per_m * mean_distance_m
    return stds**2


def extra_variances(
    settings: FilterSettings, mean_distance_m: FloatArray, tag_count: FloatArray | IntArray
) -> FloatArray:
    """What the noise model adds for each solved pose, (n, 2): to x and y, and to the heading."""
    noise, stds = settings.noise, np.empty((len(mean_distance_m), 2))
    if noise.kind is NoiseKind.SOLVED or settings.measurement is Measurement.CORNERS:
        stds[:] = noise.position_floor_m, noise.heading_floor_rad
        return stds**2
    stds[:] = noise.position_std_m, noise.heading_std_rad
    if noise.kind is NoiseKind.GROWING:
        per_m2 = np.array([noise.position_std_m_per_m2, noise.heading_std_rad_per_m2])
        stds += mean_distance_m[:, None] ** 2 * per_m2
        stds /= np.sqrt(np.maximum(tag_count, 1))[:, None]
    return stds**2


def corner_measurements(
    recording: Recording, *, rig: Rig, arena: Arena, settings: FilterSettings
) -> CornerMeasurements:
    """The corners of every tag seen.

    Raises
    ------
    InputError
        A tag or camera that the arena or the rig does not have.
    """
    sightings, noise = recording.sightings, settings.noise
    target = tags_seen(recording, arena)
    mount_of_frame = cameras_of_frames(recording, rig)
    corners = normalised_corners(
        sighting_frame=sightings.frame,
        corners_px=sightings.values.reshape(-1, 4, 2),
        camera_of_frame=mount_of_frame,
        mounts=rig.mounts,
    )
    stds_px = np.full(len(target), noise.pixel_std_px)
    if noise.kind is NoiseKind.GROWING:
        distances = np.empty(len(target))
        edges = np.array([tag.edge_m for tag in arena.tags])
        tag_distances(corners, edges, target, distances)
        stds_px += noise.pixel_std_px_per_m * distances
    vars_px2 = stds_px**2
    if noise.persistent_fraction > 0.0:
        repeats = sighting_repeats(recording, rig=rig, arena=arena)
        vars_px2 *= _growth(repeats, noise.persistent_fraction)
    return CornerMeasurements(
        frame=sightings.frame,
        sighting=np.arange(len(target)),
        target=target,
        corners_px=sightings.values,
        corners=corners,
        vars_px2=vars_px2,
        mount_of_frame=mount_of_frame,
        mounts=rig.mounts,
        tags=arena.tags,
    )


def beacon_measurements(
    recording: Recording, *, rig: Rig, arena: Arena, settings: FilterSettings
) -> BeaconMeasurements:
    """Range, or range and bearing, of every beacon heard.

    Raises
    ------
    InputError
        A beacon or ranger that the arena or the rig does not have.
    """
    sightings, noise = recording.sightings, settings.noise
    ranges_m = sightings.values[:, 0]
    stds_m = np.full(len(ranges_m), noise.range_std_m)
    if noise.kind is NoiseKind.GROWING:
        stds_m += noise.range_std_m_per_m * ranges_m
    has_bearing = settings.measurement is Measurement.RANGE_BEARING
    return BeaconMeasurements(
        frame=sightings.frame,
        sighting=np.arange(len(ranges_m)),
        target=_targets_of(sightings, "beacon", [beacon.id for beacon in arena.beacons]),
        ranges_m=ranges_m,
        bearings_rad=sightings.values[:, 1] if has_bearing else None,
        range_vars_m2=stds_m**2,
        bearing_std_rad=noise.bearing_std_rad,
        ranger_of_frame=_sensors_of_frames(recording, rig, [r.name for r in rig.rangers]),
        rangers=rig.rangers,
        beacons=arena.beacons,
    )


def _targets_of(sightings: Sightings, what: str, ids: list[int]) -> IntArray:
    """Index into the arena of what each sighting shows."""
    known = np.array(ids, dtype=np.int64)
    order = np.argsort(known)
    if len(known) == 0:
        known, order = np.array([-1]), np.array([0])
    place = np.minimum(np.searchsorted(known[order], sightings.id), len(known) - 1)
    target = order[place]
    is_unknown = known[target] != sightings.id
    if is_unknown.any():
        wrong = int(sightings.id[np.argmax(is_unknown)])
        names = ", ".join(str(n) for n in sorted(ids)) or "none"
        raise InputError(f"sightings: {what} id {wrong} is not in the arena (it has: {names})")
    return target


def _sensors_of_frames(recording: Recording, rig: Rig, allowed: list[str]) -> IntArray:
    """Index into ``allowed`` of the sensor of each frame."""
    index = np.array(
        [allowed.index(name) if name in allowed else -1 for name in recording.sensor_names],
        dtype=np.int64,
    )
    sensors = index[recording.frames.sensor]
    if (sensors < 0).any():
        wrong = recording.sensor_names[recording.frames.sensor[np.argmax(sensors < 0)]]
        names = ", ".join(allowed) or "none"
        raise InputError(
            f"frames: {wrong!r} cannot give {recording.sightings.kind.value} sightings"
            f" (rig {rig.name!r} can with: {names})"
        )
    return sensors
