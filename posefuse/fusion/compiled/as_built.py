"""Compiled: cameras and tags as a filter believes that they were built.

The same as ``build_errors.compose`` with the chassis' lean, for constants in a row.
"""

import math

from posefuse.compiling import inlined_kernel, kernel

__all__ = ["build_camera", "build_tag", "value_of"]


@inlined_kernel
def value_of(mean, place):
    """A constant of the build: mean (n,) holds it at ``place``; zero where that is below zero."""
    return mean[max(place, 0)] if place >= 0 else 0.0


@inlined_kernel
def _once(turn, v):
    """A vector turned by roll, then by pitch; turn: their cosines and sines."""
    cr, sr, cp, sp = turn
    y, z = cr * v[1] - sr * v[2], sr * v[1] + cr * v[2]
    return cp * v[0] + sp * z, y, cp * z - sp * v[0]


@inlined_kernel
def _leaned(turns, v):
    """A vector of the chassis along the level robot's axes; turns: as built, as it accelerates."""
    return _once(turns[1], _once(turns[0], v))


@kernel
def build_camera(build, eye, mean, lean, cameras):
    """Write row ``eye`` of ``LinearCameras`` for a state ``mean`` (n,) with constants in it.

    Parameters
    ----------
    build
        ``BuildArrays`` of ``fusion.build_arrays``.
    lean : (2,)
        Roll and pitch of the chassis as it accelerates.
    """
    own, nominal = build.own_place[eye], build.cameras[eye]
    roll, pitch = value_of(mean, build.lean_place[0]), value_of(mean, build.lean_place[1])
    turn = (
        (math.cos(roll), math.sin(roll), math.cos(pitch), math.sin(pitch)),
        (math.cos(lean[0]), math.sin(lean[0]), math.cos(lean[1]), math.sin(lean[1])),
    )
    pan = nominal[0] + value_of(mean, own[0])
    tilt = nominal[1] + value_of(mean, own[1])
    tipped = nominal[2] + value_of(mean, own[2])
    cp, sp, ct, st = math.cos(pan), math.sin(pan), math.cos(tilt), math.sin(tilt)
    c, s = math.cos(tipped), math.sin(tipped)
    forward = _leaned(turn, (cp * ct, sp * ct, st))
    left = _leaned(turn, (-c * sp - s * cp * st, c * cp - s * sp * st, s * ct))
    up = _leaned(turn, (s * sp - c * cp * st, -s * cp - c * sp * st, c * ct))
    place = _leaned(
        turn,
        (
            nominal[3] + value_of(mean, own[3]),
            nominal[4] + value_of(mean, own[4]),
            nominal[5] + value_of(mean, own[5]),
        ),
    )
    upright, across = _leaned(turn, (0.0, 0.0, 1.0)), _leaned(turn, (sp, -cp, 0.0))
    rotation, axes = cameras.rotation, cameras.angle_axes
    for i in range(3):
        rotation[eye, i, 0], rotation[eye, i, 1] = -left[i], -up[i]
        rotation[eye, i, 2] = forward[i]
        cameras.translation_m[eye, i] = place[i]
        axes[eye, 0, i], axes[eye, 1, i], axes[eye, 2, i] = upright[i], across[i], forward[i]
    lens = cameras.lens_rows
    longer = 1.0 + value_of(mean, own[6])
    lens[eye, 0], lens[eye, 1] = nominal[6] * longer, nominal[7] * longer
    lens[eye, 2] = nominal[8] + value_of(mean, own[7])
    lens[eye, 3] = nominal[9] + value_of(mean, own[8])
    lens[eye, 4] = nominal[10] + value_of(mean, own[9])


@kernel
def build_tag(build, n, mean, tags):
    """Write row ``n`` of ``LinearTags`` for a state ``mean`` (n,) with constants in it."""
    places, nominal = build.tag_place[n], build.tags[n]
    heading = value_of(mean, places[3])
    back, sideways = value_of(mean, places[4]), value_of(mean, places[5])
    half = nominal[12] * (1.0 + value_of(mean, places[6]))
    ch, sh = math.cos(heading), math.sin(heading)
    cb, sb = math.cos(back), math.sin(back)
    cs, ss = math.cos(sideways), math.sin(sideways)
    ex = (cs, cb * ss, -sb * ss)
    ey = (-ss, cb * cs, -sb * cs)
    ez = (0.0, sb, cb)
    for j in range(3):
        axis = ex if j == 0 else (ey if j == 1 else ez)
        x = nominal[0] * axis[0] + nominal[1] * axis[1] + nominal[2] * axis[2]
        y = nominal[3] * axis[0] + nominal[4] * axis[1] + nominal[5] * axis[2]
        z = nominal[6] * axis[0] + nominal[7] * axis[1] + nominal[8] * axis[2]
        turned = (ch * x - sh * y, sh * x + ch * y, z)
        for i in range(3):
            if j == 0:
                tags.lean_axes[n, 0, i] = -turned[i]
                for corner in range(4):
                    side = 1.0 if corner == 1 or corner == 2 else -1.0
                    tags.corners_m[n, corner, i] = side * half * turned[i]
            elif j == 1:
                for corner in range(4):
                    tags.corners_m[n, corner, i] += (1.0 if corner < 2 else -1.0) * half * turned[i]
            else:
                tags.lean_axes[n, 1, i] = turned[i]
    for i in range(3):
        middle = nominal[9 + i] + value_of(mean, places[i])
        tags.centres_m[n, i] = middle
        for corner in range(4):
            tags.corners_m[n, corner, i] += middle
