"""Compiled: the flight of a piece to a plane, by Runge-Kutta steps of one length.

``law`` is the named tuple ``aim.law.LawTable``. The plane is given by a point and the normal of
its front, to which the piece must come.
"""

import numpy as np

from posefuse.compiling import inlined_kernel, kernel

__all__ = ["fly_to_plane", "fly_to_planes"]

MOST_STEPS = 4000  # 160 s of flight without air
ROUNDING_M = 1e-9  # a plane may be the floor itself
NEWTON_STEPS = 2  # from the straight line's guess: an error of 1e-2 of a step goes to 1e-8


@inlined_kernel
def acceleration(vx, vy, vz, sx, sy, law):
    """(ax, ay, az) at a velocity; (sx, sy) is the spin's level unit axis."""
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
def advance(x, y, z, vx, vy, vz, sx, sy, law, h):
    """Position and velocity one step of h seconds on.

    The classical fourth-order method (W. Kutta, 1901) for x'' = a(x'): the positions need no
    derivatives of their own.
    """
    ax, ay, az = acceleration(vx, vy, vz, sx, sy, law)
    half = 0.5 * h
    bx, by, bz = acceleration(vx + half * ax, vy + half * ay, vz + half * az, sx, sy, law)
    cx, cy, cz = acceleration(vx + half * bx, vy + half * by, vz + half * bz, sx, sy, law)
    dx, dy, dz = acceleration(vx + h * cx, vy + h * cy, vz + h * cz, sx, sy, law)
    sixth = h / 6.0
    return (
        x + h * (vx + sixth * (ax + bx + cx)),
        y + h * (vy + sixth * (ay + by + cy)),
        z + h * (vz + sixth * (az + bz + cz)),
        vx + sixth * (ax + 2.0 * (bx + cx) + dx),
        vy + sixth * (ay + 2.0 * (by + cy) + dy),
        vz + sixth * (az + 2.0 * (bz + cz) + dz),
    )


@kernel
def fly_to_plane(x, y, z, vx, vy, vz, sx, sy, px, py, pz, nx, ny, nz, floor_m, law):
    """(t, x, y, z, vx, vy, vz) where the piece first comes through the plane from its front.

    t is -1 when it falls below ``floor_m`` before; the rest is then where it was last.
    """
    t = 0.0
    h = law.step_s
    before = (x - px) * nx + (y - py) * ny + (z - pz) * nz
    for _ in range(MOST_STEPS):
        x1, y1, z1, ux, uy, uz = advance(x, y, z, vx, vy, vz, sx, sy, law, h)
        after = (x1 - px) * nx + (y1 - py) * ny + (z1 - pz) * nz
        if before > 0.0 and after <= 0.0:
            part = h * before / (before - after)
            for _newton in range(NEWTON_STEPS):
                x1, y1, z1, ux, uy, uz = advance(x, y, z, vx, vy, vz, sx, sy, law, part)
                off = (x1 - px) * nx + (y1 - py) * ny + (z1 - pz) * nz
                part = min(max(part - off / (ux * nx + uy * ny + uz * nz), 0.0), h)
            x1, y1, z1, ux, uy, uz = advance(x, y, z, vx, vy, vz, sx, sy, law, part)
            if z1 < floor_m - ROUNDING_M:
                return -1.0, x1, y1, z1, ux, uy, uz
            return t + part, x1, y1, z1, ux, uy, uz
        if z1 < floor_m and uz < 0.0:
            return -1.0, x1, y1, z1, ux, uy, uz
        x, y, z, vx, vy, vz, before = x1, y1, z1, ux, uy, uz, after
        t += h
    return -1.0, x, y, z, vx, vy, vz


@kernel
def fly_to_planes(starts, velocities, spins, points, normals, floor_m, law, crossings):
    """Fill crossings (n, 7) with ``fly_to_plane`` of each row; nan where there is none.

    starts, velocities, points, normals (n, 3); spins (n, 2); floor_m (n,).
    """
    for i in range(starts.shape[0]):
        flown = fly_to_plane(
            starts[i, 0],
            starts[i, 1],
            starts[i, 2],
            velocities[i, 0],
            velocities[i, 1],
            velocities[i, 2],
            spins[i, 0],
            spins[i, 1],
            points[i, 0],
            points[i, 1],
            points[i, 2],
            normals[i, 0],
            normals[i, 1],
            normals[i, 2],
            floor_m[i],
            law,
        )
        for column in range(7):
            crossings[i, column] = flown[column] if flown[0] >= 0.0 else np.nan
