"""Compiled: the share of a normal in the plane that lies within a rectangle around the origin."""

import math

import numpy as np

from posefuse.compiling import kernel

__all__ = ["below", "rectangle_share", "rectangle_shares"]

SQRT_HALF = math.sqrt(0.5)
# Gauss-Legendre with 16 points: M. Abramowitz, I. Stegun, Handbook of Mathematical Functions, 1964,
# table 25.4, worked out by numpy.polynomial.legendre.leggauss
NODES, WEIGHTS = np.polynomial.legendre.leggauss(16)
REACH = 8.5  # standard deviations beyond which nothing counts: 1e-17 of the whole


@kernel
def below(x):
    """Share of a standard normal below x."""
    return 0.5 * math.erfc(-SQRT_HALF * x)


@kernel
def share_within(mean, std, limit):
    """Share of a normal between -limit and limit; all or nothing without a spread."""
    if std < 1e-9:
        return 1.0 if abs(mean) <= limit else 0.0
    return below((limit - mean) / std) - below((-limit - mean) / std)


@kernel
def part_range(low, high, u, slope, rest, up_limit, breaks):
    """Fill breaks (11,) from low to high: where the density or the share of ``up`` changes fast."""
    breaks[0], breaks[1], breaks[2], breaks[3], breaks[4] = low, high, -2.5, 0.0, 2.5
    breaks[5:] = low
    if abs(slope) > 1e-12:
        width = 6.0 * rest / abs(slope)
        for side in range(2):
            edge = ((up_limit if side else -up_limit) - u) / slope
            for part in range(3):
                breaks[5 + 3 * side + part] = edge + (part - 1) * width
    for k in range(breaks.shape[0]):
        value = min(max(breaks[k], low), high)
        place = k
        while place > 0 and breaks[place - 1] > value:  # sorted as they come
            breaks[place] = breaks[place - 1]
            place -= 1
        breaks[place] = value


@kernel
def rectangle_share(r, u, rr, ru, uu, right_limit, up_limit, breaks):
    """Share of a normal in the plane within |right| <= right_limit, |up| <= up_limit.

    One Gauss-Legendre sum over ``right`` of the share of ``up`` given it, parted where that share
    rises and falls. breaks (11,) is scratch.
    """
    if not (right_limit >= 0.0 and up_limit >= 0.0 and abs(r) + abs(u) < np.inf):
        return 0.0
    std = math.sqrt(rr)
    if std < 1e-9:
        return share_within(r, 0.0, right_limit) * share_within(u, math.sqrt(uu), up_limit)
    slope = ru / std
    rest = math.sqrt(max(uu - slope * slope, 0.0))
    low = max((-right_limit - r) / std, -REACH)
    high = min((right_limit - r) / std, REACH)
    if low >= high:
        return 0.0
    part_range(low, high, u, slope, rest, up_limit, breaks)
    total = 0.0
    for k in range(breaks.shape[0] - 1):
        half = 0.5 * (breaks[k + 1] - breaks[k])
        if half <= 0.0:
            continue
        middle = 0.5 * (breaks[k + 1] + breaks[k])
        for node in range(NODES.shape[0]):
            z = middle + half * NODES[node]
            density = math.exp(-0.5 * z * z) * 0.3989422804014327
            total += half * WEIGHTS[node] * density * share_within(u + slope * z, rest, up_limit)
    return min(total, 1.0)


@kernel
def rectangle_shares(moments, shares):
    """Fill shares (n,) by ``rectangle_share`` of moments (n, 7); 0 where they are nan."""
    breaks = np.empty(11)
    for i in range(moments.shape[0]):
        m = moments[i]
        shares[i] = rectangle_share(m[0], m[1], m[2], m[3], m[4], m[5], m[6], breaks)
