"""How large a normalised innovation squared may be."""

import math

__all__ = ["chi_square_quantile", "gate_of"]


def chi_square_quantile(probability: float, dof: int) -> float:
    """The value that a chi-square variable stays below with this probability.

    >>> round(chi_square_quantile(0.95, 3), 4)  # table A6 of Baron, Probability and Statistics
    7.8147
    """
    from scipy.special import gammaincinv  # takes 50 ms to load

    return 2.0 * float(gammaincinv(dof / 2.0, probability))


def gate_of(probability: float | None, dof: int) -> float:
    """The largest normalised innovation squared that passes; infinite where there is no gate."""
    return math.inf if probability is None else chi_square_quantile(probability, dof)
