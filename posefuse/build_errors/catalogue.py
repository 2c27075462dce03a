"""The list of build errors: constants of a real robot and arena that the filter does not know.

Everything that simulates, forecasts, budgets or estimates build errors reads this list. Each entry
has a name with its unit, an owner, axes, a random stream and a sentence. A new one is written here,
applied in ``simulation.built`` (or ``motion.wheels``) and given its slope in
``solving.compiled.slopes`` (or ``build_errors.odometry``).
"""

import math
import re
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

__all__ = ["BUILD_ERRORS", "BuildError", "Owner", "Unit", "build_error", "errors_of"]


class Owner(StrEnum):
    """What a build error belongs to: each owner has a value of its own."""

    MOUNT = "mount"
    TAG = "tag"
    WHEEL = "wheel"
    ROBOT = "robot"


class Unit(NamedTuple):
    """A unit for people: its symbol, and how many of it one unit in code is."""

    symbol: str
    per_code_unit: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildError:
    """One kind of build error.

    Parameters
    ----------
    name
        With its unit, as in code.
    owner
        Each mount, tag or wheel has its own; or the robot has one.
    axes
        What its numbers are, in the order of the draw; one unnamed axis for a single number.
    stream
        Name of its random stream.
    sentence
        What it is, for people.
    unit
        In which people read it.
    is_of_robot_file
        Its spread stands in the robot's file (its gyro), not among the study's ``[as_built]``.
    """

    name: str
    owner: Owner
    axes: tuple[str, ...]
    stream: str
    sentence: str
    unit: Unit
    is_of_robot_file: bool = False

    @property
    def key(self) -> str:
        """Its key in ``[as_built]`` of a study: angles in degrees, lengths in metres."""
        return re.sub("_rad(?![a-z])", "_deg", self.name)

    @property
    def label(self) -> str:
        """Its name without the unit, as it is shown."""
        return self.stream

    def spread_text(self, std: float, digits: int = 2) -> str:
        """A spread in code's unit, as people read it.

        >>> build_error("mount_position_m").spread_text(0.003)
        '±3 mm'
        """
        gap = "" if self.unit.symbol.startswith("°") else " "
        return f"±{std * self.unit.per_code_unit:.{digits}g}{gap}{self.unit.symbol}"


_DEGREES = Unit("°", 180.0 / math.pi)
_MILLIMETRES = Unit("mm", 1000.0)
_PER_CENT = Unit("%", 100.0)

BUILD_ERRORS: tuple[BuildError, ...] = (
    BuildError(
        name="mount_angle_rad",
        owner=Owner.MOUNT,
        axes=("pan", "tilt", "roll"),
        stream="mount angle",
        sentence="a camera points elsewhere than drawn",
        unit=_DEGREES,
    ),
    BuildError(
        name="mount_position_m",
        owner=Owner.MOUNT,
        axes=("forward", "left", "up"),
        stream="mount position",
        sentence="a camera sits elsewhere on the robot than drawn",
        unit=_MILLIMETRES,
    ),
    BuildError(
        name="focal_fraction",
        owner=Owner.MOUNT,
        axes=("",),
        stream="focal length",
        sentence="a lens is longer than calibrated",
        unit=_PER_CENT,
    ),
    BuildError(
        name="centre_px",
        owner=Owner.MOUNT,
        axes=("right", "down"),
        stream="principal point",
        sentence="the optical axis meets the sensor elsewhere than calibrated",
        unit=Unit("px", 1.0),
    ),
    BuildError(
        name="distortion_k1",
        owner=Owner.MOUNT,
        axes=("",),
        stream="distortion",
        sentence="the first radial distortion term differs from the calibrated one",
        unit=Unit("", 1.0),
    ),
    BuildError(
        name="clock_offset_s",
        owner=Owner.MOUNT,
        axes=("",),
        stream="clock offset",
        sentence="a camera's capture stamps come late",
        unit=Unit("ms", 1000.0),
    ),
    BuildError(
        name="tag_position_m",
        owner=Owner.TAG,
        axes=("x", "y", "z"),
        stream="tag position",
        sentence="a tag hangs elsewhere than surveyed",
        unit=_MILLIMETRES,
    ),
    BuildError(
        name="tag_heading_rad",
        owner=Owner.TAG,
        axes=("",),
        stream="tag heading",
        sentence="a tag faces more to the left than surveyed, seen from above",
        unit=_DEGREES,
    ),
    BuildError(
        name="tag_lean_rad",
        owner=Owner.TAG,
        axes=("back", "sideways"),
        stream="tag lean",
        sentence="a tag leans back from the viewer, or hangs askew in its plane",
        unit=_DEGREES,
    ),
    BuildError(
        name="tag_scale_fraction",
        owner=Owner.TAG,
        axes=("",),
        stream="tag scale",
        sentence="a tag was printed larger than stated",
        unit=_PER_CENT,
    ),
    BuildError(
        name="lean_rad",
        owner=Owner.ROBOT,
        axes=("roll", "pitch"),
        stream="chassis lean",
        sentence="the chassis does not stand level",
        unit=_DEGREES,
    ),
    BuildError(
        name="wheel_radius_fraction",
        owner=Owner.WHEEL,
        axes=("",),
        stream="wheel radius",
        sentence="a wheel is larger than stated",
        unit=_PER_CENT,
    ),
    BuildError(
        name="slip_fraction",
        owner=Owner.ROBOT,
        axes=("",),
        stream="slip",
        sentence="the wheels slip more than the robot's file says, relative to that",
        unit=_PER_CENT,
    ),
    BuildError(
        name="gyro_bias_rad_per_s",
        owner=Owner.ROBOT,
        axes=("",),
        stream="gyro bias",
        sentence="the gyro reads a turn at rest",
        unit=Unit("°/s", 180.0 / math.pi),
        is_of_robot_file=True,
    ),
    BuildError(
        name="gyro_scale_fraction",
        owner=Owner.ROBOT,
        axes=("",),
        stream="gyro scale",
        sentence="the gyro reads turns too large",
        is_of_robot_file=True,
        unit=_PER_CENT,
    ),
)
"""Every build error. Mounts own the first six, tags the next four, in this order in all arrays."""


def build_error(name: str) -> BuildError:
    """The entry of that name.

    >>> build_error("mount_angle_rad").axes
    ('pan', 'tilt', 'roll')
    """
    return next(error for error in BUILD_ERRORS if error.name == name)


def errors_of(owner: Owner) -> tuple[BuildError, ...]:
    """The entries with that owner, in the order of the list.

    >>> sum(len(error.axes) for error in errors_of(Owner.MOUNT))
    11
    """
    return tuple(error for error in BUILD_ERRORS if error.owner is owner)
