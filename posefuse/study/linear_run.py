"""One run to first order about the true path: what the linear passes read, as flat arrays.

A trial is simulated for its events alone (which frames arrive when, and which tags are found in
them); the plan's own filter settings say what is fused and how it is weighed. Everything else is
taken at the truth and at the nominal build.
"""

from dataclasses import dataclass

import numpy as np

from posefuse.build_errors.constants import Constants
from posefuse.checks import FloatArray, IntArray
from posefuse.errors import InputError
from posefuse.fusion.filter_input import FilterInput
from posefuse.fusion.fuse import prepare_filter
from posefuse.fusion.measurements import CornerMeasurements, PoseMeasurements
from posefuse.fusion.settings import FilterSettings
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.geometry.plane import PlanePose
from posefuse.motion.lean import lean_angles_rad
from posefuse.recording.recording import Recording
from posefuse.simulation.scene import Scene
from posefuse.simulation.simulate import SimulatedTrial
from posefuse.solving.linear import LinearCameras, LinearTags, linear_cameras, linear_tags
from posefuse.study.compiled.frame_terms import write_frame_terms
from posefuse.study.linear_frames import FrameTerms, FusedFrames, LinearSteps, SeenTags

__all__ = ["LinearRun", "linear_run"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LinearRun:
    """One run of a plan on a course, to first order.

    Parameters
    ----------
    row, arrival : (n,) ints
        Odometry row that each fused frame belongs to, and row at which it is known.
    start_cov : (3, 3) array
        Of the stated start, believed and true.
    path : (rows, 3) array
        True poses.
    """

    constants: Constants
    frames: FusedFrames
    views: SeenTags
    terms: FrameTerms
    steps: LinearSteps
    cameras: LinearCameras
    tags: LinearTags
    row: IntArray
    arrival: IntArray
    first_row: int
    start_cov: FloatArray
    path: FloatArray

    def first_frames(self) -> IntArray:
        """Where each row's frames begin, (rows + 1,)."""
        return np.searchsorted(self.row, np.arange(len(self.path) + 1))

    def settled_rows(self, shot_rows: IntArray) -> IntArray:
        """For each shot the last row that no frame still awaited belongs to or precedes; rising."""
        settled = np.array(shot_rows, dtype=np.int64)
        for shot, row in enumerate(shot_rows):
            awaited = self.row[(self.row <= row) & (self.arrival > row)]
            if len(awaited):
                settled[shot] = awaited.min() - 1
        return np.minimum.accumulate(settled[::-1])[::-1].copy()


def linear_run(
    trial: SimulatedTrial, *, settings: FilterSettings, constants: Constants
) -> LinearRun:
    """A trial's run about the truth, with the filter's own weights.

    Raises
    ------
    InputError
        The settings fuse beacons, or do not fit the recording.
    """
    scene, recording = trial.scene, trial.recording
    given = prepare_filter(recording, rig=scene.rig, arena=scene.arena, settings=settings)
    if recording.truth is None:
        raise InputError(f"forecast: recording {recording.name!r} holds no truth")
    cameras, tags = linear_cameras(scene.rig.mounts), linear_tags(scene.arena.tags)
    candidate = trial.candidate_of_sighting()
    views = SeenTags.of(scene.views, candidate, share=np.ones(len(candidate)))
    path = recording.truth.poses
    frames = _fused_frames(trial, given, path)
    is_solved = isinstance(given.measurements, PoseMeasurements)
    terms = FrameTerms.empty(len(frames.eye), len(views.tag))
    write_frame_terms(frames, views, cameras, tags, is_solved, terms)
    timeline = given.timeline
    return LinearRun(
        constants=constants,
        frames=frames,
        views=views,
        terms=terms,
        steps=_steps(scene, given, path),
        cameras=cameras,
        tags=tags,
        row=timeline.frame_row[given.frame],
        arrival=timeline.frame_arrival[given.frame],
        first_row=given.start.row,
        start_cov=given.start.cov,
        path=path,
    )


def _fused_frames(trial: SimulatedTrial, given: FilterInput, path: FloatArray) -> FusedFrames:
    scene, recording, timeline = trial.scene, trial.recording, given.timeline
    frame = given.frame
    source = trial.frame_order[frame]
    captured_at_s = scene.views.captured_at_s[source]
    pose = scene.course.path.poses(captured_at_s)
    row, offset = timeline.frame_row[frame], timeline.offsets[frame, :3]
    lateness = pose.values - (PlanePose(path[row]) @ PlanePose(offset)).values
    lateness[:, 2] = wrap_angle_rad(lateness[:, 2])
    pixel_var, extra_var = _believed(given)
    return FusedFrames(
        eye=recording.frames.sensor[frame],
        first=np.searchsorted(recording.sightings.frame, frame, side="left"),
        tag_count=_tag_counts(recording)[frame],
        pose=np.ascontiguousarray(pose.values),
        velocity=np.ascontiguousarray(scene.course.path.velocities(captured_at_s)),
        tilted=_tilted(scene, source, captured_at_s, pose),
        lateness=lateness,
        offset=np.ascontiguousarray(offset),
        row_heading=path[row, 2].copy(),
        pixel_var=pixel_var,
        extra_var=extra_var,
    )


def _tag_counts(recording: Recording) -> IntArray:
    """How many tags were found in each frame."""
    counts: IntArray = np.bincount(
        recording.sightings.frame, minlength=len(recording.frames.sensor)
    )
    return counts


def _believed(given: FilterInput) -> tuple[FloatArray, FloatArray]:
    """The filter's variances of the frames' corners (n,), and what it adds to poses (n, 2).

    Raises
    ------
    InputError
        Beacons are fused.
    """
    measurements, begin = given.measurements, given.begin
    if isinstance(measurements, PoseMeasurements):
        return measurements.pixel_vars_px2[begin], measurements.extra_vars[begin]
    if isinstance(measurements, CornerMeasurements):
        return measurements.vars_px2[begin], np.zeros((len(begin), 2))
    raise InputError("forecast: only filters that fuse tags can be forecast, not those of beacons")


def _tilted(
    scene: Scene, source: IntArray, captured_at_s: FloatArray, pose: PlanePose
) -> FloatArray:
    """Knocks and lean of each frame, (n, 5)."""
    tilted = np.zeros((len(source), 5))
    names = [mount.name for mount in scene.rig.mounts]
    for knock in scene.knocks:
        is_knocked = (scene.views.camera[source] == names.index(knock.mount)) & (
            captured_at_s >= knock.at_s
        )
        tilted[is_knocked, :3] += [knock.pan_rad, knock.tilt_rad, knock.roll_rad]
    tilted[:, 3:] = lean_angles_rad(
        scene.course.path.accelerations(captured_at_s)[:, :2],
        heading_rad=pose.heading_rad,
        lean_rad_per_m_per_s2=scene.rig.body.lean_rad_per_m_per_s2,
    )
    return tilted


def _steps(scene: Scene, given: FilterInput, path: FloatArray) -> LinearSteps:
    wheels, rows = scene.wheels, len(path)
    levers = np.zeros((rows, 2))
    levers[1:, 0], levers[1:, 1] = path[:-1, 1] - path[1:, 1], path[1:, 0] - path[:-1, 0]
    slopes, known = wheels.constant_slopes()
    turned = _turns(path[:-1, 2])
    covs = np.zeros((rows, 3, 3))
    covs[1:] = turned @ wheels.step_covs[1:] @ turned.transpose(0, 2, 1)
    # errors of a twist show about halfway through its turn
    halfway = _turns((path[:-1, 2] + path[1:, 2]) / 2.0)
    in_world, known_in_world = np.zeros((rows, 3, slopes.shape[2])), np.zeros((rows, 3))
    in_world[1:] = halfway @ slopes
    known_in_world[1:] = np.einsum("sij,sj->si", halfway, known)
    return LinearSteps(
        levers=levers,
        believed_vars=given.timeline.step_vars,
        true_covs=covs,
        slopes=in_world,
        known=known_in_world,
    )


def _turns(headings_rad: FloatArray) -> FloatArray:
    """Rotations (n, 3, 3) of a pose's spread from the robot's axes to the world's."""
    turns = np.zeros((len(headings_rad), 3, 3))
    c, s = np.cos(headings_rad), np.sin(headings_rad)
    turns[:, 0, 0] = turns[:, 1, 1] = c
    turns[:, 0, 1], turns[:, 1, 0] = -s, s
    turns[:, 2, 2] = 1.0
    return turns
