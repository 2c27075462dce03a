"""A scene as one trial's robot and arena really are: nominal places with the build's errors."""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import FloatArray
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import BODY_FROM_OPTICAL, SpacePose, pan_tilt_roll
from posefuse.sensing.projection import lens_row
from posefuse.simulation.as_built import AsBuilt, draw_as_built
from posefuse.simulation.scene import Scene

__all__ = ["BuiltScene", "build"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BuiltScene:
    """A scene with one trial's errors of the build in it.

    Parameters
    ----------
    seed, trial
        Whose luck it is.
    tag_corners_in_world_m : (tags, 4, 3) array
        Where the tags' corners really are.
    lean : (3, 3) array
        ``level_from_chassis``: how the chassis stands, whatever it does.
    mount_rotations, mount_translations_m : (states, 3, 3), (states, 3) arrays
        ``chassis_from_camera`` in each state a mount can be in: one for each mount, then one for
        each knock of the scene.
    lens_rows : (mounts, 12) array
        See ``sensing.lens_row``.
    """

    scene: Scene
    seed: int
    trial: int
    errors: AsBuilt
    tag_corners_in_world_m: FloatArray
    lean: FloatArray
    mount_rotations: FloatArray
    mount_translations_m: FloatArray
    lens_rows: FloatArray


def build(scene: Scene, *, seed: int, trial: int) -> BuiltScene:
    """The scene as this trial's build has it."""
    errors = draw_as_built(scene.spreads, rig=scene.rig, arena=scene.arena, seed=seed, trial=trial)
    rotations, translations = _mount_matrices(scene, errors)
    return BuiltScene(
        scene=scene,
        seed=seed,
        trial=trial,
        errors=errors,
        tag_corners_in_world_m=_tag_corners(scene, errors),
        lean=SpacePose.from_plane(PlanePose.identity(), lean_rad=errors.lean_rad).rotation,
        mount_rotations=rotations,
        mount_translations_m=translations,
        lens_rows=_lens_rows(scene, errors),
    )


def _mount_matrices(scene: Scene, errors: AsBuilt) -> tuple[FloatArray, FloatArray]:
    """Rotations and translations of ``chassis_from_camera`` as built, then as knocked."""
    mounts = scene.rig.mounts
    nominal = np.array([[m.pan_rad, m.tilt_rad, m.roll_rad] for m in mounts])
    angles = list(nominal + errors.mount_angles_rad)
    positions = np.array([m.position_in_robot_m for m in mounts]) + errors.mount_offsets_m
    index_of = {mount.name: index for index, mount in enumerate(mounts)}
    state_mount = [*range(len(mounts)), *(index_of[knock.mount] for knock in scene.knocks)]
    state_angles = list(angles)
    for knock, index in zip(scene.knocks, state_mount[len(mounts) :], strict=True):
        angles[index] = angles[index] + [knock.pan_rad, knock.tilt_rad, knock.roll_rad]
        state_angles.append(angles[index])
    turned = pan_tilt_roll(*np.array(state_angles).T)
    return turned @ BODY_FROM_OPTICAL, positions[state_mount]


def _tag_corners(scene: Scene, errors: AsBuilt) -> FloatArray:
    nominal = scene.arena.tag_corners_in_world_m
    middle = nominal.mean(axis=1, keepdims=True)
    turned = np.einsum(
        "nij,nkj->nki", pan_tilt_roll(errors.tag_turns_rad, 0.0, 0.0), nominal - middle
    )
    return np.asarray(turned + middle + errors.tag_offsets_m[:, None, :])


def _lens_rows(scene: Scene, errors: AsBuilt) -> FloatArray:
    rows = np.array([lens_row(mount.camera.lens) for mount in scene.rig.mounts])
    rows[:, :2] *= errors.focal_factors[:, None]
    return rows
