"""Trials as studies have them: mean squares made of constants of the build and white noise."""

import numpy as np


def mean_squares(
    generator, studies, trials, *, plans=6, correlation=0.5, constants=(1.0,), white=0.0
):
    """Mean squares (studies, plans, trials) of plans whose true mean square is 1.

    Parameters
    ----------
    correlation
        Between the squares of one constant in two plans.
    constants
        Relative mean squares that the constants of the build contribute.
    white : float or (plans,) array
        Share of the mean square that is white noise, averaged out within each trial.
    """
    shared = np.sqrt(correlation)
    total = np.zeros((studies, plans, trials))
    for part in np.array(constants) / np.sum(constants):
        common = generator.normal(size=(studies, 1, trials))
        own = generator.normal(size=(studies, plans, trials))
        total += part * (np.sqrt(shared) * common + np.sqrt(1.0 - shared) * own) ** 2
    noise = np.broadcast_to(white, plans)[:, None]
    return (1.0 - noise) * total + noise


def autoregressive(generator, studies, count, correlation):
    """Normal series (studies, count) of variance 1, each value correlated with the one before."""
    steps = generator.normal(size=(studies, count))
    series = np.empty_like(steps)
    series[:, 0] = steps[:, 0]
    for k in range(1, count):
        new = np.sqrt(1.0 - correlation**2) * steps[:, k]
        series[:, k] = correlation * series[:, k - 1] + new
    return series
