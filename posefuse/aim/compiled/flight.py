"""Compiled: the flight of a piece to a plane, by Runge-Kutta steps of one length.

``piece``, ``plane`` and ``law`` are ``PieceState``, ``Plane`` and ``LawTable`` of ``aim.arrays``;
``spin`` (2,) is the spin's level unit axis. The piece must come to the front of the plane.
"""

import numpy as np

from posefuse.aim.arrays import PieceState, Plane
from posefuse.compiling import inlined_kernel, kernel

__all__ = ["fly_to_plane", "fly_to_planes"]

MOST_STEPS = 4000  # 160 s of flight without air
ROUNDING_M = 1e-9  # a plane may be the floor itself
NEWTON_STEPS = 2  # from the straight line's guess: an error of 1e-2 of a step goes to 1e-8


@inlined_kernel
def acceleration(vx, vy, vz, spin, law):
    """(ax, ay, az) at a velocity."""
    sx, sy = spin
    place = np.sqrt(vx * vx + vy * vy + vz * vz) * law.rows_per_m_per_s
    row = min(np.int64(place), law.rates_per_s.shape[0] - 2)
    low = law.rates_per_s[row]
    rate = low + (place - row) * (law.rates_per_s[row + 1] - low)
    lift = law.lift_per_s
    return (
        lift * sy * vz - rate * vx,
        -lift * sx * vz - rate * vy,
        lift * (sx * vy - sy * vx) - rate * vz - law.gravity_m_per_s2,
    )


@inlined_kernel
def advance(piece, spin, law, h):
    """The piece h seconds on, in one step.

    The classical fourth-order method (W. Kutta, 1901) for x'' = a(x'): the positions need no
    derivatives of their own.
    """
    x, y, z, vx, vy, vz = piece
    ax, ay, az = acceleration(vx, vy, vz, spin, law)
    half = 0.5 * h
    bx, by, bz = acceleration(vx + half * ax, vy + half * ay, vz + half * az, spin, law)
    cx, cy, cz = acceleration(vx + half * bx, vy + half * by, vz + half * bz, spin, law)
    dx, dy, dz = acceleration(vx + h * cx, vy + h * cy, vz + h * cz, spin, law)
    sixth = h / 6.0
    return PieceState(
        x + h * (vx + sixth * (ax + bx + cx)),
        y + h * (vy + sixth * (ay + by + cy)),
        z + h * (vz + sixth * (az + bz + cz)),
        vx + sixth * (ax + 2.0 * (bx + cx) + dx),
        vy + sixth * (ay + 2.0 * (by + cy) + dy),
        vz + sixth * (az + 2.0 * (bz + cz) + dz),
    )


@inlined_kernel
def height_above(piece, plane):
    """How far before the front of the plane the piece is."""
    return (
        (piece.x - plane.x) * plane.nx
        + (piece.y - plane.y) * plane.ny
        + (piece.z - plane.z) * plane.nz
    )


@kernel
def fly_to_plane(piece, spin, plane, floor_m, law):
    """(t, piece) where the piece first comes through the plane from its front.

    t is -1 when it falls below ``floor_m`` before; the piece is then where it was last.
    """
    t = 0.0
    h = law.step_s
    before = height_above(piece, plane)
    for _ in range(MOST_STEPS):
        following = advance(piece, spin, law, h)
        after = height_above(following, plane)
        if before > 0.0 and after <= 0.0:
            part = h * before / (before - after)
            for _newton in range(NEWTON_STEPS):
                close = advance(piece, spin, law, part)
                off = height_above(close, plane)
                rate = close.vx * plane.nx + close.vy * plane.ny + close.vz * plane.nz
                part = min(max(part - off / rate, 0.0), h)
            through = advance(piece, spin, law, part)
            if through.z < floor_m - ROUNDING_M:
                return -1.0, through
            return t + part, through
        if following.z < floor_m and following.vz < 0.0:
            return -1.0, following
        piece, before = following, after
        t += h
    return -1.0, piece


@kernel
def fly_to_planes(starts, velocities, spins, points, normals, floor_m, law, crossings):
    """Fill crossings (n, 7) with ``fly_to_plane`` of each row; nan where there is none.

    starts, velocities, points, normals (n, 3); spins (n, 2); floor_m (n,).
    """
    for i in range(starts.shape[0]):
        s, v, p, n = starts[i], velocities[i], points[i], normals[i]
        piece = PieceState(s[0], s[1], s[2], v[0], v[1], v[2])
        plane = Plane(p[0], p[1], p[2], n[0], n[1], n[2])
        t, piece = fly_to_plane(piece, (spins[i, 0], spins[i, 1]), plane, floor_m[i], law)
        crossings[i, :] = np.nan
        if t >= 0.0:
            crossings[i, 0] = t
            crossings[i, 1], crossings[i, 2], crossings[i, 3] = piece.x, piece.y, piece.z
            crossings[i, 4], crossings[i, 5], crossings[i, 6] = piece.vx, piece.vy, piece.vz
