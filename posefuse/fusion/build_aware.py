"""The compiled filter that knows of build errors: prepared input through its kernels."""

import numpy as np

from posefuse.build_errors.constants import LEAN_COUNT, MOUNT_COUNT, TAG_COUNT
from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.arrays import FilterOutput
from posefuse.fusion.build_arrays import BuildArrays, BuildMeasured, BuildOutput
from posefuse.fusion.build_model import BuildModel
from posefuse.fusion.compiled.build_aware import run_build_aware
from posefuse.fusion.compiled.filter import index_frames
from posefuse.fusion.compiled_filter import frame_arrays, solutions_at_rows
from posefuse.fusion.estimate import BuildEstimate, Estimate, Innovations
from posefuse.fusion.filter_input import FilterInput
from posefuse.fusion.gates import gate_of
from posefuse.fusion.measurements import CornerMeasurements, Measurements, PoseMeasurements
from posefuse.robot.rig import Mount
from posefuse.sensing.projection import lens_row
from posefuse.solving.compiled.frame_sums import OWN_COLUMNS, TAG_COLUMNS
from posefuse.solving.compiled.pose_slopes import write_pose_slopes
from posefuse.solving.linear import linear_cameras, linear_tags

__all__ = ["build_estimate", "filter_build_aware"]


def filter_build_aware(
    filter_input: FilterInput, build: BuildModel, *, with_cross: bool = False
) -> tuple[Estimate, FloatArray]:
    """The estimate of a run by a filter that considers or estimates the build's constants.

    Parameters
    ----------
    with_cross
        Whether to keep what the second array holds.

    Returns
    -------
    estimate
        With the constants' estimates where they are estimated.
    cross : (rows, 3, 3 + p) array
        Covariance of x, y, heading with the whole state at every row; no rows unless wanted.
    """
    timeline, start = filter_input.timeline, filter_input.start
    rows, count = len(timeline.stamps_s), len(filter_input.outcome)
    variances = build.state_variances()
    output = FilterOutput(
        poses=np.empty((rows, 3)),
        covs=np.empty((rows, 3, 3)),
        nis=np.full(count, np.nan),
        outcome=filter_input.outcome.copy(),
    )
    of_build = BuildOutput(
        values=np.empty(len(variances)),
        variances=np.empty(len(variances)),
        cross=np.empty((rows if with_cross else 0, 3, len(variances))),
    )
    frames = frame_arrays(filter_input)
    firsts = np.empty(rows + 1, dtype=np.int64)
    earliest = np.full(rows, len(frames.row), dtype=np.int64)
    index_frames(frames, firsts, earliest)
    run_build_aware(
        (start.row, start.pose, start.cov),
        timeline.step_vars,
        (
            frames,
            _measured(filter_input, build),
            _build_arrays(build, variances),
            gate_of(filter_input.gate_probability, filter_input.measurements.dof),
        ),
        (firsts, earliest),
        linear_cameras(build.mounts),
        linear_tags(build.tags),
        (output, of_build),
    )
    estimate = Estimate(
        stamps_s=timeline.stamps_s,
        poses=output.poses,
        covs=output.covs,
        innovations=Innovations(
            frame=filter_input.measurements.frame,
            sighting=filter_input.measurements.sighting,
            outcome=output.outcome,
            nis=output.nis,
            dof=np.full(count, filter_input.measurements.dof, dtype=np.int64),
        ),
        build=build_estimate(build, of_build.values[3:], of_build.variances[3:]),
    )
    return estimate, of_build.cross


def build_estimate(
    build: BuildModel, values: FloatArray, variances: FloatArray
) -> BuildEstimate | None:
    """What was found out about the constants, (p,) each; ``None`` where they are considered."""
    if not build.is_estimated:
        return None
    return BuildEstimate(
        members=tuple(build.constants.members[place] for place in build.unknown),
        values=values,
        stds=np.sqrt(variances),
        believed_stds=build.constants.stds[build.unknown],
    )


