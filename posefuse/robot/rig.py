"""A rig: one robot with its cameras in one arrangement. Mount plans are compared as rigs."""

from dataclasses import dataclass, field, replace

from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import InputError
from posefuse.geometry.space import BODY_FROM_OPTICAL, SpacePose, pan_tilt_roll
from posefuse.robot.body import Body
from posefuse.robot.camera import Camera
from posefuse.robot.drivetrain import Drivetrain

__all__ = ["Mount", "Ranger", "Rig", "mount_pose"]


def mount_pose(
    position_in_robot_m: FloatArray, *, pan_rad: float, tilt_rad: float, roll_rad: float
) -> SpacePose:
    """``robot_from_camera`` of a camera that is panned left, then tilted up, then rolled.

    The camera frame is the optical one: z forward, x right, y down.
    """
    rotation = pan_tilt_roll(pan_rad, tilt_rad, roll_rad) @ BODY_FROM_OPTICAL
    return SpacePose.from_parts(rotation, position_in_robot_m)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mount:
    """A camera in its place on the robot.

    Parameters
    ----------
    pan_rad, tilt_rad, roll_rad
        Left of forward, up from level, right side down.
    robot_from_camera
        The optical frame of the camera in the robot frame, from these.
    """

    name: str
    camera: Camera
    position_in_robot_m: FloatArray
    pan_rad: float
    tilt_rad: float
    roll_rad: float = 0.0
    robot_from_camera: SpacePose = field(init=False, repr=False)

    def __post_init__(self) -> None:
        position = frozen_array(f"mount {self.name}: position", self.position_in_robot_m, (3,))
        object.__setattr__(self, "position_in_robot_m", position)
        pose = mount_pose(
            position, pan_rad=self.pan_rad, tilt_rad=self.tilt_rad, roll_rad=self.roll_rad
        )
        object.__setattr__(self, "robot_from_camera", pose)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ranger:
    """A sensor that measures range, or range and bearing, to beacons."""

    name: str
    position_in_robot_m: FloatArray

    def __post_init__(self) -> None:
        position = frozen_array(f"ranger {self.name}: position", self.position_in_robot_m, (3,))
        object.__setattr__(self, "position_in_robot_m", position)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rig:
    """One robot, its drivetrain, its cameras and rangers."""

    name: str
    body: Body
    drivetrain: Drivetrain
    mounts: tuple[Mount, ...] = ()
    rangers: tuple[Ranger, ...] = ()

    def __post_init__(self) -> None:
        names = [m.name for m in self.mounts] + [r.name for r in self.rangers]
        for name in names:
            if names.count(name) > 1:
                raise InputError(f"mount {name!r}: the name is used {names.count(name)} times")
        for mount in self.mounts:
            for box in self.body.boxes:
                if box.holds(mount.position_in_robot_m):
                    x, y, z = mount.position_in_robot_m
                    raise InputError(
                        f"mount {mount.name!r}: the camera at ({x:.3g}, {y:.3g}, {z:.3g}) m sits "
                        f"inside the robot's own box {box.name!r}"
                    )

    @property
    def sensor_names(self) -> tuple[str, ...]:
        """Mounts, then rangers: the names a recording's frames may carry, in index order."""
        return tuple(m.name for m in self.mounts) + tuple(r.name for r in self.rangers)

    def with_camera(self, camera: Camera) -> "Rig":
        """The same rig with this camera on every mount.

        Raises
        ------
        InputError
            The rig has no mounts.
        """
        if not self.mounts:
            raise InputError(
                f"the rig {self.name!r} has no mount that could carry it (got {camera.name!r})"
            )
        return replace(self, mounts=tuple(replace(m, camera=camera) for m in self.mounts))
