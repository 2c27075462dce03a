"""When a camera takes its frames, when their sightings arrive, and which never do."""

import math
from dataclasses import dataclass

import numpy as np

from posefuse.checks import BoolArray, FloatArray, IntArray, frozen_array, frozen_ints, in_range
from posefuse.errors import InputError
from posefuse.randomness.streams import stream
from posefuse.robot.camera import Timing
from posefuse.sensing.compiled.frames import draw_arrivals

__all__ = ["CapturedFrames", "arrivals", "frame_times", "lost_in_outages", "mount_phase", "outages"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CapturedFrames:
    """Frames of a robot's cameras, and where the robot is and how it moves as they are captured.

    Parameters
    ----------
    camera, number, captured_at_s : (F,) arrays
        Index of the frame's mount; its number within that camera; true capture instant.
    world_from_robot : (F, 4, 4) array
        At the capture, lean included.
    robot_twist, robot_acceleration : (F, 6) arrays
        Turn rates about the world's axes, then velocity of the robot's origin along them; how fast
        these change.
    """

    camera: IntArray
    number: IntArray
    captured_at_s: FloatArray
    world_from_robot: FloatArray
    robot_twist: FloatArray
    robot_acceleration: FloatArray

    def __post_init__(self) -> None:
        camera = frozen_ints("camera", self.camera, (None,))
        count = len(camera)
        object.__setattr__(self, "camera", camera)
        object.__setattr__(self, "number", frozen_ints("number", self.number, (count,)))
        for name, shape in {
            "captured_at_s": (count,),
            "world_from_robot": (count, 4, 4),
            "robot_twist": (count, 6),
            "robot_acceleration": (count, 6),
        }.items():
            object.__setattr__(self, name, frozen_array(name, getattr(self, name), shape))


def mount_phase(name: str) -> float:
    """Share of a frame period, in [0, 1), by which the mount of that name starts late.

    Cameras that nobody synchronises start anyhow; the name alone decides, so that a mount takes
    the same frames beside whatever others.

    >>> mount_phase("front") == mount_phase("front")
    True
    """
    return float(stream(0, 0, f"frame phase: {name}").random())


def frame_times(timing: Timing, *, start_s: float, end_s: float, phase: float) -> FloatArray:
    """True capture instants (n,) of one camera: the middle of each exposure, both ends allowed.

    Parameters
    ----------
    phase
        Share of a frame period, in [0, 1), between the start and the first frame.

    Examples
    --------
    >>> timing = Timing(frame_rate_hz=10.0, exposure_s=0.005, latency_s=0.03)
    >>> frame_times(timing, start_s=2.0, end_s=2.3, phase=0.5)
    array([2.05, 2.15, 2.25])
    """
    in_range("phase", phase, 0.0, math.nextafter(1.0, 0.0))
    if not end_s >= start_s:
        raise InputError(f"end_s: must not lie before start_s = {start_s:g} (got {end_s:g})")
    count = math.floor((end_s - start_s) * timing.frame_rate_hz - phase) + 2
    stamps = start_s + (np.arange(count, dtype=np.float64) + phase) / timing.frame_rate_hz
    return stamps[stamps <= end_s]


def arrivals(
    captured_at_s: FloatArray, timing: Timing, key: np.uint64
) -> tuple[FloatArray, BoolArray]:
    """When each frame of one camera arrives (n,), and whether it is dropped instead (n,).

    The latency spreads evenly by ``latency_jitter_s`` to either side of its mean.

    Parameters
    ----------
    captured_at_s : (n,) array
        All capture instants of the camera, so that the row is the frame's number in its camera.
    key
        From ``randomness.stream_key``; rivals that use the same key share each frame's fate.
    """
    captured = frozen_array("captured_at_s", captured_at_s, (None,))
    spread, is_dropped = np.empty(len(captured)), np.empty(len(captured), dtype=np.bool_)
    draw_arrivals(np.uint64(key), timing.drop_rate, spread, is_dropped)
    return captured + timing.latency_s + timing.latency_jitter_s * spread, is_dropped


def outages(
    timing: Timing, generator: np.random.Generator, *, start_s: float, end_s: float
) -> FloatArray:
    """Beginning and end (n, 2) of the times within a run in which one camera is gone.

    It works at the start. Times between outages and their lengths are exponential: an alternating
    renewal process (D. R. Cox, Renewal Theory, 1962, ch. 7).
    """
    spans: list[tuple[float, float]] = []
    at_s = start_s
    while timing.outages_per_minute > 0.0:
        begins_s = at_s + 60.0 / timing.outages_per_minute * generator.standard_exponential()
        if begins_s >= end_s:
            break
        at_s = begins_s + timing.outage_s * generator.standard_exponential()
        spans.append((begins_s, at_s))
    return np.array(spans, dtype=np.float64).reshape(-1, 2)


def lost_in_outages(
    captured_at_s: FloatArray, arrived_at_s: FloatArray, spans_s: FloatArray
) -> BoolArray:
    """Which frames (n,) are taken during an outage (m, 2), or are on their way as it begins."""
    is_lost = np.zeros(len(captured_at_s), dtype=np.bool_)
    for begins_s, ends_s in spans_s:
        is_lost |= (captured_at_s < ends_s) & (arrived_at_s > begins_s)
    return is_lost
