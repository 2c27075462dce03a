"""The line the robot drives from one stop to the next, as a smooth function of way driven."""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from posefuse.checks import FloatArray

__all__ = ["Curve", "curve_through", "turn_in_place"]

_STEP_M = 0.01
"""Between neighbouring points of a curve."""
_BLEND_M = 0.2
"""Way over which the jumps in the rate of curvature at the waypoints are spread."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """x, y and unwrapped heading over a parameter that starts at 0.

    Parameters
    ----------
    spline
        Over evenly spaced knots; the parameter is the way driven in metres, or, for a turn in
        place, the angle turned in radians.
    waypoints_at : (waypoints,) array
        The parameter at each waypoint; the first is 0, the last the end of the curve.
    """

    spline: CubicSpline
    waypoints_at: FloatArray

    @property
    def step(self) -> float:
        """The parameter's step between knots."""
        return float(self.spline.x[1] - self.spline.x[0])

    @property
    def shape(self) -> FloatArray:
        """At the knots (n, 4): |d position|, |d2 position|, |d heading|, |d2 heading|."""
        first, second = self.spline(self.spline.x, 1), self.spline(self.spline.x, 2)
        return np.stack(
            [
                np.hypot(first[:, 0], first[:, 1]),
                np.hypot(second[:, 0], second[:, 1]),
                np.abs(first[:, 2]),
                np.abs(second[:, 2]),
            ],
            axis=-1,
        )


def turn_in_place(xy_m: FloatArray, *, from_rad: float, to_rad: float, knots: int = 201) -> Curve:
    """A turn on the spot; the headings must differ."""
    angle = np.linspace(0.0, abs(to_rad - from_rad), knots)
    points = np.empty((knots, 3))
    points[:, :2] = xy_m
    points[:, 2] = np.linspace(from_rad, to_rad, knots)
    return Curve(spline=CubicSpline(angle, points), waypoints_at=angle[[0, -1]])


def curve_through(xy_m: FloatArray, headings_rad: FloatArray | None) -> Curve:
    """A curve of continuous curvature through points that all lie apart.

    Parameters
    ----------
    xy_m : (n, 2) array
        n at least 2.
    headings_rad : (n,) array or None
        Unwrapped, nan where free (never at the ends): smooth steps over the way between those
        given. ``None``: the robot faces along the curve.
    """
    line, at = _evened(*_fine_line(xy_m))
    line = _blended(line, at)
    way = _way_along(line)
    count = len(way)
    knots = np.linspace(0.0, way[-1], count)
    at = np.interp(at, np.linspace(0.0, 1.0, count), way)
    line = CubicSpline(way, line, bc_type="natural")(knots)
    line[[0, -1]] = xy_m[[0, -1]]
    if headings_rad is None:
        slope = CubicSpline(knots, line, bc_type="natural")(knots, 1)
        heading = np.unwrap(np.arctan2(slope[:, 1], slope[:, 0]))
    else:
        given = np.isfinite(headings_rad)
        heading = _smooth_steps(knots, at[given], headings_rad[given])
    points = np.column_stack([line, heading])
    return Curve(spline=CubicSpline(knots, points, bc_type="natural"), waypoints_at=at)


def _fine_line(xy_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points (m, 2) of a natural cubic spline through ``xy_m``; where in them its points lie.

    Knots at the square roots of the chords keep the curve near its chords: E. T. Y. Lee, "Choosing
    nodes in parametric curve interpolation", Computer-Aided Design 21(6), 1989; citation from
    memory.
    """
    chords = np.hypot(*np.diff(xy_m, axis=0).T)
    knots = np.concatenate([[0.0], np.cumsum(np.sqrt(chords))])
    spline = CubicSpline(knots, xy_m, bc_type="natural")
    counts = np.maximum(np.ceil(2.0 * chords / _STEP_M), 50).astype(np.int64)
    ends = np.concatenate([[0], np.cumsum(counts)])
    places = np.interp(np.arange(ends[-1] + 1), ends, knots)
    return spline(places), ends.astype(np.float64)


def _way_along(line: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])


def _evened(line: FloatArray, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The line at points evenly spaced along it; ``at`` as shares of its length."""
    way = _way_along(line)
    chords = np.diff(np.interp(at, np.arange(len(way)), way))
    step = min(max(chords.min() / 40.0, _STEP_M / 10.0), _STEP_M, way[-1] / 100.0)
    count = int(np.ceil(way[-1] / step)) + 1
    even = CubicSpline(way, line, bc_type="natural")(np.linspace(0.0, way[-1], count))
    return even, np.interp(at, np.arange(len(way)), way) / way[-1]


def _blended(line: FloatArray, at: FloatArray) -> FloatArray:
    """The line smoothed over a short way, its ends kept.

    A cubic spline's rate of curvature jumps at its points, and with it the turn acceleration of a
    robot that faces along it; after this it does not.
    """
    step = _way_along(line[:2])[1]
    shortest = np.diff(at).min() * step * (len(line) - 1)
    half = int(min(_BLEND_M, shortest / 4.0) / (2.0 * step))
    if half < 1:
        return line
    weights = np.hanning(2 * half + 3)[1:-1]
    longer = np.pad(line, ((half, half), (0, 0)), mode="reflect", reflect_type="odd")
    weights /= weights.sum()
    return np.column_stack([np.convolve(c, weights, mode="valid") for c in longer.T])


def _smooth_steps(way: FloatArray, at: FloatArray, headings_rad: FloatArray) -> FloatArray:
    """Headings that rest at ``at`` and between follow the quintic 10 u^3 - 15 u^4 + 6 u^5."""
    leg = np.clip(np.searchsorted(at, way, side="right") - 1, 0, len(at) - 2)
    share = np.clip((way - at[leg]) / (at[leg + 1] - at[leg]), 0.0, 1.0)
    done = share**3 * (10.0 - 15.0 * share + 6.0 * share**2)
    return headings_rad[leg] + done * (headings_rad[leg + 1] - headings_rad[leg])
