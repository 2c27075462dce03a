"""What one run leaves behind. Nothing here says whether it was simulated or real."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from posefuse.checks import FloatArray, IntArray, frozen_array, frozen_ints, increasing
from posefuse.errors import InputError
from posefuse.geometry.plane import PlanePose

__all__ = [
    "Frames",
    "Odometry",
    "Recording",
    "Shots",
    "SightingKind",
    "Sightings",
    "StartPose",
    "Truth",
]


class SightingKind(StrEnum):
    """What a sighting holds, and in how many numbers."""

    CORNERS = "corners"
    RANGE_BEARING = "range_bearing"
    RANGE = "range"

    @property
    def width(self) -> int:
        """Numbers in one sighting: 8, 2 or 1."""
        return {"corners": 8, "range_bearing": 2, "range": 1}[self.value]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Odometry:
    """Motion as measured by the wheels and the gyro.

    Parameters
    ----------
    stamps_s : (rows,) array
        Strictly rising.
    twists : (rows, 3) array
        forward_m, left_m, turn_rad since the row before, along the arc in the robot's own frame
        (see ``geometry.arc_motion``). The first row is zero.
    """

    stamps_s: FloatArray
    twists: FloatArray

    def __post_init__(self) -> None:
        stamps = frozen_array("odometry t_s", self.stamps_s, (None,))
        if len(stamps) < 2:
            raise InputError(f"odometry: needs 2 rows or more (got {len(stamps)})")
        object.__setattr__(self, "stamps_s", increasing("odometry t_s", stamps))
        twists = frozen_array("odometry motion", self.twists, (len(stamps), 3))
        if twists[0].any():
            raise InputError(f"odometry: the first row's motion must be zero (got {twists[0]})")
        object.__setattr__(self, "twists", twists)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frames:
    """Camera frames (or range scans) in the order of their capture stamps.

    Parameters
    ----------
    sensor : (frames,) ints
        Index into ``Recording.sensor_names``.
    captured_at_s, arrived_at_s : (frames,) arrays
        Capture as stamped by the camera's clock; arrival as the filter sees it.
    """

    sensor: IntArray
    captured_at_s: FloatArray
    arrived_at_s: FloatArray

    def __post_init__(self) -> None:
        sensor = frozen_ints("frames sensor", self.sensor, (None,))
        object.__setattr__(self, "sensor", sensor)
        for name in ("captured_at_s", "arrived_at_s"):
            array = frozen_array(f"frames {name}", getattr(self, name), (len(sensor),))
            object.__setattr__(self, name, array)
        if (np.diff(self.captured_at_s) < 0.0).any():
            row = int(np.argmax(np.diff(self.captured_at_s) < 0.0)) + 1
            raise InputError(f"frames captured_at_s: the stamp goes back at row {row}")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sightings:
    """Tags or beacons seen, in the order of their frames.

    Parameters
    ----------
    frame : (sightings,) ints
        Index into ``Frames``; several sightings may share a frame.
    id : (sightings,) ints
        Tag id, or beacon id for range and bearing.
    values : (sightings, 8 or 2 or 1) array
        Corners x0_px, y0_px .. x3_px, y3_px in the order of ``Tag.corners_in_tag_m``;
        or range_m, bearing_rad (left of the sensor's forward); or range_m.
    """

    kind: SightingKind
    frame: IntArray
    id: IntArray
    values: FloatArray

    def __post_init__(self) -> None:
        frame = frozen_ints("sightings frame", self.frame, (None,))
        object.__setattr__(self, "frame", frame)
        object.__setattr__(self, "id", frozen_ints("sightings id", self.id, (len(frame),)))
        values = frozen_array("sightings", self.values, (len(frame), self.kind.width))
        object.__setattr__(self, "values", values)
        if (np.diff(frame) < 0).any():
            raise InputError("sightings: must stand in the order of their frames")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Truth:
    """The true path, where it is known: poses (rows, 3) x_m, y_m, heading_rad at the stamps.

    Parameters
    ----------
    has_heading
        False where only the position was surveyed: headings are then zeros, and not scored.
    """

    stamps_s: FloatArray
    poses: FloatArray
    has_heading: bool = True

    def __post_init__(self) -> None:
        stamps = increasing("truth t_s", frozen_array("truth t_s", self.stamps_s, (None,)))
        object.__setattr__(self, "stamps_s", stamps)
        object.__setattr__(self, "poses", frozen_array("truth", self.poses, (len(stamps), 3)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shots:
    """When the robot shot, and at which goal."""

    stamps_s: FloatArray
    goals: tuple[str, ...]

    def __post_init__(self) -> None:
        stamps = frozen_array("shots t_s", self.stamps_s, (len(self.goals),))
        if len(stamps) > 1:
            increasing("shots t_s", stamps)
        object.__setattr__(self, "stamps_s", stamps)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StartPose:
    """The pose at the first odometry row as stated, with its covariance (x, y, heading)."""

    world_from_robot: PlanePose
    cov: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "cov", frozen_array("start covariance", self.cov, (3, 3)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recording:
    """One run: odometry, frames, sightings; and, where known, start pose, truth and shots.

    Parameters
    ----------
    sensor_names
        The rig's mounts, then its rangers.
    start
        ``None``: the filter must take the start from the tags.
    dropped_frame_count
        Frames that were taken and never arrived, where the recorder knows of them.
    """

    name: str
    sensor_names: tuple[str, ...]
    odometry: Odometry
    frames: Frames
    sightings: Sightings
    start: StartPose | None = None
    truth: Truth | None = None
    shots: Shots | None = None
    dropped_frame_count: int = 0

    def __post_init__(self) -> None:
        if len(self.frames.sensor) and not (
            self.frames.sensor.min() >= 0 and self.frames.sensor.max() < len(self.sensor_names)
        ):
            raise InputError("frames: a sensor index lies outside sensor_names")
        if len(self.sightings.frame) and not (
            self.sightings.frame.min() >= 0 and self.sightings.frame.max() < len(self.frames.sensor)
        ):
            raise InputError("sightings: a frame index lies outside the frames")
