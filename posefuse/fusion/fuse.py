"""A recording to an estimate, by the compiled filter or by the readable one."""

from dataclasses import replace

from posefuse.errors import InputError
from posefuse.fieldlayout import FieldLayout
from posefuse.fusion.estimate import Estimate
from posefuse.fusion.measurements import (
    Measurements,
    beacon_measurements,
    check_kind,
    corner_measurements,
    solve_sightings,
    weigh_fixes,
)
from posefuse.fusion.quick import filter_quick
from posefuse.fusion.run import FilterRun, make_run
from posefuse.fusion.settings import Ambiguous, FilterSettings, Measurement, StartFrom
from posefuse.fusion.start import Start, standstill_end, start_from_tags, stated_start
from posefuse.recording import Recording
from posefuse.robot import Rig

__all__ = ["fuse", "fuse_readable", "prepare_run"]


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
    return filter_quick(prepare_run(recording, rig=rig, layout=layout, settings=settings))


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
