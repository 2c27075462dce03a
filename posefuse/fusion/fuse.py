"""A recording to an estimate, by the compiled filter or by the reference filter."""

from posefuse.arena.arena import Arena
from posefuse.errors import InputError
from posefuse.fusion.compiled_filter import filter_compiled
from posefuse.fusion.estimate import Estimate
from posefuse.fusion.filter_input import FilterInput, make_filter_input
from posefuse.fusion.measurements import (
    Measurements,
    beacon_measurements,
    check_kind,
    corner_measurements,
    solve_sightings,
    weigh_fixes,
)
from posefuse.fusion.settings import FilterSettings, Measurement, StartFrom
from posefuse.fusion.start import Start, start_from_tags, stated_start
from posefuse.recording.recording import Recording
from posefuse.robot.rig import Rig

__all__ = ["fuse", "fuse_reference", "prepare_filter"]


def fuse(recording: Recording, *, rig: Rig, arena: Arena, settings: FilterSettings) -> Estimate:
    """The estimate at every odometry row as it stood at that instant.

    The rig and the arena are taken as stated: the filter knows nothing of how they really are.

    Raises
    ------
    InputError
        The settings do not fit the recording (kind of sighting, start), or the recording names a
        tag, beacon or sensor that the arena or the rig does not have.
    """
    return filter_compiled(prepare_filter(recording, rig=rig, arena=arena, settings=settings))


def fuse_reference(
    recording: Recording, *, rig: Rig, arena: Arena, settings: FilterSettings
) -> Estimate:
    """The same as ``fuse`` to 1e-9, by the reference filter: written to be read, and slow."""
    from posefuse.fusion.reference_filter import filter_reference  # loads filterpy

    return filter_reference(prepare_filter(recording, rig=rig, arena=arena, settings=settings))


def prepare_filter(
    recording: Recording, *, rig: Rig, arena: Arena, settings: FilterSettings
) -> FilterInput:
    """Everything either filter needs of a recording: start, order of events, measurements."""
    check_kind(recording, settings.measurement)
    measurements: Measurements
    if settings.measurement is Measurement.POSE:
        fixes = solve_sightings(recording, rig=rig, arena=arena)
        measurements = weigh_fixes(fixes, settings)
    elif settings.measurement is Measurement.CORNERS:
        measurements = corner_measurements(recording, rig=rig, arena=arena, settings=settings)
    else:
        measurements = beacon_measurements(recording, rig=rig, arena=arena, settings=settings)
    start = _start(recording, rig, arena, settings)
    return make_filter_input(
        recording.odometry,
        recording.frames,
        measurements=measurements,
        start=start,
        settings=settings,
    )


def _start(recording: Recording, rig: Rig, arena: Arena, settings: FilterSettings) -> Start:
    if settings.start_from is StartFrom.STATED:
        return stated_start(recording)
    if settings.measurement not in (Measurement.POSE, Measurement.CORNERS):
        raise InputError(
            "start_from: 'tags' needs the corners of tags, which a measurement"
            f" {settings.measurement.value!r} does not have; allowed: 'stated'"
        )
    return start_from_tags(recording, rig=rig, arena=arena, settings=settings)
