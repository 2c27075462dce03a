"""What a few trials may look like: the laws that intervals and comparisons rest on.

Most of a trial's error is a few constants of its build, drawn anew for each trial. The mean square
of a trial is then a quadratic form of normal numbers. With one constant that outweighs all others,
above white noise, it is a squared normal number above a constant: of all such forms with a given
coefficient of variation the most skewed. With many errors of like size it is nearly normal. What
holds for trials of both laws holds for those between.
"""

from functools import lru_cache
from typing import Literal, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from posefuse.checks import FloatArray, in_range
from posefuse.randomness.streams import stream

__all__ = [
    "GREATEST_VARIATION",
    "Law",
    "Studies",
    "level_of_studies",
    "simulated_studies",
    "variation_of",
]

Law: TypeAlias = Literal["square", "normal"]
"""Of a trial's figure: a squared normal number, or a normal number."""

GREATEST_VARIATION = float(np.sqrt(2.0))
"""Coefficient of variation of a squared normal number: no quadratic form of them has more."""

_CORRELATION = 0.8
_FEWEST, _MOST = 4000, 12_000
_NUMBERS = 2_400_000
"""Random numbers that the studies are drawn from, within these bounds."""
_CHUNK_NUMBERS = 4_000_000  # random numbers held at once: 16 MB


class Studies(NamedTuple):
    """Means and covariances over the trials of many simulated studies of equal plans.

    The figure of a plan in a trial has mean 0 and standard deviation 1.

    Parameters
    ----------
    means : (studies, plans) array
    covariances : (studies, plans, plans) array
        Of the figures, with ``trials - 1`` in the denominator.
    """

    means: FloatArray
    covariances: FloatArray


@lru_cache(maxsize=16)
def simulated_studies(law: Law, *, plans: int, trials: int) -> Studies:
    """Studies of so many plans and trials, 2 or more; always the same ones.

    Plans share the build: their figures are correlated by 0.8. For less correlated ones the
    critical values of equally variable plans are up to 5 % too large, those of unlike ones more.
    """
    count = int(np.clip(_NUMBERS // (plans * trials), _FEWEST, _MOST))
    generator = stream(0, trials, f"{law} law")
    at_once = max(1, _CHUNK_NUMBERS // (trials * (plans + 1)))
    means, covariances = np.empty((count, plans)), np.empty((count, plans, plans))
    for first in range(0, count, at_once):
        rows = slice(first, min(first + at_once, count))
        figures = _figures(law, generator, (rows.stop - first, plans, trials))
        means[rows] = figures.mean(axis=2, dtype=np.float64)
        figures -= means[rows, :, None].astype(np.float32)
        covariances[rows] = (figures @ figures.transpose(0, 2, 1)) / (trials - 1)
    for array in (means, covariances):
        array.setflags(write=False)
    return Studies(means, covariances)


def _figures(
    law: Law, generator: np.random.Generator, shape: tuple[int, int, int]
) -> NDArray[np.float32]:
    """Figures of (studies, plans, trials)."""
    studies, plans, trials = shape
    shared = _CORRELATION**0.5 if law == "square" else _CORRELATION
    if plans == 1:
        normal = generator.standard_normal(shape, dtype=np.float32)
    else:
        numbers = generator.standard_normal((studies, plans + 1, trials), dtype=np.float32)
        normal = np.float32((1.0 - shared) ** 0.5) * numbers[:, 1:]
        normal += np.float32(shared**0.5) * numbers[:, :1]
    if law == "normal":
        return normal
    return (normal * normal - np.float32(1.0)) * np.float32(0.5**0.5)


def variation_of(mean: float, variance: float, *, trials: int) -> float:
    """Coefficient of variation of a trial's mean square, at most that of a squared normal number.

    The sample's own is too small on average. Of gamma variates the sample's mean and coefficient of
    variation are independent (E. Lukacs, Annals of Mathematical Statistics 26, 319-324, 1955), and
    ``1 / trials`` off the inverse square of the latter removes the bias of its expected square.
    """
    shape = mean**2 / variance - 1.0 / trials
    return float(1.0 / np.sqrt(max(shape, 1.0 / GREATEST_VARIATION**2)))


def level_of_studies(level: float) -> float:
    """A level that quantiles of the simulated studies can give: 0.5 to 0.999."""
    return in_range("level", level, 0.5, 0.999)
