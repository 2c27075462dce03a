"""Compiled pieces of the filter: the step and the correction.

States stand as rows of one table, ``(x, y, heading, Pxx, Pxy, Pxh, Pyy, Pyh, Phh)``. The
information of a measurement about a state stands as ``(Axx, Axy, Axh, Ayy, Ayh, Ahh, bx, by, bh,
c)`` with ``A = H'R^-1 H``, ``b = H'R^-1 v``, ``c = v'R^-1 v`` for the innovation ``v``: three by
three however many numbers were measured. Symmetric matrices are passed as their upper half, row by
row.
"""

import math

import numpy as np

from posefuse.compiling import inlined_kernel

__all__ = ["correct", "nis", "posterior", "predict", "transport", "wrapped"]


@inlined_kernel
def wrapped(angle):
    """The angle in [-pi, pi)."""
    turned = angle - 2.0 * np.pi * math.floor((angle + np.pi) / (2.0 * np.pi))
    return turned if -np.pi <= turned < np.pi else -np.pi


@inlined_kernel
def transport(states, row, a, b):
    """Turn P into F P F' with F = [[1, 0, a], [0, 1, b], [0, 0, 1]]."""
    pxh, pyh, phh = states[row, 5], states[row, 7], states[row, 8]
    states[row, 3] += a * (2.0 * pxh + a * phh)
    states[row, 4] += a * pyh + b * pxh + a * b * phh
    states[row, 6] += b * (2.0 * pyh + b * phh)
    states[row, 5] = pxh + a * phh
    states[row, 7] = pyh + b * phh


@inlined_kernel
def predict(states, row, to, steps, step):
    """Write state ``row`` carried on by one of the ``StepArrays``' steps, as row ``to``."""
    c, s = math.cos(states[row, 2]), math.sin(states[row, 2])
    dx, dy, turn = steps.motions[step, 0], steps.motions[step, 1], steps.motions[step, 2]
    east, north = c * dx - s * dy, s * dx + c * dy
    for k in range(9):
        states[to, k] = states[row, k]
    states[to, 0] += east
    states[to, 1] += north
    states[to, 2] += turn
    transport(states, to, -north, east)
    states[to, 3] += steps.variances[step, 0]
    states[to, 6] += steps.variances[step, 0]
    states[to, 8] += steps.variances[step, 1]


@inlined_kernel
def posterior(states, row, a):
    """The upper half of a state's covariance with information A, given as its upper half ``a``.

    ``(P^-1 + A)^-1 = (I + P A)^-1 P``, where P may be singular, and A too.
    """
    p00, p01, p02 = states[row, 3], states[row, 4], states[row, 5]
    p11, p12, p22 = states[row, 6], states[row, 7], states[row, 8]
    a00, a01, a02, a11, a12, a22 = a
    # T = I + P A, and its inverse W by the adjugate
    t00 = 1.0 + p00 * a00 + p01 * a01 + p02 * a02
    t01 = p00 * a01 + p01 * a11 + p02 * a12
    t02 = p00 * a02 + p01 * a12 + p02 * a22
    t10 = p01 * a00 + p11 * a01 + p12 * a02
    t11 = 1.0 + p01 * a01 + p11 * a11 + p12 * a12
    t12 = p01 * a02 + p11 * a12 + p12 * a22
    t20 = p02 * a00 + p12 * a01 + p22 * a02
    t21 = p02 * a01 + p12 * a11 + p22 * a12
    t22 = 1.0 + p02 * a02 + p12 * a12 + p22 * a22
    w00, w10, w20 = t11 * t22 - t12 * t21, t12 * t20 - t10 * t22, t10 * t21 - t11 * t20
    w01, w11, w21 = t02 * t21 - t01 * t22, t00 * t22 - t02 * t20, t01 * t20 - t00 * t21
    w02, w12, w22 = t01 * t12 - t02 * t11, t02 * t10 - t00 * t12, t00 * t11 - t01 * t10
    scale = 1.0 / (t00 * w00 + t01 * w10 + t02 * w20)
    return (
        scale * (w00 * p00 + w01 * p01 + w02 * p02),
        scale * (w00 * p01 + w01 * p11 + w02 * p12),
        scale * (w00 * p02 + w01 * p12 + w02 * p22),
        scale * (w10 * p01 + w11 * p11 + w12 * p12),
        scale * (w10 * p02 + w11 * p12 + w12 * p22),
        scale * (w20 * p02 + w21 * p12 + w22 * p22),
    )


