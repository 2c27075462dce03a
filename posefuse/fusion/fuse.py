"""A recording to an estimate, by the compiled filter or by the reference filter."""

from posefuse.arena.arena import Arena
from posefuse.errors import InputError
from posefuse.fusion.build_model import BuildModel, make_build_model
from posefuse.fusion.compiled_filter import filter_compiled
from posefuse.fusion.estimate import Estimate
from posefuse.fusion.filter_input import FilterInput, make_filter_input
from posefuse.fusion.measurements import Measurements
from posefuse.fusion.settings import (
    BuildErrors,
    FilterSettings,
    Measurement,
    StartFrom,
)
from posefuse.fusion.start import Start, start_from_tags, stated_start
from posefuse.fusion.weighing import (
    beacon_measurements,
    check_kind,
    corner_measurements,
    sighting_repeats,
    solve_sightings,
    weigh_fixes,
)
from posefuse.recording.recording import Recording
from posefuse.robot.rig import Rig

__all__ = ["build_model_of", "fuse", "fuse_reference", "prepare_filter"]


def fuse(recording: Recording, *, rig: Rig, arena: Arena, settings: FilterSettings) -> Estimate:
    """The estimate at every odometry row as it stood at that instant.

    The rig and the arena are taken as stated, with the errors that ``settings.build_errors`` allows
    for: the filter knows nothing of how they really are.

    Raises
    ------
    InputError
        The settings do not fit the recording (kind of sighting, start), or the recording names a
        tag, beacon or sensor that the arena or the rig does not have.
    """
    given = prepare_filter(recording, rig=rig, arena=arena, settings=settings)
    build = build_model_of(recording, rig=rig, arena=arena, settings=settings)
    if build is None:
        return filter_compiled(given)
    from posefuse.fusion.build_aware import filter_build_aware  # loads kernels of its own

    return filter_build_aware(given, build)[0]


def fuse_reference(
    recording: Recording, *, rig: Rig, arena: Arena, settings: FilterSettings
) -> Estimate:
    """The same as ``fuse`` to 1e-9, by the reference filter: written to be read, and slow."""
    from posefuse.fusion.reference_build_aware import filter_reference_build_aware
    from posefuse.fusion.reference_filter import filter_reference  # loads filterpy

    given = prepare_filter(recording, rig=rig, arena=arena, settings=settings)
    build = build_model_of(recording, rig=rig, arena=arena, settings=settings)
    if build is None:
        return filter_reference(given)
    return filter_reference_build_aware(given, build)


def build_model_of(
    recording: Recording, *, rig: Rig, arena: Arena, settings: FilterSettings
) -> BuildModel | None:
    """What the filter is told about the build; ``None`` where it ignores build errors."""
    if settings.build_errors is BuildErrors.IGNORED or settings.believed is None:
        return None
    return make_build_model(
        recording,
        rig=rig,
        arena=arena,
        believed=settings.believed,
        is_estimated=settings.build_errors is BuildErrors.ESTIMATED,
    )


def prepare_filter(
    recording: Recording, *, rig: Rig, arena: Arena, settings: FilterSettings
) -> FilterInput:
    """Everything either filter needs of a recording: start, order of events, measurements."""
    check_kind(recording, settings.measurement)
    measurements: Measurements
    if settings.measurement is Measurement.POSE:
        fixes = solve_sightings(recording, rig=rig, arena=arena)
        repeats = None
        if settings.noise.persistent_fraction > 0.0:
            repeats = sighting_repeats(recording, rig=rig, arena=arena)
        measurements = weigh_fixes(fixes, settings, repeats=repeats)
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
