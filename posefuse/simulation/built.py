"""A scene as one trial's robot and arena really are: nominal places with the build's errors.

Frames: ``level`` is the robot's frame as designed, leaning as its accelerations make it; the
``chassis`` as built stands in it a little askew, whatever it does; cameras sit on the chassis.
"""

from dataclasses import dataclass

import numpy as np

from posefuse.build_errors.compose import (
    camera_on_chassis,
    lens_as_built,
    tag_corners_as_built,
)
from posefuse.build_errors.draw import AsBuilt, draw_as_built
from posefuse.checks import FloatArray
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
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
    return camera_on_chassis(np.array(state_angles), positions[state_mount])


def _tag_corners(scene: Scene, errors: AsBuilt) -> FloatArray:
    return np.array(
        [
            tag_corners_as_built(
                tag,
                position_m=errors["tag_position_m"][place],
                heading_rad=errors["tag_heading_rad"][place, 0],
                lean_rad=errors["tag_lean_rad"][place],
                scale_fraction=errors["tag_scale_fraction"][place, 0],
            )
            for place, tag in enumerate(scene.arena.tags)
        ]
    ).reshape(-1, 4, 3)


def _lenses(scene: Scene, errors: AsBuilt) -> tuple[Lens, ...]:
    return tuple(
        lens_as_built(
            mount.camera.lens,
            focal_fraction=errors["focal_fraction"][place, 0],
            centre_px=errors["centre_px"][place],
            distortion_k1=errors["distortion_k1"][place, 0],
        )
        for place, mount in enumerate(scene.rig.mounts)
    )
