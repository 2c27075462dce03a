"""A recording to an estimate, by the compiled filter or by the readable one."""

from dataclasses import replace
from typing import TypeAlias

import numpy as np

from posefuse.checks import FloatArray, IntArray
from posefuse.errors import InputError
from posefuse.fieldlayout import FieldLayout
from posefuse.fusion.compiled import BEACONS, CORNERS, POSES, filter_run
from posefuse.fusion.compiled_measurements import place_answers
from posefuse.fusion.estimate import Estimate, Innovations
from posefuse.fusion.gates import gate_of
from posefuse.fusion.measurements import (
    Measurements,
    PoseMeasurements,
    beacon_measurements,
    check_kind,
    corner_measurements,
    solve_sightings,
    weigh_fixes,
)
from posefuse.fusion.run import FilterRun, make_run
from posefuse.fusion.settings import Ambiguous, FilterSettings, Measurement, StartFrom
from posefuse.fusion.start import Start, standstill_end, start_from_tags, stated_start
from posefuse.recording import Recording
from posefuse.robot import Rig

__all__ = ["filter_compiled", "fuse", "fuse_readable", "prepare_run"]


_KernelArrays: TypeAlias = tuple[
    int, FloatArray, IntArray, FloatArray, IntArray, FloatArray, FloatArray, FloatArray
]


def fuse(
    recording: Recording, *, rig: Rig, layout: FieldLayout, settings: FilterSettings
) -> Estimate:
    """The estimate at every odometry row as it stood at that instant.

    The rig and the layout are taken as stated: the filter knows nothing of how they really are.

    Raises
    ------
    InputError
        The settings do not fit the recording (kind of sighting, start), or the recording names a
        tag, beacon or sensor that the layout or the rig does not have.
    """
    return filter_compiled(prepare_run(recording, rig=rig, layout=layout, settings=settings))


def fuse_readable(
    recording: Recording, *, rig: Rig, layout: FieldLayout, settings: FilterSettings
) -> Estimate:
    """The same as ``fuse`` to 1e-9, by the filter that is meant to be read and is slow."""
    from posefuse.fusion.readable import filter_readable  # loads filterpy

    return filter_readable(prepare_run(recording, rig=rig, layout=layout, settings=settings))


def prepare_run(
    recording: Recording, *, rig: Rig, layout: FieldLayout, settings: FilterSettings
) -> FilterRun:
    """Everything either filter needs of a recording: start, order of events, measurements."""
    check_kind(recording, settings.measurement)
    measurements: Measurements
    if settings.measurement is Measurement.POSE:
        fixes = solve_sightings(recording, rig=rig, layout=layout)
        measurements = weigh_fixes(fixes, settings)
    elif settings.measurement is Measurement.CORNERS:
        measurements = corner_measurements(recording, rig=rig, layout=layout, settings=settings)
    else:
        measurements = beacon_measurements(recording, rig=rig, layout=layout, settings=settings)
    start = _start(recording, rig, layout, settings)
    return make_run(
        recording.odometry,
        recording.frames,
        measurements=measurements,
        start=start,
        settings=settings,
    )


def _start(recording: Recording, rig: Rig, layout: FieldLayout, settings: FilterSettings) -> Start:
    if settings.start_from is StartFrom.STATED:
        return stated_start(recording)
    if settings.measurement not in (Measurement.POSE, Measurement.CORNERS):
        raise InputError(
            "start_from: 'tags' needs the corners of tags, which a measurement"
            f" {settings.measurement.value!r} does not have; allowed: 'stated'"
        )
    odometry = recording.odometry
    until_s = float(odometry.stamps_s[standstill_end(odometry)])
    fixes = solve_sightings(recording, rig=rig, layout=layout, until_s=until_s)
    both_answers = replace(settings, ambiguous=Ambiguous.NEAREST)
    return start_from_tags(
        odometry,
        recording.frames,
        fixes=weigh_fixes(fixes, both_answers),
        noise=settings.noise,
    )


def filter_compiled(run: FilterRun) -> Estimate:
    """The estimate of a run, by the compiled filter."""
    timeline, measurements, start = run.timeline, run.measurements, run.start
    rows, count = len(timeline.stamps_s), len(measurements.frame)
    nis, outcome = np.full(count, np.nan), run.outcome.copy()
    poses, covs = np.empty((rows, 3)), np.empty((rows, 3, 3))
    filter_run(
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


def _kernel_arrays(run: FilterRun) -> _KernelArrays:
    """Kind of measurement, answers, sensor of each frame, sensors, target, targets, values, infos.

    What the kind does not use is empty, of the same type: the kernel is compiled once.
    """
    measurements, unused = run.measurements, np.empty((0, 0))
    if isinstance(measurements, PoseMeasurements):
        answers = np.empty((len(measurements.frame), 2, 9))
        place_answers(
            measurements.poses,
            measurements.unit_covs,
            measurements.pixel_vars_px2,
            measurements.extra_vars,
            measurements.offered,
            measurements.frame,
            run.timeline.offsets,
            answers,
        )
        none = np.empty(0, dtype=np.int64)
        never_written = unused.view()
        never_written.setflags(write=False)
        return POSES, answers, none, unused, none, unused, never_written, unused
    return (
        CORNERS if measurements.measurement is Measurement.CORNERS else BEACONS,
        np.empty((0, 2, 9)),
        measurements.sensor_of_frame[run.frame],
        measurements.sensors,
        measurements.target,
        measurements.targets,
        measurements.values,
        measurements.informations,
    )
