"""The constants of one robot in one arena, in a row: names, spreads and places in a vector."""

from dataclasses import dataclass

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.build_errors.catalogue import BuildError, Owner, errors_of
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.checks import FloatArray, IntArray, locked
from posefuse.robot.rig import Rig

__all__ = [
    "LEAN_COUNT",
    "MOUNT_COUNT",
    "TAG_COUNT",
    "Constant",
    "Constants",
    "constants_of",
    "owners_of",
]

MOUNT_COUNT = sum(len(error.axes) for error in errors_of(Owner.MOUNT))
"""Numbers that each mount owns."""
TAG_COUNT = sum(len(error.axes) for error in errors_of(Owner.TAG))
"""Numbers that each tag owns."""
LEAN_COUNT = 2
"""The chassis' lean: the robot's own numbers that cameras feel."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Constant:
    """One number of a build: which error, whose, and which of its axes."""

    error: BuildError
    owner: str
    axis: str

    @property
    def label(self) -> str:
        """Such as ``front left: mount angle, pan``."""
        axis = f", {self.axis}" if self.axis else ""
        return f"{self.owner}: {self.error.label}{axis}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Constants:
    """All constants of a rig in an arena.

    In one row: each mount's, each tag's, the chassis' lean, each wheel's radius, then what is left
    of the robot; within an owner in the order of the list of build errors.

    Parameters
    ----------
    members
        What each place of the row is.
    stds : (p,) array
        Spread of each, in the units of its error.
    mount_count, tag_count, wheel_count
        How many owners there are.
    """

    members: tuple[Constant, ...]
    stds: FloatArray
    mount_count: int
    tag_count: int
    wheel_count: int

    def __len__(self) -> int:
        return len(self.members)

    @property
    def first_tag(self) -> int:
        """Place of the first tag's first number."""
        return self.mount_count * MOUNT_COUNT

    @property
    def first_lean(self) -> int:
        """Place of the chassis' roll; its pitch follows."""
        return self.first_tag + self.tag_count * TAG_COUNT

    @property
    def first_wheel(self) -> int:
        """Place of the first wheel's radius; slip, gyro bias and scale follow the last wheel's."""
        return self.first_lean + LEAN_COUNT

    def places(self, error: str) -> IntArray:
        """Where the numbers of one error stand, (n,)."""
        return np.array([i for i, one in enumerate(self.members) if one.error.name == error])


def owners_of(rig: Rig, arena: Arena) -> dict[Owner, tuple[str, ...]]:
    """The names of all owners of build errors, by their kind."""
    wheels = range(1, len(rig.drivetrain.wheels) + 1)
    return {
        Owner.MOUNT: tuple(mount.name for mount in rig.mounts),
        Owner.TAG: tuple(f"tag {tag.id}" for tag in arena.tags),
        Owner.WHEEL: tuple(f"wheel {place}" for place in wheels),
        Owner.ROBOT: ("robot",),
    }


def constants_of(rig: Rig, arena: Arena, spreads: BuildSpreads) -> Constants:
    """The constants of a rig in an arena, with their spreads (those of the rig's own gyro too)."""
    spreads, owners = spreads.with_gyro(rig.drivetrain.gyro), owners_of(rig, arena)
    members = [
        Constant(error=error, owner=owner, axis=axis)
        for kind in (Owner.MOUNT, Owner.TAG)
        for owner in owners[kind]
        for error in errors_of(kind)
        for axis in error.axes
    ]
    lean, *rest = errors_of(Owner.ROBOT)
    (robot,) = owners[Owner.ROBOT]
    members += [Constant(error=lean, owner=robot, axis=axis) for axis in lean.axes]
    members += [
        Constant(error=error, owner=owner, axis="")
        for owner in owners[Owner.WHEEL]
        for error in errors_of(Owner.WHEEL)
    ]
    members += [Constant(error=error, owner=robot, axis="") for error in rest]
    return Constants(
        members=tuple(members),
        stds=locked(np.array([spreads[one.error.name] for one in members])),
        mount_count=len(rig.mounts),
        tag_count=len(arena.tags),
        wheel_count=len(rig.drivetrain.wheels),
    )
