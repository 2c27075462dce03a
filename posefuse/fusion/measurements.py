"""What of each sighting enters the filter, and how far it is trusted: shared by both filters."""

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.errors import InputError
from posefuse.fieldlayout import FieldLayout, Tag
from posefuse.fusion.compiled_measurements import tag_distances
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.settings import (
    Ambiguous,
    FilterSettings,
    Measurement,
    NoiseKind,
)
from posefuse.recording import Recording, Sightings
from posefuse.robot import Mount, Rig
from posefuse.solving.fixes import PoseFixes, normalised_corners, solve_frames

__all__ = [
    "Measurements",
    "PoseMeasurements",
    "SightingMeasurements",
    "beacon_measurements",
    "check_kind",
    "corner_measurements",
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
        Both answers, the better fit first: x_m, y_m, heading_rad.
    unit_covs : (n, 2, 3, 3) array
        Their covariance for corners that err by 1 px.
    pixel_vars_px2, extra_vars : (n,), (n, 2) arrays
        Variance of the corners; variances added to x and to y, and to the heading.
    offered : (n,) ints
        How many of the answers the filter may choose from.
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

    def cov(self, index: int, answer: int) -> FloatArray:
        """Covariance (3, 3) of one answer in (x, y, heading)."""
        position_var, heading_var = self.extra_vars[index]
        from_corners = self.pixel_vars_px2[index] * self.unit_covs[index, answer]
        cov: FloatArray = from_corners + np.diag([position_var, position_var, heading_var])
        return cov


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SightingMeasurements:
    """Sightings fused as they are: the corners of a tag, or the range and bearing of a beacon.

    Parameters
    ----------
    measurement
        Any but ``Measurement.POSE``.
    frame, sighting : (n,) ints
        Index into the recording.
    target : (n,) ints
        Index of the tag or beacon in the layout.
    values : (n, 8) or (n, 2) array
        Corners: x and y of the four on the plane at depth 1. Beacons: range and bearing.
    informations : (n, 2) array
        Corners: 1 over their variance in px^2, twice. Beacons: 1 over the variance of the range and
        of the bearing; 0 for a bearing not measured.
    targets : (targets, 9) or (targets, 3) array
        Tags: middle in the world, half edges to the viewer's right and up. Beacons: place.
    sensor_of_frame : (frames,) ints
        Row of ``sensors`` for each frame of the recording.
    sensors : (sensors, 14) or (sensors, 4) array
        Cameras: the rotation camera_from_robot by rows and the camera's place turned by it (both
        with the first row times the focal length in x, the second times that in y), and both focal
        lengths in px. Rangers: place in the robot, turn (0).
    """

    measurement: Measurement
    frame: IntArray
    sighting: IntArray
    target: IntArray
    values: FloatArray
    informations: FloatArray
    targets: FloatArray
    sensor_of_frame: IntArray
    sensors: FloatArray

    @property
    def outcome(self) -> IntArray:
        """``Outcome.FUSED`` for all: each has something to fuse."""
        return np.full(len(self.frame), Outcome.FUSED, dtype=np.int64)

    @property
    def dof(self) -> int:
        """Numbers in one measurement."""
        return self.measurement.sighting_kind.width


Measurements: TypeAlias = PoseMeasurements | SightingMeasurements


def check_kind(recording: Recording, wanted: Measurement) -> None:
    """Refuse a measurement that the recording's sightings do not hold.

    Raises
    ------
    InputError
        The recording holds another kind of sighting; the message tells what can be fused from it.
    """
    kind = recording.sightings.kind
    if kind is not wanted.sighting_kind:
        fitting = " or ".join(repr(m.value) for m in Measurement if m.sighting_kind is kind)
        raise InputError(
            f"measurement: recording {recording.name!r} holds {kind.value} sightings, from which"
            f" {fitting} can be fused (got {wanted.value!r})"
        )


def solve_sightings(
    recording: Recording, *, rig: Rig, layout: FieldLayout, until_s: float = math.inf
) -> PoseFixes:
    """The pose of the robot at every frame that saw a tag.

    Parameters
    ----------
    until_s
        Frames that arrive later are left out.

    Raises
    ------
    InputError
        A tag or camera that the layout or the rig does not have.
    """
    sightings = recording.sightings
    target = _targets_of(sightings, "tag", [tag.id for tag in layout.tags])
    chosen: slice | BoolArray = slice(None)
    if until_s < math.inf:
        chosen = recording.frames.arrived_at_s[sightings.frame] <= until_s
    return solve_frames(
        sighting_frame=sightings.frame[chosen],
        sighting_tag=target[chosen],
        corners_px=sightings.values[chosen].reshape(-1, 4, 2),
        camera_of_frame=_sensors_of_frames(recording, rig, [m.name for m in rig.mounts]),
        mounts=rig.mounts,
        tags=layout.tags,
    )


def weigh_fixes(fixes: PoseFixes, settings: FilterSettings) -> PoseMeasurements:
    """Solved poses with the covariance and the choice of answers that the settings give them.

    Where corners are to be fused (a start from tags solves them all the same) the corners' own
    noise is carried through the reprojection Jacobian, whatever its kind.
    """
    is_ambiguous = (
        (fixes.answer_count > 1)
        & (fixes.tag_count == 1)
        & (fixes.rms_px[:, 1] < settings.ambiguity_ratio * fixes.rms_px[:, 0])
    )
    offered = np.minimum(fixes.answer_count, 1)
    outcome = np.where(offered > 0, Outcome.FUSED, Outcome.NO_ANSWER).astype(np.int64)
    if settings.ambiguous is Ambiguous.NEAREST:
        offered = offered + is_ambiguous
    elif settings.ambiguous is Ambiguous.SKIP:
        outcome[is_ambiguous] = Outcome.AMBIGUOUS
    return PoseMeasurements(
        frame=fixes.frame,
        sighting=fixes.first_sighting,
        poses=fixes.poses,
        unit_covs=fixes.unit_covs,
        pixel_vars_px2=_pixel_variances(fixes, settings),
        extra_vars=_extra_variances(fixes, settings),
        offered=offered,
        outcome=outcome,
    )


def _pixel_variances(fixes: PoseFixes, settings: FilterSettings) -> FloatArray:
    """Variance of the corners behind each fix, (n,); none where the noise model goes without."""
    noise, stds = settings.noise, np.zeros(len(fixes.frame))
    if noise.kind is NoiseKind.SOLVED or settings.measurement is Measurement.CORNERS:
        stds += noise.pixel_std_px
    if noise.kind is NoiseKind.GROWING and settings.measurement is Measurement.CORNERS:
        stds += noise.pixel_std_px_per_m * fixes.mean_distance_m
    return stds**2


def _extra_variances(fixes: PoseFixes, settings: FilterSettings) -> FloatArray:
    """What the noise model adds for each fix, (n, 2): to x and y, and to the heading."""
    noise, stds = settings.noise, np.empty((len(fixes.frame), 2))
    if noise.kind is NoiseKind.SOLVED or settings.measurement is Measurement.CORNERS:
        stds[:] = noise.position_floor_m, noise.heading_floor_rad
        return stds**2
    stds[:] = noise.position_std_m, noise.heading_std_rad
    if noise.kind is NoiseKind.GROWING:
        per_m2 = np.array([noise.position_std_m_per_m2, noise.heading_std_rad_per_m2])
        stds += fixes.mean_distance_m[:, None] ** 2 * per_m2
        stds /= np.sqrt(np.maximum(fixes.tag_count, 1))[:, None]
    return stds**2


def corner_measurements(
    recording: Recording, *, rig: Rig, layout: FieldLayout, settings: FilterSettings
) -> SightingMeasurements:
    """The corners of every tag seen.

    Raises
    ------
    InputError
        A tag or camera that the layout or the rig does not have.
    """
    sightings, noise = recording.sightings, settings.noise
    target = _targets_of(sightings, "tag", [tag.id for tag in layout.tags])
    sensor_of_frame = _sensors_of_frames(recording, rig, [m.name for m in rig.mounts])
    values = normalised_corners(
        sighting_frame=sightings.frame,
        corners_px=sightings.values.reshape(-1, 4, 2),
        camera_of_frame=sensor_of_frame,
        mounts=rig.mounts,
    ).reshape(-1, 8)
    pixel_std = np.full(len(target), noise.pixel_std_px)
    if noise.kind is NoiseKind.GROWING:
        distances = np.empty(len(target))
        edges = np.array([tag.edge_m for tag in layout.tags])
        tag_distances(values, edges, target, distances)
        pixel_std += noise.pixel_std_px_per_m * distances
    return SightingMeasurements(
        measurement=Measurement.CORNERS,
        frame=sightings.frame,
        sighting=np.arange(len(target)),
        target=target,
        values=values,
        informations=np.repeat(pixel_std**-2, 2).reshape(-1, 2),
        targets=np.array([_tag_row(tag) for tag in layout.tags]).reshape(-1, 9),
        sensor_of_frame=sensor_of_frame,
        sensors=np.array([_camera_row(mount) for mount in rig.mounts]).reshape(-1, 14),
    )


def _tag_row(tag: Tag) -> FloatArray:
    half_axes = tag.world_from_tag.rotation[:, :2].T * (tag.edge_m / 2.0)
    return np.concatenate([tag.world_from_tag.translation_m, half_axes.ravel()])


def _camera_row(mount: Mount) -> FloatArray:
    robot_from_camera = mount.robot_from_camera
    focal = mount.camera.lens.focal_px
    scaled = np.array([focal[0], focal[1], 1.0])[:, None] * robot_from_camera.rotation.T
    place = scaled @ robot_from_camera.translation_m
    return np.concatenate([scaled.ravel(), place, focal])


def beacon_measurements(
    recording: Recording, *, rig: Rig, layout: FieldLayout, settings: FilterSettings
) -> SightingMeasurements:
    """Range, or range and bearing, of every beacon heard.

    Raises
    ------
    InputError
        A beacon or ranger that the layout or the rig does not have.
    """
    sightings, noise = recording.sightings, settings.noise
    range_std = np.full(len(sightings.frame), noise.range_std_m)
    if noise.kind is NoiseKind.GROWING:
        range_std += noise.range_std_m_per_m * sightings.values[:, 0]
    values, informations = np.zeros((2, len(sightings.frame), 2))
    values[:, 0], informations[:, 0] = sightings.values[:, 0], range_std**-2
    if settings.measurement is Measurement.RANGE_BEARING:
        values[:, 1], informations[:, 1] = sightings.values[:, 1], noise.bearing_std_rad**-2
    values.setflags(write=False)
    places = [[*ranger.position_in_robot_m, 0.0] for ranger in rig.rangers]
    return SightingMeasurements(
        measurement=settings.measurement,
        frame=sightings.frame,
        sighting=np.arange(len(sightings.frame)),
        target=_targets_of(sightings, "beacon", [beacon.id for beacon in layout.beacons]),
        values=values,
        informations=informations,
        targets=np.array([b.position_in_world_m for b in layout.beacons]).reshape(-1, 3),
        sensor_of_frame=_sensors_of_frames(recording, rig, [r.name for r in rig.rangers]),
        sensors=np.array(places).reshape(-1, 4),
    )


def _targets_of(sightings: Sightings, what: str, ids: list[int]) -> IntArray:
    """Index into the layout of what each sighting shows."""
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
        raise InputError(f"sightings: {what} id {wrong} is not in the layout (it has: {names})")
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
