"""Each plan against the best of the others: simultaneous intervals, and which plans may be best."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import InputError
from posefuse.statistics.best_probability import best_probabilities
from posefuse.statistics.intervals import Interval
from posefuse.statistics.pairs import critical_log_difference, critical_mean_difference, moderated
from posefuse.statistics.trial_laws import level_of_studies

__all__ = ["AgainstBest", "hits_against_best", "rms_against_best"]

_HALVINGS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class AgainstBest:
    """One plan against the best of the others.

    Parameters
    ----------
    difference
        The plan's figure minus that of the best of the others; ``None`` where there are no others.
        The intervals of all plans hold together at their level. Of a single trial they are nan.
    may_be_best
        Whether the trials leave it possible that no other plan is better: such plans are ties. All
        plans that are truly best are among them, together, with the probability ``level``.
    best_probability
        That the plan is the best, as ``best_probabilities`` defines it; nan of a single trial.
    """

    difference: Interval | None
    may_be_best: bool
    best_probability: float


def rms_against_best(mean_squares: ArrayLike, *, level: float = 0.95) -> tuple[AgainstBest, ...]:
    """Each plan's root mean square minus the smallest of the other plans'.

    All pairs of plans are compared trial by trial, by the difference of the logarithms of their
    mean squares over its standard error. The critical value is that of the largest of all these
    ratios: multiple comparisons with the best (J. C. Hsu, Annals of Statistics 9, 1026-1034, 1981;
    Multiple Comparisons, 1996), but keeping all of several equally good plans, not one of them.
    An interval in metres holds each difference that the same comparison does not reject when it is
    added to the smaller of the two.

    Parameters
    ----------
    mean_squares : (plans, trials) array
        Each plan's mean squared error in each trial. A trial is one build and one set of random
        draws, the same for every plan.
    """
    squares = _checked("mean squares", mean_squares, level)
    if squares.min() < 0.0:
        raise InputError(f"mean squares: must not be negative (got {squares.min():g})")
    trials = squares.shape[1]
    rms = np.sqrt(squares.mean(axis=1))
    if len(squares) == 1 or trials == 1:
        return _without_intervals(_differences(rms), level)
    means = np.maximum(rms**2, np.finfo(np.float64).tiny)
    critical = critical_log_difference(len(squares), trials, level=level)
    covariances = moderated(np.cov(squares / means[:, None]), trials=trials) / (4.0 * trials)
    highest = _highest_rms_differences(np.sqrt(means), critical**2 * covariances)
    probabilities = best_probabilities(0.5 * np.log(means), covariances, trials=trials)
    return _against_smallest(_differences(rms), highest, probabilities, level)


def hits_against_best(hits_per_100: ArrayLike, *, level: float = 0.95) -> tuple[AgainstBest, ...]:
    """Each plan's mean hits in 100 minus the most of the other plans'.

    As ``rms_against_best``, with differences of means in place of those of logarithms.

    Parameters
    ----------
    hits_per_100 : (plans, trials) array
        Each plan's hits in 100 shots in each trial; more are better.
    """
    hits = _checked("hits", hits_per_100, level)
    trials = hits.shape[1]
    means = hits.mean(axis=1)
    if len(hits) == 1 or trials == 1:
        return tuple(_negative(plan) for plan in _without_intervals(_differences(-means), level))
    covariances = moderated(np.cov(hits), trials=trials)
    spreads = np.sqrt(np.diag(covariances))
    critical = critical_mean_difference(spreads, trials=trials, level=level)
    covariances = covariances / trials
    own = np.diag(covariances)
    variances = own[:, None] + own - 2.0 * covariances
    reach = critical * np.sqrt(np.maximum(variances, 0.0))
    highest = means - means[:, None] + reach
    probabilities = best_probabilities(-means, covariances, trials=trials)
    smallest = _against_smallest(_differences(-means), highest, probabilities, level)
    return tuple(_negative(plan) for plan in smallest)


def _checked(name: str, values: ArrayLike, level: float) -> FloatArray:
    level_of_studies(level)
    table = frozen_array(name, values, (None, None))
    if not table.size:
        raise InputError(f"{name}: needs 1 plan and 1 trial or more (got {table.shape})")
    return table


def _differences(figures: FloatArray) -> FloatArray:
    """Each figure minus the smallest of the others, (plans,)."""
    first, *rest = np.argsort(figures, kind="stable")
    others = np.full(len(figures), figures[first])
    others[first] = figures[rest[0]] if rest else np.nan
    return np.asarray(figures - others)


def _without_intervals(differences: FloatArray, level: float) -> tuple[AgainstBest, ...]:
    """What is known of a single plan, or after a single trial."""
    if len(differences) == 1:
        return (AgainstBest(difference=None, may_be_best=True, best_probability=1.0),)
    return tuple(
        AgainstBest(
            difference=Interval(value=float(value), low=np.nan, high=np.nan, level=level),
            may_be_best=True,
            best_probability=np.nan,
        )
        for value in differences
    )


def _against_smallest(
    differences: FloatArray, highest: FloatArray, probabilities: FloatArray, level: float
) -> tuple[AgainstBest, ...]:
    """A difference to the smallest of others is the largest difference to any of them.

    Parameters
    ----------
    highest : (plans, plans) array
        Upper ends of the intervals of all pairs; the lower ends are those of the opposite pairs.
    """
    itself = np.eye(len(differences), dtype=bool)
    low, high = (
        np.where(itself, -np.inf, ends).max(axis=1) + 0.0  # no negative zeros
        for ends in (-highest.T, highest)
    )
    return tuple(
        AgainstBest(
            difference=Interval(value=value, low=least, high=most, level=level),
            may_be_best=least <= 0.0,
            best_probability=probability,
        )
        for value, least, most, probability in zip(
            differences.tolist(), low.tolist(), high.tolist(), probabilities.tolist(), strict=True
        )
    )


def _negative(plan: AgainstBest) -> AgainstBest:
    """The same plan where more is better."""
    if plan.difference is None:
        return plan
    turned = replace(
        plan.difference,
        value=0.0 - plan.difference.value,
        low=0.0 - plan.difference.high,
        high=0.0 - plan.difference.low,
    )
    return replace(plan, difference=turned)


def _highest_rms_differences(rms: FloatArray, allowed: FloatArray) -> FloatArray:
    """The largest differences ``rms[i] - rms[j]`` that are not rejected, (plans, plans).

    A difference ``d`` of 0 or more is rejected where ``log(rms[i]) - log(rms[j] + d)`` is larger
    than its standard error allows. Errors of ``rms[j]`` count there by ``rms[j] / (rms[j] + d)``,
    whose logarithm, 0 or less, is what the roots are found in.

    Parameters
    ----------
    rms : (plans,) array
        Positive.
    allowed : (plans, plans) array
        Covariances of the logarithms times the square of the critical value.
    """
    lead = np.log(rms)[:, None] - np.log(rms)
    own, other = np.diag(allowed)[:, None], np.diag(allowed)[None, :]

    def reach(log_share: FloatArray) -> FloatArray:
        share = np.exp(log_share)
        return np.sqrt(np.maximum(own - 2.0 * share * allowed + share**2 * other, 0.0))

    least = -(np.abs(lead) + np.sqrt(own) + np.sqrt(other))
    farthest = _roots(lambda y: lead + y + reach(y), least)
    nearest = _roots(lambda y: lead + y - reach(y), least)
    above, surely = rms * np.expm1(-farthest), rms * np.expm1(-nearest)
    return np.where(lead + reach(np.zeros_like(lead)) >= 0.0, above, -surely.T)


def _roots(function: Callable[[FloatArray], FloatArray], low: FloatArray) -> FloatArray:
    """Where functions that rise through zero between ``low`` and 0 do so, by halving."""
    high = np.zeros_like(low)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        is_above = function(middle) > 0.0
        low, high = np.where(is_above, low, middle), np.where(is_above, middle, high)
    return high
