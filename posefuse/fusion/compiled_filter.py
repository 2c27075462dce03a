"""The filter that studies use: prepared input through the compiled kernels."""

import numpy as np

from posefuse.arena.arena import Tag
from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.arrays import FilterOutput, FrameArrays, MeasurementArrays, StepArrays
from posefuse.fusion.compiled.filter import BEACONS, CORNERS, POSES, run_filter
from posefuse.fusion.compiled.measurements import place_solutions
from posefuse.fusion.estimate import Estimate, Innovations
from posefuse.fusion.filter_input import FilterInput
from posefuse.fusion.gates import gate_of
from posefuse.fusion.measurements import BeaconMeasurements, CornerMeasurements, PoseMeasurements
from posefuse.robot.rig import Mount

__all__ = ["camera_row", "filter_compiled", "frame_arrays", "solutions_at_rows", "tag_row"]


def filter_compiled(filter_input: FilterInput) -> Estimate:
    """The estimate of a run, by the compiled filter."""
    timeline, measurements, start = (
        filter_input.timeline,
        filter_input.measurements,
        filter_input.start,
    )
    rows, count = len(timeline.stamps_s), len(measurements.frame)
    output = FilterOutput(
        poses=np.empty((rows, 3)),
        covs=np.empty((rows, 3, 3)),
        nis=np.full(count, np.nan),
        outcome=filter_input.outcome.copy(),
    )
    run_filter(
        np.concatenate([start.pose, start.cov[np.triu_indices(3)]]),
        start.row,
        StepArrays(motions=timeline.motions, variances=timeline.step_vars),
        frame_arrays(filter_input),
        _measurement_arrays(filter_input),
        gate_of(filter_input.gate_probability, measurements.dof),
        output,
    )
    return Estimate(
        stamps_s=timeline.stamps_s,
        poses=output.poses,
        covs=output.covs,
        innovations=Innovations(
            frame=measurements.frame,
            sighting=measurements.sighting,
            outcome=output.outcome,
            nis=output.nis,
            dof=np.full(count, measurements.dof, dtype=np.int64),
        ),
    )


def frame_arrays(filter_input: FilterInput) -> FrameArrays:
    """The frames that take part, as the kernels take them."""
    timeline, frame = filter_input.timeline, filter_input.frame
    return FrameArrays(
        row=timeline.frame_row[frame],
        arrival=timeline.frame_arrival[frame],
        offsets=timeline.offsets[frame],
        begin=filter_input.begin,
        end=filter_input.end,
    )


def _measurement_arrays(filter_input: FilterInput) -> MeasurementArrays:
    measurements = filter_input.measurements
    if isinstance(measurements, PoseMeasurements):
        return _pose_arrays(measurements, filter_input.timeline.offsets)
    if isinstance(measurements, CornerMeasurements):
        return _corner_arrays(measurements, filter_input.frame)
    return _beacon_arrays(measurements, filter_input.frame)


def _pose_arrays(measurements: PoseMeasurements, offsets: FloatArray) -> MeasurementArrays:
    none, unused = np.empty(0, dtype=np.int64), np.empty((0, 0))
    return MeasurementArrays(
        kind=POSES,
        solutions=solutions_at_rows(measurements, offsets),
        values=_read_only(unused),
        weights=unused,
        target=none,
        targets=unused,
        sensor=none,
        sensors=unused,
    )


def solutions_at_rows(measurements: PoseMeasurements, offsets: FloatArray) -> FloatArray:
    """Solved poses at their odometry rows, (n, 2, 10), as the kernels take them.

    The pose, the upper half of the inverse of its covariance (zero where there is no solution), and
    the misfit.
    """
    solutions = np.empty((len(measurements.frame), 2, 10))
    place_solutions(
        measurements.poses,
        measurements.unit_covs,
        measurements.pixel_vars_px2,
        measurements.extra_vars,
        measurements.offered,
        measurements.frame,
        offsets,
        solutions,
    )
    solutions[:, :, 9] = measurements.misfits
    return solutions


def _corner_arrays(measurements: CornerMeasurements, frame: IntArray) -> MeasurementArrays:
    return MeasurementArrays(
        kind=CORNERS,
        solutions=np.empty((0, 2, 10)),
        values=_read_only(measurements.corners.reshape(-1, 8)),
        weights=np.repeat(1.0 / measurements.vars_px2, 2).reshape(-1, 2),
        target=measurements.target,
        targets=np.array([tag_row(tag) for tag in measurements.tags]).reshape(-1, 9),
        sensor=measurements.mount_of_frame[frame],
        sensors=np.array([camera_row(mount) for mount in measurements.mounts]).reshape(-1, 14),
    )


def _beacon_arrays(measurements: BeaconMeasurements, frame: IntArray) -> MeasurementArrays:
    values, weights = np.zeros((2, len(measurements.frame), 2))
    values[:, 0], weights[:, 0] = measurements.ranges_m, 1.0 / measurements.range_vars_m2
    if measurements.bearings_rad is not None:
        values[:, 1] = measurements.bearings_rad
        weights[:, 1] = measurements.bearing_std_rad**-2
    places = [[*ranger.position_in_robot_m, 0.0] for ranger in measurements.rangers]
    return MeasurementArrays(
        kind=BEACONS,
        solutions=np.empty((0, 2, 10)),
        values=_read_only(values),
        weights=weights,
        target=measurements.target,
        targets=np.array([b.position_in_world_m for b in measurements.beacons]).reshape(-1, 3),
        sensor=measurements.ranger_of_frame[frame],
        sensors=np.array(places).reshape(-1, 4),
    )


def tag_row(tag: Tag) -> FloatArray:
    """A tag as the kernels take it, (9,): middle, and half edges to the viewer's right and up."""
    half_edges = tag.world_from_tag.rotation[:, :2].T * (tag.edge_m / 2.0)
    return np.concatenate([tag.world_from_tag.translation_m, half_edges.ravel()])


def camera_row(mount: Mount) -> FloatArray:
    """A camera as the kernels take it, (14,): see ``move_camera``."""
    robot_from_camera = mount.robot_from_camera
    focal = mount.camera.lens.focal_px
    scaled = np.array([focal[0], focal[1], 1.0])[:, None] * robot_from_camera.rotation.T
    place = scaled @ robot_from_camera.translation_m
    return np.concatenate([scaled.ravel(), place, focal])


def _read_only(values: FloatArray) -> FloatArray:
    view = values.view()
    view.setflags(write=False)
    return view
