"""A scene as one trial's robot and arena really are: nominal places with the build's errors.

Frames: ``level`` is the robot's frame as designed, leaning as its accelerations make it; the
``chassis`` as built stands in it a little askew, whatever it does; cameras sit on the chassis.
"""

from dataclasses import dataclass, replace

import numpy as np

from posefuse.build_errors.draw import AsBuilt, draw_as_built
from posefuse.checks import FloatArray
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import BODY_FROM_OPTICAL, SpacePose, pan_tilt_roll, turn_about
from posefuse.robot.camera import Lens
from posefuse.sensing.projection import lens_row
from posefuse.simulation.scene import Scene

__all__ = ["BuiltScene", "build"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BuiltScene:
    """A scene with one trial's errors of the build in it.

    Parameters
    ----------
    seed, trial
        Of the random numbers.
    tag_corners_in_world_m : (tags, 4, 3) array
        Where the tags' corners really are.
    level_from_chassis
        How the chassis stands.
    chassis_from_camera
        As many poses as mounts can be in states: one for each mount, then one for each knock of
        the scene.
    lenses
        Of each mount.
    """

    scene: Scene
    seed: int
    trial: int
    errors: AsBuilt
    tag_corners_in_world_m: FloatArray
    level_from_chassis: SpacePose
    chassis_from_camera: SpacePose
    lenses: tuple[Lens, ...]

    @property
    def level_from_camera(self) -> SpacePose:
        """In each state a mount can be in, see ``chassis_from_camera``."""
        return self.level_from_chassis @ self.chassis_from_camera

    @property
    def lens_rows(self) -> FloatArray:
        """The lenses as kernels take them, (mounts, 12): see ``sensing.projection.lens_row``."""
        return np.array([lens_row(lens) for lens in self.lenses])

    def camera_on_chassis(self, frame: int) -> SpacePose:
        """``chassis_from_camera`` of the camera that takes a frame of the scene."""
        state = self.scene.views.mount_state[frame]
        return SpacePose(self.chassis_from_camera.matrix[state])

    def world_from_camera(self, frame: int, world_from_level: SpacePose) -> SpacePose:
        """Where the camera that takes a frame of the scene truly is.

        Parameters
        ----------
        world_from_level
            Where the robot is: one pose, or several.
        """
        chassis_from_camera = self.camera_on_chassis(frame)
        return world_from_level @ self.level_from_chassis @ chassis_from_camera


def build(scene: Scene, *, seed: int, trial: int, as_built: AsBuilt | None = None) -> BuiltScene:
    """The scene as this trial's build has it.

    Parameters
    ----------
    as_built
        The build; drawn from the scene's spreads when not given.
    """
    errors = as_built or draw_as_built(
        scene.spreads, rig=scene.rig, arena=scene.arena, seed=seed, trial=trial
    )
    level_from_chassis = SpacePose.from_plane(PlanePose.identity(), lean_rad=errors["lean_rad"][0])
    return BuiltScene(
        scene=scene,
        seed=seed,
        trial=trial,
        errors=errors,
        tag_corners_in_world_m=_tag_corners(scene, errors),
        level_from_chassis=level_from_chassis,
        chassis_from_camera=_cameras_on_chassis(scene, errors),
        lenses=_lenses(scene, errors),
    )


def _cameras_on_chassis(scene: Scene, errors: AsBuilt) -> SpacePose:
    """``chassis_from_camera`` of each mount as built, then of those knocked."""
    mounts = scene.rig.mounts
    nominal = np.array([[m.pan_rad, m.tilt_rad, m.roll_rad] for m in mounts])
    angles = list(nominal + errors["mount_angle_rad"])
    positions = np.array([m.position_in_robot_m for m in mounts]) + errors["mount_position_m"]
    index_of = {mount.name: index for index, mount in enumerate(mounts)}
    state_mount = [*range(len(mounts)), *(index_of[knock.mount] for knock in scene.knocks)]
    state_angles = list(angles)
    for knock, index in zip(scene.knocks, state_mount[len(mounts) :], strict=True):
        angles[index] = angles[index] + [knock.pan_rad, knock.tilt_rad, knock.roll_rad]
        state_angles.append(angles[index])
    turned = pan_tilt_roll(*np.array(state_angles).T)
    return SpacePose.from_parts(turned @ BODY_FROM_OPTICAL, positions[state_mount])


def _tag_corners(scene: Scene, errors: AsBuilt) -> FloatArray:
    """The tags' corners: scaled, hung askew, leaned back, turned about the vertical, moved."""
    tags = scene.arena.tags
    rotation = np.array([tag.world_from_tag.rotation for tag in tags])
    centre = np.array([tag.world_from_tag.translation_m for tag in tags])
    back, sideways = errors["tag_lean_rad"].T
    leaned = turn_about(0, -back) @ turn_about(2, sideways)
    turned = turn_about(2, errors["tag_heading_rad"][:, 0]) @ rotation @ leaned
    local = np.array([tag.corners_in_tag_m for tag in tags])
    local = local * (1.0 + errors["tag_scale_fraction"][:, None])
    corners = np.einsum("nij,nkj->nki", turned, local)
    return np.asarray(corners + (centre + errors["tag_position_m"])[:, None, :])


def _lenses(scene: Scene, errors: AsBuilt) -> tuple[Lens, ...]:
    lenses = [mount.camera.lens for mount in scene.rig.mounts]
    radial = np.zeros((len(lenses), 8))
    radial[:, 0] = errors["distortion_k1"][:, 0]
    return tuple(
        replace(
            lens,
            focal_px=lens.focal_px * (1.0 + errors["focal_fraction"][place]),
            centre_px=lens.centre_px + errors["centre_px"][place],
            distortion=lens.distortion + radial[place],
        )
        for place, lens in enumerate(lenses)
    )
