"""Flights to planes: compiled for many throws, by SciPy's solver as the reference for one."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from posefuse.aim.arrays import law_table
from posefuse.aim.compiled.flight import fly_to_planes
from posefuse.aim.flight_law import FlightLaw, flight_law
from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import InputError
from posefuse.robot.shooter import Shooter

__all__ = [
    "Crossings",
    "ahead_m",
    "flight_paths_m",
    "flight_reference",
    "fly",
    "fly_ahead",
    "side_view",
]

FLOOR_M = 0.0
DEEP_M = -20.0  # pictures show a path until here
LONGEST_FLIGHT_S = 400.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crossings:
    """Where throws first come through their planes from the front; nan where they never do.

    Parameters
    ----------
    time_s : (...) array
        Since the release.
    points_m, velocities_m_per_s : (..., 3) arrays
        In the frame of the throw.
    """

    time_s: FloatArray
    points_m: FloatArray
    velocities_m_per_s: FloatArray


def fly(
    starts_m: ArrayLike,
    velocities_m_per_s: ArrayLike,
    *,
    law: FlightLaw,
    plane_points_m: ArrayLike,
    plane_normals: ArrayLike,
    spin_axes: ArrayLike = (0.0, -1.0),
    floor_m: ArrayLike = FLOOR_M,
) -> Crossings:
    """Flights of many throws to planes, by the compiled solver; all arguments broadcast.

    Parameters
    ----------
    starts_m, velocities_m_per_s : (..., 3) arrays
        z is up.
    plane_points_m, plane_normals : (..., 3) arrays
        A point of each plane and the unit normal of its front.
    spin_axes : (..., 2) array
        Level unit vectors: (0, -1) is backspin of a throw along x.
    floor_m : (...) array
        A throw ends where it falls below this height.
    """
    rows = [
        np.asarray(value, dtype=np.float64)
        for value in (starts_m, velocities_m_per_s, spin_axes, plane_points_m, plane_normals)
    ]
    floor = np.asarray(floor_m, dtype=np.float64)
    shape = np.broadcast_shapes(*(row.shape[:-1] for row in rows), floor.shape)
    # copies, so that the kernel is compiled for writable arrays only
    starts, velocities, spins, points, normals = (
        np.array(np.broadcast_to(row, (*shape, row.shape[-1]))).reshape(-1, row.shape[-1])
        for row in rows
    )
    floors = np.array(np.broadcast_to(floor, shape)).reshape(-1)
    if not all(np.isfinite(row).all() for row in (starts, velocities, points, normals)):
        raise InputError("fly: holds a value that is not finite")
    crossings = np.empty((len(starts), 7))
    table = law_table(law, top_speed_m_per_s=_top_speed(starts, velocities, floors, law))
    fly_to_planes(starts, velocities, spins, points, normals, floors, table, crossings)
    crossings = crossings.reshape(*shape, 7)
    return Crossings(
        time_s=crossings[..., 0],
        points_m=crossings[..., 1:4],
        velocities_m_per_s=crossings[..., 4:],
    )


def _top_speed(
    starts: FloatArray, velocities: FloatArray, floors: FloatArray, law: FlightLaw
) -> float:
    """No throw gets faster: energy at the release, all of it motion at the floor."""
    fall = np.maximum(starts[:, 2] - floors, 0.0)
    squares = (velocities**2).sum(axis=-1) + 2.0 * law.gravity_m_per_s2 * fall
    return float(np.sqrt(squares.max(initial=1.0)))


def ahead_m(distances_m: FloatArray, shooter: Shooter) -> FloatArray:
    """How far ahead of the robot's middle points at level distances lie, along the throw.

    The robot faces so that the throw, which leaves beside its middle, goes over the point. 0 for
    points that are nearer than the release is beside the middle.
    """
    left = float(shooter.release_in_robot_m[1])
    squares = np.asarray(distances_m, dtype=np.float64) ** 2 - left**2
    return np.sqrt(np.maximum(squares, 0.0))


def side_view(shooter: Shooter, pivots_rad: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Starts and velocities (n, 3) of throws with pivots (n,), seen from the side.

    x is ahead of the robot's middle, z is up; y is 0 throughout.
    """
    starts = shooter.release_at(pivots_rad)
    starts[:, 1] = 0.0
    directions = np.stack([np.cos(pivots_rad), 0.0 * pivots_rad, np.sin(pivots_rad)], axis=-1)
    return starts, shooter.exit_speed_m_per_s * directions


