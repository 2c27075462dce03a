"""Inner loops of the time law: sequential passes that numpy cannot take whole."""

import numpy as np

from posefuse.compiling import kernel

__all__ = ["fastest_speeds", "largest_within"]


@kernel
def _speed_cap(shape, limits):
    """Largest squared rate of the path parameter at one place; all (4,)."""
    cap = np.inf
    if shape[0] > 0.0:
        cap = (limits[0] / shape[0]) ** 2
    if shape[1] > 0.0:
        cap = min(cap, limits[1] / shape[1])
    if shape[2] > 0.0:
        cap = min(cap, (limits[2] / shape[2]) ** 2)
    if shape[3] > 0.0:
        cap = min(cap, limits[3] / shape[3])
    return cap


@kernel
def _room(shape, limits, squared):
    """Largest second derivative of the path parameter at a squared rate; never negative."""
    room = np.inf
    if shape[0] > 0.0:
        left = limits[1] ** 2 - (shape[1] * squared) ** 2
        room = np.sqrt(max(left, 0.0)) / shape[0]
    if shape[2] > 0.0:
        room = min(room, max(limits[3] - shape[3] * squared, 0.0) / shape[2])
    return room


@kernel
def _reached(here, there, limits, step, squared):
    """Largest squared rate one step away from a place driven at ``squared``.

    The limits hold at both ends of the step: here with the rate known, there with the rate sought,
    which solves a quadratic (acceleration) or a linear equation (turn acceleration).
    """
    reached = squared + 2.0 * step * _room(here, limits, squared)
    if there[0] > 0.0:
        along, across = (there[0] / (2.0 * step)) ** 2, there[1] ** 2
        root = limits[1] ** 2 * (along + across) - along * across * squared**2
        reached = min(reached, (along * squared + np.sqrt(max(root, 0.0))) / (along + across))
    if there[2] > 0.0:
        along = there[2] / (2.0 * step)
        reached = min(reached, (limits[3] + along * squared) / (along + there[3]))
    return max(reached, squared)


@kernel
def fastest_speeds(shape, limits, step):
    """Squared rates (n,) of the path parameter, as fast as the limits let it, at rest at both ends.

    One pass backward, one forward, each as fast as the place before lets it: Bobrow, Dubowsky,
    Gibson, "Time-optimal control of robotic manipulators along specified paths", IJRR 4(3), 1985;
    citation from memory.

    Parameters
    ----------
    shape : (n, 4) array
        Lengths of the first and second derivative of the position by the parameter, then of the
        heading.
    limits : (4,) array
        Speed, acceleration, turn rate, turn acceleration.
    step : float
        Between neighbouring places.
    """
    count = shape.shape[0]
    squared = np.zeros(count)
    for i in range(count - 2, 0, -1):
        reached = _reached(shape[i + 1], shape[i], limits, step, squared[i + 1])
        squared[i] = min(reached, _speed_cap(shape[i], limits))
    for i in range(1, count - 1):
        reached = _reached(shape[i - 1], shape[i], limits, step, squared[i - 1])
        squared[i] = min(squared[i], reached)
    return squared


@kernel
def largest_within(values, first, last):
    """For each row the largest of rows ``first[i]`` to ``last[i]``, both taken in, per column.

    Parameters
    ----------
    values : (n, k) array
    first, last : (n,) int64
    """
    largest = np.empty_like(values)
    for i in range(values.shape[0]):
        for k in range(values.shape[1]):
            best = values[first[i], k]
            for j in range(first[i] + 1, last[i] + 1):
                best = max(best, values[j, k])
            largest[i, k] = best
    return largest