def _build_arrays(build: BuildModel, variances: FloatArray) -> BuildArrays:
    constants, places = build.constants, build.state_places()
    first_tag, first_lean = constants.first_tag, constants.first_lean
    return BuildArrays(
        variances=variances,
        is_estimated=build.is_estimated,
        own_place=places[:first_tag].reshape(-1, MOUNT_COUNT),
        lean_place=places[first_lean : first_lean + LEAN_COUNT],
        tag_place=places[first_tag:first_lean].reshape(-1, TAG_COUNT),
        wheel_place=places[constants.first_wheel :],
        cameras=np.array([_camera_row(mount) for mount in build.mounts]).reshape(-1, 11),
        tags=np.array(
            [
                [
                    *tag.world_from_tag.rotation.ravel(),
                    *tag.world_from_tag.translation_m,
                    tag.edge_m / 2.0,
                ]
                for tag in build.tags
            ]
        ).reshape(-1, 13),
        twists=build.twists,
        slopes=build.twist_slopes,
    )


def _camera_row(mount: Mount) -> FloatArray:
    """See ``BuildArrays.cameras``."""
    angles = [mount.pan_rad, mount.tilt_rad, mount.roll_rad]
    lens = lens_row(mount.camera.lens)[:5]
    return np.array([*angles, *mount.position_in_robot_m, *lens])


def _measured(filter_input: FilterInput, build: BuildModel) -> BuildMeasured:
    measurements, frame = filter_input.measurements, filter_input.frame
    eye, velocities = build.camera_of_frame[frame], build.velocities[frame]
    leans, lean_vars = build.leans[frame], build.lean_stds[frame] ** 2
    target = build.target
    if isinstance(measurements, PoseMeasurements):
        own, of_tag = _pose_slopes(measurements, filter_input, build)
        return BuildMeasured(
            is_solved=True,
            eye=eye,
            velocities=velocities,
            leans=leans,
            lean_vars=lean_vars,
            first=_writable(measurements.sighting),
            tag_count=_writable(measurements.tag_count),
            target=target,
            solutions=solutions_at_rows(measurements, filter_input.timeline.offsets),
            own=own,
            of_tag=of_tag,
            corners_px=np.empty((0, 8)),
            variances_px2=np.empty(0),
        )
    corners = _corner_measurements(measurements)
    corners_px = corners.corners_px.copy()
    corners_px[~np.isfinite(corners.corners).all(axis=(1, 2))] = np.nan
    return BuildMeasured(
        is_solved=False,
        eye=eye,
        velocities=velocities,
        leans=leans,
        lean_vars=lean_vars,
        first=_writable(corners.sighting),
        tag_count=np.ones(len(corners.frame), dtype=np.int64),
        target=target,
        solutions=np.empty((0, 2, 10)),
        own=np.empty((0, 2, 3, OWN_COLUMNS)),
        of_tag=np.empty((0, 2, 3, TAG_COLUMNS)),
        corners_px=corners_px,
        variances_px2=corners.vars_px2,
    )


def _corner_measurements(measurements: Measurements) -> CornerMeasurements:
    if not isinstance(measurements, CornerMeasurements):
        raise TypeError("filters that know of build errors fuse poses or corners")
    return measurements


def _writable(array: IntArray) -> IntArray:
    """A copy that kernels take for the same type as fresh arrays."""
    return np.array(array, dtype=np.int64)


def _pose_slopes(
    measurements: PoseMeasurements, filter_input: FilterInput, build: BuildModel
) -> tuple[FloatArray, FloatArray]:
    """How the solved poses at their rows move with the build: see ``write_pose_slopes``."""
    own = np.empty((len(measurements.frame), 2, 3, OWN_COLUMNS))
    of_tag = np.empty((len(build.target), 2, 3, TAG_COLUMNS))
    write_pose_slopes(
        linear_cameras(build.mounts),
        linear_tags(build.tags),
        (
            build.camera_of_frame[measurements.frame],
            _writable(measurements.sighting),
            _writable(measurements.tag_count),
            build.target,
            _writable(measurements.offered),
        ),
        measurements.poses,
        (filter_input.timeline.offsets[measurements.frame], build.velocities[measurements.frame]),
        own,
        of_tag,
    )
    return own, of_tag
