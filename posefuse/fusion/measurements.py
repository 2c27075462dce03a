"""What of each sighting enters the filter, and how far it is trusted: shared by both filters."""

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from posefuse.arena.arena import Arena, Beacon, Tag
from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.errors import InputError
from posefuse.fusion.compiled.measurements import tag_distances
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.settings import (
    Ambiguous,
    FilterSettings,
    Measurement,
    NoiseKind,
)
from posefuse.recording.recording import Recording, Sightings
from posefuse.robot.rig import Mount, Ranger, Rig
from posefuse.solving.fixes import PoseFixes, normalised_corners, solve_frames

__all__ = [
    "BeaconMeasurements",
    "CornerMeasurements",
    "Measurements",
    "PoseMeasurements",
    "beacon_measurements",
    "check_kind",
    "corner_measurements",
    "extra_variances",
    "pixel_variances",
    "solve_sightings",
    "weigh_fixes",
]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PoseMeasurements:
    """The robot's pose at each capture as solved from the corners of one frame.

    Parameters
    ----------
    frame, sighting : (n,) ints
        Index into the recording; ``sighting`` is the frame's first.
    poses : (n, 2, 3) array
        Both solutions, the better fit first: x_m, y_m, heading_rad.
    unit_covs : (n, 2, 3, 3) array
        Their covariance for corners that err by 1 px.
    pixel_vars_px2, extra_vars : (n,), (n, 2) arrays
        Variance of the corners; variances added to x and to y, and to the heading.
    offered : (n,) ints
        How many of the solutions the filter may choose from.
    outcome : (n,) ints
        ``Outcome.FUSED`` where there is something to fuse; else why there is not.
    """

    frame: IntArray
    sighting: IntArray
    poses: FloatArray
    unit_covs: FloatArray
    pixel_vars_px2: FloatArray
    extra_vars: FloatArray
    offered: IntArray
    outcome: IntArray

    @property
    def dof(self) -> int:
        """Numbers in one measurement."""
        return 3

    def cov(self, index: int, solution: int) -> FloatArray:
        """Covariance (3, 3) of one solution in (x, y, heading)."""
        position_var, heading_var = self.extra_vars[index]
        from_corners = self.pixel_vars_px2[index] * self.unit_covs[index, solution]
        cov: FloatArray = from_corners + np.diag([position_var, position_var, heading_var])
        return cov


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CornerMeasurements:
    """The four corners of one tag, as they were seen.

    Parameters
    ----------
    frame, sighting : (n,) ints
        Index into the recording.
    target : (n,) ints
        Index into ``tags``.
    corners : (n, 4, 2) array
        On the plane at depth 1 of the camera, without distortion; nan where the lens has no such
        point.
    vars_px2 : (n,) array
        Variance of each corner on each axis.
    mount_of_frame : (frames,) ints
        Index into ``mounts``, for each frame of the recording.
    """

    frame: IntArray
    sighting: IntArray
    target: IntArray
    corners: FloatArray
    vars_px2: FloatArray
    mount_of_frame: IntArray
    mounts: tuple[Mount, ...]
    tags: tuple[Tag, ...]

    @property
    def outcome(self) -> IntArray:
        """``Outcome.FUSED`` for all: each has something to fuse."""
        return np.full(len(self.frame), Outcome.FUSED, dtype=np.int64)

    @property
    def dof(self) -> int:
        """Numbers in one measurement."""
        return 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeaconMeasurements:
    """Range, or range and bearing, of one beacon.

    Parameters
    ----------
    frame, sighting : (n,) ints
        Index into the recording.
    target : (n,) ints
        Index into ``beacons``.
    ranges_m, bearings_rad : (n,) arrays
        Slant range; bearing left of the robot's forward, ``None`` where none is measured.
    range_vars_m2 : (n,) array
        Variance of each range.
    ranger_of_frame : (frames,) ints
        Index into ``rangers``, for each frame of the recording.
    """

    frame: IntArray
    sighting: IntArray
    target: IntArray
    ranges_m: FloatArray
    bearings_rad: FloatArray | None
    range_vars_m2: FloatArray
    bearing_std_rad: float
    ranger_of_frame: IntArray
    rangers: tuple[Ranger, ...]
    beacons: tuple[Beacon, ...]

    @property
    def outcome(self) -> IntArray:
        """``Outcome.FUSED`` for all: each has something to fuse."""
        return np.full(len(self.frame), Outcome.FUSED, dtype=np.int64)

    @property
    def dof(self) -> int:
        """Numbers in one measurement."""
        return 1 if self.bearings_rad is None else 2


Measurements: TypeAlias = PoseMeasurements | CornerMeasurements | BeaconMeasurements


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
    target = _targets_of(sightings, "tag", [tag.id for tag in arena.tags])
    chosen: slice | BoolArray = slice(None)
    if until_s < math.inf:
        chosen = recording.frames.arrived_at_s[sightings.frame] <= until_s
    return solve_frames(
        sighting_frame=sightings.frame[chosen],
        sighting_tag=target[chosen],
        corners_px=sightings.values[chosen].reshape(-1, 4, 2),
        camera_of_frame=_sensors_of_frames(recording, rig, [m.name for m in rig.mounts]),
        mounts=rig.mounts,
        tags=arena.tags,
    )


def weigh_fixes(fixes: PoseFixes, settings: FilterSettings) -> PoseMeasurements:
    """Solved poses with the covariance and the choice of solutions that the settings give them.

    Where corners are to be fused (a start from tags needs solved poses nevertheless) the corners'
    own noise is carried through the reprojection Jacobian, whatever its kind.
    """
    is_ambiguous = (fixes.solution_count > 1) & (
        fixes.rms_px[:, 1] < settings.ambiguity_ratio * fixes.rms_px[:, 0]
    )
    offered = np.minimum(fixes.solution_count, 1)
    outcome = np.where(offered > 0, Outcome.FUSED, Outcome.NO_SOLUTION).astype(np.int64)
    if settings.ambiguous is Ambiguous.NEAREST:
        offered = offered + is_ambiguous
    elif settings.ambiguous is Ambiguous.SKIP:
        outcome[is_ambiguous] = Outcome.AMBIGUOUS
    return PoseMeasurements(
        frame=fixes.frame,
        sighting=fixes.first_sighting,
        poses=fixes.poses,
        unit_covs=fixes.unit_covs,
        pixel_vars_px2=pixel_variances(settings, fixes.mean_distance_m),
        extra_vars=extra_variances(settings, fixes.mean_distance_m, fixes.tag_count),
        offered=offered,
        outcome=outcome,
    )


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
    target = _targets_of(sightings, "tag", [tag.id for tag in arena.tags])
    mount_of_frame = _sensors_of_frames(recording, rig, [m.name for m in rig.mounts])
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
    return CornerMeasurements(
        frame=sightings.frame,
        sighting=np.arange(len(target)),
        target=target,
        corners=corners,
        vars_px2=stds_px**2,
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
