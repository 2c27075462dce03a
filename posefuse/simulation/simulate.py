"""A scene, a seed and a trial number to one Recording."""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import BoolArray, FloatArray, IntArray, locked
from posefuse.geometry import Pose2, Pose3, pan_tilt_roll
from posefuse.geometry.space import BODY_FROM_OPTICAL
from posefuse.motion.wheels import OdometryRows
from posefuse.randomness import stream, stream_key
from posefuse.recording import (
    Frames,
    Odometry,
    Recording,
    Shots,
    SightingKind,
    Sightings,
    StartPose,
    Truth,
)
from posefuse.sensing import arrivals, lens_row, sense
from posefuse.simulation.as_built import AsBuilt, draw_as_built
from posefuse.simulation.compiled import add_information, count_kept, gather_kept
from posefuse.simulation.scene import Scene

__all__ = ["SimulatedRun", "simulate", "simulate_run"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimulatedRun:
    """A recording, with what only a simulator can know of it.

    Parameters
    ----------
    step_covs : (rows, 3, 3) array
        Covariance of the white part of each odometry row's error.
    frame_order : (frames,) ints
        The scene's frame behind each of the recording's frames.
    is_found : (candidates,) bools
        Which of the scene's candidate sightings the detectors found.
    """

    recording: Recording
    scene: Scene
    step_covs: FloatArray
    frame_order: IntArray
    is_found: BoolArray

    def frame_information(self) -> FloatArray:
        """Fisher information (frames, 3, 3) about the true pose in each frame recorded."""
        summed = np.zeros((len(self.frame_order), 3, 3))
        scene = self.scene
        add_information(
            self.frame_order, scene.first_sighting, self.is_found, scene.information, summed
        )
        return locked(summed)


def simulate(scene: Scene, *, seed: int, trial: int) -> Recording:
    """What this trial's run leaves behind.

    Rival scenes run with the same seed and trial share the wheels' noise, the start, the tags'
    survey errors, and the errors and noise of mounts that bear the same name.
    """
    return simulate_run(scene, seed=seed, trial=trial).recording


def simulate_run(scene: Scene, *, seed: int, trial: int) -> SimulatedRun:
    """The same, with what only a simulator can know."""
    built = draw_as_built(scene.spreads, rig=scene.rig, layout=scene.layout, seed=seed, trial=trial)
    rows = scene.wheels.rows(
        seed=seed, trial=trial, wheel_radius_fractions=built.wheel_radius_fractions
    )
    corners_px, is_found = _sense(scene, built, seed, trial)
    captured_at_s, arrived_at_s, is_dropped = _stamps(scene, built, seed, trial)
    order = np.argsort(captured_at_s, kind="stable")
    order = order[~is_dropped[order]]
    recording = Recording(
        name=f"{scene.rig.name}, {scene.course.name}, seed {seed}, trial {trial}",
        sensor_names=scene.rig.sensor_names,
        odometry=Odometry(stamps_s=rows.stamps_s, twists=rows.twists),
        frames=Frames(
            sensor=locked(scene.views.camera[order]),
            captured_at_s=locked(captured_at_s[order]),
            arrived_at_s=locked(arrived_at_s[order]),
        ),
        sightings=_sightings(scene, order, is_found, corners_px),
        start=_start(scene, rows, seed, trial),
        truth=Truth(stamps_s=rows.stamps_s, poses=rows.true_poses),
        shots=Shots(
            stamps_s=np.array([shot.at_s for shot in scene.course.shots]),
            goals=tuple(shot.goal for shot in scene.course.shots),
        ),
        dropped_frame_count=int(is_dropped.sum()),
    )
    return SimulatedRun(
        recording=recording,
        scene=scene,
        step_covs=rows.step_covs,
        frame_order=order,
        is_found=is_found,
    )


def _sightings(
    scene: Scene, order: IntArray, is_found: BoolArray, corners_px: FloatArray
) -> Sightings:
    """What was found in the frames that arrived, in their order."""
    count = count_kept(order, scene.first_sighting, is_found)
    frame, ids = np.empty(count, dtype=np.int64), np.empty(count, dtype=np.int64)
    values = np.empty((count, 8))
    tag = scene.views.tag
    gather_kept(
        order, scene.first_sighting, is_found, tag, _tag_ids(scene), corners_px, frame, ids, values
    )
    return Sightings(
        kind=SightingKind.CORNERS, frame=locked(frame), id=locked(ids), values=locked(values)
    )


def _tag_ids(scene: Scene) -> IntArray:
    return np.array([tag.id for tag in scene.layout.tags])


def _sense(scene: Scene, built: AsBuilt, seed: int, trial: int) -> tuple[FloatArray, BoolArray]:
    rotations, translations = _mount_matrices(scene, built)
    return sense(
        scene.views,
        corners_in_world_m=_tag_corners(scene, built),
        mount_rotations=rotations,
        mount_translations_m=translations,
        mount_state_of_frame=scene.frame_mount_state,
        lens_rows=_lens_rows(scene, built),
        keys=np.array([stream_key(seed, trial, f"corners: {m.name}") for m in scene.rig.mounts]),
    )


def _mount_matrices(scene: Scene, built: AsBuilt) -> tuple[FloatArray, FloatArray]:
    """Rotations and translations of ``robot_from_camera`` as built, then as knocked."""
    mounts = scene.rig.mounts
    nominal = np.array([[m.pan_rad, m.tilt_rad, m.roll_rad] for m in mounts])
    angles = list(nominal + built.mount_angles_rad)
    positions = np.array([m.position_in_robot_m for m in mounts]) + built.mount_offsets_m
    index_of = {mount.name: index for index, mount in enumerate(mounts)}
    state_mount = [*range(len(mounts)), *(index_of[knock.mount] for knock in scene.knocks)]
    state_angles = list(angles)
    for knock, index in zip(scene.knocks, state_mount[len(mounts) :], strict=True):
        angles[index] = angles[index] + [knock.pan_rad, knock.tilt_rad, knock.roll_rad]
        state_angles.append(angles[index])
    lean = Pose3.from_plane(Pose2.identity(), lean_rad=built.lean_rad).rotation
    turned = pan_tilt_roll(*np.array(state_angles).T)
    return lean @ turned @ BODY_FROM_OPTICAL, positions[state_mount] @ lean.T


def _tag_corners(scene: Scene, built: AsBuilt) -> FloatArray:
    """Corners (tags, 4, 3) where the tags really hang."""
    nominal = scene.layout.tag_corners_in_world_m
    middle = nominal.mean(axis=1, keepdims=True)
    turned = np.einsum(
        "nij,nkj->nki", pan_tilt_roll(built.tag_turns_rad, 0.0, 0.0), nominal - middle
    )
    return np.asarray(turned + middle + built.tag_offsets_m[:, None, :])


def _lens_rows(scene: Scene, built: AsBuilt) -> FloatArray:
    rows = np.array([lens_row(mount.camera.lens) for mount in scene.rig.mounts])
    rows[:, :2] *= built.focal_factors[:, None]
    return rows


def _stamps(
    scene: Scene, built: AsBuilt, seed: int, trial: int
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Capture as stamped, arrival, and whether the frame was lost, for all frames."""
    views = scene.views
    arrived_at_s = np.zeros(len(views.camera))
    is_dropped = np.zeros(len(views.camera), dtype=np.bool_)
    for index, mount in enumerate(scene.rig.mounts):
        mine = scene.frames_of_mount[index]
        arrived_at_s[mine], is_dropped[mine] = arrivals(
            views.captured_at_s[mine],
            mount.camera.timing,
            stream_key(seed, trial, f"arrivals: {mount.name}"),
        )
    captured_at_s = views.captured_at_s + built.clock_offsets_s[views.camera]
    return captured_at_s, arrived_at_s, is_dropped


def _start(scene: Scene, rows: OdometryRows, seed: int, trial: int) -> StartPose | None:
    """The true first pose, off by a draw from its stated spread."""
    if scene.start_std is None:
        return None
    off = scene.start_std * stream(seed, trial, "start").standard_normal(3)
    return StartPose(
        world_from_robot=Pose2(rows.true_poses[0] + off), cov=np.diag(scene.start_std**2)
    )