def fly_ahead(
    shooter: Shooter, pivots_rad: FloatArray, aheads_m: FloatArray, *, floor_m: float
) -> Crossings:
    """Flights of throws, seen from the side, to upright planes ahead of the robot's middle.

    Parameters
    ----------
    pivots_rad : (n,) array
    aheads_m : (n, k) array
        Where the planes stand.
    """
    starts, velocities = side_view(shooter, pivots_rad)
    return fly(
        starts[:, None],
        velocities[:, None],
        law=flight_law(shooter),
        plane_points_m=np.stack([aheads_m, 0.0 * aheads_m, 0.0 * aheads_m], axis=-1),
        plane_normals=(-1.0, 0.0, 0.0),
        floor_m=floor_m,
    )


def flight_paths_m(
    shooter: Shooter, distances_m: FloatArray, pivots_rad: FloatArray, *, points: int = 80
) -> FloatArray:
    """Points of throws from some distances to the goal's middle, (n, points, 2), for pictures.

    Level distance to the goal's middle, negative before it, and height; seen from the side.
    """
    starts, _ = side_view(shooter, pivots_rad)
    ahead = ahead_m(distances_m, shooter)
    share = np.linspace(0.0, 1.0, points)
    along = starts[:, :1] + (ahead[:, None] - starts[:, :1]) * share[1:]
    flown = fly_ahead(shooter, pivots_rad, along, floor_m=DEEP_M)
    x = np.concatenate([starts[:, :1], along], axis=1) - ahead[:, None]
    z = np.concatenate([starts[:, 2:], flown.points_m[..., 2]], axis=1)
    return np.stack([x, z], axis=-1)


def flight_reference(
    start_m: ArrayLike,
    velocity_m_per_s: ArrayLike,
    *,
    law: FlightLaw,
    plane_point_m: ArrayLike,
    plane_normal: ArrayLike,
    spin_axis: ArrayLike = (0.0, -1.0),
    floor_m: float = FLOOR_M,
) -> Crossings:
    """The flight of one throw by SciPy's DOP853 at a tolerance of 1e-12, as a reference.

    Parameters
    ----------
    start_m, velocity_m_per_s, plane_point_m, plane_normal, spin_axis
        As for ``fly``, of one throw.
    """
    from scipy.integrate import solve_ivp  # heavy

    point = frozen_array("plane_point_m", plane_point_m, (3,))
    normal = frozen_array("plane_normal", plane_normal, (3,))
    start = frozen_array("start_m", start_m, (3,))
    velocity = frozen_array("velocity_m_per_s", velocity_m_per_s, (3,))
    flown = solve_ivp(
        _motion(law, frozen_array("spin_axis", spin_axis, (2,))),
        (0.0, LONGEST_FLIGHT_S),
        np.concatenate([start, velocity]),
        method="DOP853",
        rtol=1e-12,
        atol=1e-12,
        events=[
            _falling_through(lambda state: float((state[:3] - point) @ normal)),
            _falling_through(lambda state: float(state[2] - floor_m)),
        ],
    )
    if not flown.t_events or not flown.y_events or len(flown.t_events[0]) == 0:
        nowhere = np.full(3, np.nan)
        return Crossings(time_s=np.asarray(np.nan), points_m=nowhere, velocities_m_per_s=nowhere)
    state = flown.y_events[0][0]
    return Crossings(
        time_s=np.asarray(flown.t_events[0][0]),
        points_m=state[:3],
        velocities_m_per_s=state[3:],
    )


def _motion(law: FlightLaw, spin_axis: FloatArray) -> Callable[[float, FloatArray], FloatArray]:
    """The derivative of position and velocity (6,)."""
    spin_x, spin_y = spin_axis
    turning = np.cross([spin_x, spin_y, 0.0], np.eye(3)).T  # turning @ v is the axis x v
    weight = np.array([0.0, 0.0, law.gravity_m_per_s2])

    def derivative(_t: float, state: FloatArray) -> FloatArray:
        velocity = state[3:]
        rate = law.drag_rate(np.sqrt(velocity @ velocity, dtype=np.float64))
        lift = law.lift_per_s * (turning @ velocity)
        return np.concatenate([velocity, lift - rate * velocity - weight])

    return derivative


def _falling_through(
    height: Callable[[FloatArray], float],
) -> Callable[[float, FloatArray], float]:
    """An event that ends the flight when ``height`` falls through zero."""

    def event(_t: float, state: FloatArray) -> float:
        return height(state)

    event.direction, event.terminal = -1, True  # type: ignore[attr-defined]
    return event
