"""The filter that studies use: a prepared run through the compiled kernels."""

from typing import TypeAlias

import numpy as np

from posefuse.arena.arena import Tag
from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.compiled.filter import BEACONS, CORNERS, POSES, run_filter
from posefuse.fusion.compiled.measurements import place_answers
from posefuse.fusion.estimate import Estimate, Innovations
from posefuse.fusion.filter_input import FilterInput
from posefuse.fusion.gates import gate_of
from posefuse.fusion.measurements import BeaconMeasurements, CornerMeasurements, PoseMeasurements
from posefuse.robot.rig import Mount

__all__ = ["camera_row", "filter_compiled", "tag_row"]

_KernelArrays: TypeAlias = tuple[
    int, FloatArray, IntArray, FloatArray, IntArray, FloatArray, FloatArray, FloatArray
]
"""Kind; answers; sensor of each frame, sensors; target of each sighting, targets; values and
information of each sighting. What a kind does not use is empty, of the same type, so that the
kernel is compiled once."""


def filter_compiled(run: FilterInput) -> Estimate:
    """The estimate of a run, by the compiled filter."""
    timeline, measurements, start = run.timeline, run.measurements, run.start
    rows, count = len(timeline.stamps_s), len(measurements.frame)
    nis, outcome = np.full(count, np.nan), run.outcome.copy()
    poses, covs = np.empty((rows, 3)), np.empty((rows, 3, 3))
    run_filter(
        *_kernel_arrays(run),
        gate_of(run.gate_probability, measurements.dof),
        start.row,
        np.concatenate([start.pose, start.cov[np.triu_indices(3)]]),
        timeline.motions,
        timeline.step_vars,
        timeline.frame_row[run.frame],
        timeline.frame_arrival[run.frame],
        timeline.offsets[run.frame],
        run.begin,
        run.end,
        nis,
        outcome,
        poses,
        covs,
    )
    return Estimate(
        stamps_s=timeline.stamps_s,
        poses=poses,
        covs=covs,
        innovations=Innovations(
            frame=measurements.frame,
            sighting=measurements.sighting,
            outcome=outcome,
            nis=nis,
            dof=np.full(count, measurements.dof, dtype=np.int64),
        ),
    )


def _kernel_arrays(run: FilterInput) -> _KernelArrays:
    measurements = run.measurements
    if isinstance(measurements, PoseMeasurements):
        return _pose_arrays(measurements, run.timeline.offsets)
    if isinstance(measurements, CornerMeasurements):
        return _corner_arrays(measurements, run.frame)
    return _beacon_arrays(measurements, run.frame)


def _pose_arrays(measurements: PoseMeasurements, offsets: FloatArray) -> _KernelArrays:
    answers = np.empty((len(measurements.frame), 2, 9))
    place_answers(
        measurements.poses,
        measurements.unit_covs,
        measurements.pixel_vars_px2,
        measurements.extra_vars,
        measurements.offered,
        measurements.frame,
        offsets,
        answers,
    )
    none, unused = np.empty(0, dtype=np.int64), np.empty((0, 0))
    return POSES, answers, none, unused, none, unused, _read_only(unused), unused


def _corner_arrays(measurements: CornerMeasurements, frame: IntArray) -> _KernelArrays:
    return (
        CORNERS,
        np.empty((0, 2, 9)),
        measurements.mount_of_frame[frame],
        np.array([camera_row(mount) for mount in measurements.mounts]).reshape(-1, 14),
        measurements.target,
        np.array([tag_row(tag) for tag in measurements.tags]).reshape(-1, 9),
        _read_only(measurements.corners.reshape(-1, 8)),
        np.repeat(1.0 / measurements.vars_px2, 2).reshape(-1, 2),
    )


def _beacon_arrays(measurements: BeaconMeasurements, frame: IntArray) -> _KernelArrays:
    values, informations = np.zeros((2, len(measurements.frame), 2))
    values[:, 0], informations[:, 0] = measurements.ranges_m, 1.0 / measurements.range_vars_m2
    if measurements.bearings_rad is not None:
        values[:, 1] = measurements.bearings_rad
        informations[:, 1] = measurements.bearing_std_rad**-2
    places = [[*ranger.position_in_robot_m, 0.0] for ranger in measurements.rangers]
    return (
        BEACONS,
        np.empty((0, 2, 9)),
        measurements.ranger_of_frame[frame],
        np.array(places).reshape(-1, 4),
        measurements.target,
        np.array([b.position_in_world_m for b in measurements.beacons]).reshape(-1, 3),
        _read_only(values),
        informations,
    )


def tag_row(tag: Tag) -> FloatArray:
    """A tag as the kernels take it, (9,): middle, and half edges to the viewer's right and up."""
    half_edges = tag.world_from_tag.rotation[:, :2].T * (tag.edge_m / 2.0)
    return np.concatenate([tag.world_from_tag.translation_m, half_edges.ravel()])


def camera_row(mount: Mount) -> FloatArray:
    """A camera as the kernels take it, (14,): see ``compiled_models.move_camera``."""
    robot_from_camera = mount.robot_from_camera
    focal = mount.camera.lens.focal_px
    scaled = np.array([focal[0], focal[1], 1.0])[:, None] * robot_from_camera.rotation.T
    place = scaled @ robot_from_camera.translation_m
    return np.concatenate([scaled.ravel(), place, focal])


def _read_only(values: FloatArray) -> FloatArray:
    view = values.view()
    view.setflags(write=False)
    return view
