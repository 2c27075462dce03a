"""The time law: how fast a curve is driven, from rest to rest, within the limits."""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import FloatArray
from posefuse.motion.compiled.time_law import fastest_speeds, largest_within
from posefuse.motion.curve import Curve
from posefuse.motion.waypoints import MotionLimits

__all__ = ["PERIOD_S", "Drive", "drive_curve"]

PERIOD_S = 0.01
"""Between the samples of a planned path."""
_SMOOTH_STEPS = 10
"""Half the time, in periods, over which a jump of the acceleration is spread."""
_LIMIT_SHARE = 0.99
"""Of the limits used in planning: the rest is for the rounding of the sampled path."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drive:
    """A curve driven from rest to rest.

    Parameters
    ----------
    poses : (n, 3) array
        x_m, y_m, unwrapped heading every ``PERIOD_S`` from the start on; the first and the last
        stand still.
    passed_s : (waypoints,) array
        When each waypoint is passed, counted from the start.
    """

    poses: FloatArray
    passed_s: FloatArray

    @property
    def duration_s(self) -> float:
        """From the first to the last pose."""
        return (len(self.poses) - 1) * PERIOD_S


def drive_curve(curve: Curve, limits: MotionLimits) -> Drive:
    """The curve driven as fast as the limits let it, with an acceleration that never jumps.

    The fastest law switches its acceleration abruptly. It is therefore averaged over a short time,
    which keeps it within the limits if each moment already keeps to those of all places passed
    within that time: speed and acceleration are then averages of allowed ones.
    """
    values = _LIMIT_SHARE * np.array(
        [
            limits.speed_m_per_s,
            limits.acceleration_m_per_s2,
            limits.turn_rate_rad_per_s,
            limits.turn_acceleration_rad_per_s2,
        ]
    )
    shape = curve.shape
    times = _times(fastest_speeds(shape, values, curve.step), curve.step)
    reach_s = (_SMOOTH_STEPS + 1) * PERIOD_S
    first = np.searchsorted(times, times - reach_s)
    last = np.searchsorted(times, times + reach_s, side="right") - 1
    squared = fastest_speeds(largest_within(shape, first, last), values, curve.step)
    places = _smoothed(_sampled(squared, curve))
    passed_s = np.interp(curve.waypoints_at, places, PERIOD_S * np.arange(len(places)))
    passed_s[0], passed_s[-1] = 0.0, (len(places) - 1) * PERIOD_S
    return Drive(poses=curve.spline(places), passed_s=passed_s)


def _times(squared: FloatArray, step: float) -> FloatArray:
    """When each knot is passed, the acceleration constant between knots."""
    rate = np.sqrt(squared)
    return np.concatenate([[0.0], np.cumsum(2.0 * step / (rate[1:] + rate[:-1]))])


def _sampled(squared: FloatArray, curve: Curve) -> FloatArray:
    """The parameter every period, from the start until the end is reached."""
    knots, rate = curve.spline.x, np.sqrt(squared)
    times = _times(squared, curve.step)
    t = PERIOD_S * np.arange(int(np.ceil(times[-1] / PERIOD_S)) + 1)
    leg = np.clip(np.searchsorted(times, t, side="right") - 1, 0, len(times) - 2)
    since = np.minimum(t, times[-1]) - times[leg]
    gain = (squared[leg + 1] - squared[leg]) / (4.0 * curve.step)
    return np.asarray(np.minimum(knots[leg] + rate[leg] * since + gain * since**2, knots[-1]))


def _smoothed(places: FloatArray) -> FloatArray:
    """A running average with a smooth window; the ends rest for half the window."""
    weights = np.hanning(2 * _SMOOTH_STEPS + 3)[1:-1]
    rested = np.pad(places, 2 * _SMOOTH_STEPS, mode="edge")
    smooth = np.convolve(rested, weights / weights.sum(), mode="valid")
    smooth[0], smooth[-1] = places[0], places[-1]
    return smooth