@inlined_kernel
def _updated(states, row, information):
    """(M, e, nis): covariance after a measurement, gain times innovation, and the innovation's NIS.

    ``e = M b`` and ``nis = c - b'M b``: Bar-Shalom, Li, Kirubarajan 2001, sec. 5.2 and 7.2 (from
    memory).
    """
    a = (
        information[0],
        information[1],
        information[2],
        information[3],
        information[4],
        information[5],
    )
    b0, b1, b2 = information[6], information[7], information[8]
    m = posterior(states, row, a)
    e0 = m[0] * b0 + m[1] * b1 + m[2] * b2
    e1 = m[1] * b0 + m[3] * b1 + m[4] * b2
    e2 = m[2] * b0 + m[4] * b1 + m[5] * b2
    return m, (e0, e1, e2), max(information[9] - b0 * e0 - b1 * e1 - b2 * e2, 0.0)


@inlined_kernel
def nis(states, row, information):
    """The normalised innovation squared of a measurement."""
    return _updated(states, row, information)[2]


@inlined_kernel
def correct(states, row, information, gate):
    """The normalised innovation squared; state ``row`` is corrected unless that exceeds ``gate``.

    The covariance by Joseph's form ``(I - M A) P (I - M A)' + M A M'`` with M the posterior.
    """
    (m00, m01, m02, m11, m12, m22), (e0, e1, e2), size = _updated(states, row, information)
    if not size <= gate:
        return size
    p00, p01, p02 = states[row, 3], states[row, 4], states[row, 5]
    p11, p12, p22 = states[row, 6], states[row, 7], states[row, 8]
    a00, a01, a02 = information[0], information[1], information[2]
    a11, a12, a22 = information[3], information[4], information[5]
    # G = M A
    g00, g01 = m00 * a00 + m01 * a01 + m02 * a02, m00 * a01 + m01 * a11 + m02 * a12
    g02 = m00 * a02 + m01 * a12 + m02 * a22
    g10, g11 = m01 * a00 + m11 * a01 + m12 * a02, m01 * a01 + m11 * a11 + m12 * a12
    g12 = m01 * a02 + m11 * a12 + m12 * a22
    g20, g21 = m02 * a00 + m12 * a01 + m22 * a02, m02 * a01 + m12 * a11 + m22 * a12
    g22 = m02 * a02 + m12 * a12 + m22 * a22
    # J = I - G, and L = J P
    j00, j11, j22 = 1.0 - g00, 1.0 - g11, 1.0 - g22
    l00, l01 = j00 * p00 - g01 * p01 - g02 * p02, j00 * p01 - g01 * p11 - g02 * p12
    l02 = j00 * p02 - g01 * p12 - g02 * p22
    l10, l11 = j11 * p01 - g10 * p00 - g12 * p02, j11 * p11 - g10 * p01 - g12 * p12
    l12 = j11 * p12 - g10 * p02 - g12 * p22
    l20, l21 = j22 * p02 - g20 * p00 - g21 * p01, j22 * p12 - g20 * p01 - g21 * p11
    l22 = j22 * p22 - g20 * p02 - g21 * p12
    states[row, 0] += e0
    states[row, 1] += e1
    states[row, 2] += e2
    states[row, 3] = l00 * j00 - l01 * g01 - l02 * g02 + g00 * m00 + g01 * m01 + g02 * m02
    states[row, 4] = l01 * j11 - l00 * g10 - l02 * g12 + g00 * m01 + g01 * m11 + g02 * m12
    states[row, 5] = l02 * j22 - l00 * g20 - l01 * g21 + g00 * m02 + g01 * m12 + g02 * m22
    states[row, 6] = l11 * j11 - l10 * g10 - l12 * g12 + g10 * m01 + g11 * m11 + g12 * m12
    states[row, 7] = l12 * j22 - l10 * g20 - l11 * g21 + g10 * m02 + g11 * m12 + g12 * m22
    states[row, 8] = l22 * j22 - l20 * g20 - l21 * g21 + g20 * m02 + g21 * m12 + g22 * m22
    return size
