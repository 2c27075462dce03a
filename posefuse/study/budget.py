"""What the error to be expected at the shots is made of: which part of it to fix first."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from posefuse.build_errors.catalogue import BUILD_ERRORS, BuildError
from posefuse.checks import FloatArray
from posefuse.study.outlook import Outlook

__all__ = ["KNOWN", "LEFT", "NOISE", "ErrorBudget", "ErrorPart", "error_budget"]

NOISE = "noise"
LEFT = "noise and what is left of errors of the build"
"""Of a filter that estimates them: the two cannot be told apart."""
KNOWN = "bias of detector and motion"
"""Comes back in every trial: bias of the detector, slip, knocks, lean under acceleration."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorPart:
    """One kind of error, of all its owners together.

    Parameters
    ----------
    square_share
        Of the mean square of the distance error.
    error
        The build error; ``None`` of noise and of what is off without chance.
    each_std
        Spread of each of its numbers, in the unit of code.
    """

    label: str
    square_share: float
    error: BuildError | None = None
    each_std: float = math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorBudget:
    """The forecast of a plan's distance error at its shots, by its parts.

    Parameters
    ----------
    rms_m
        Of the distance error forecast, over all shots.
    parts
        Largest first; their shares add up to one. What adds nothing is left out.
    """

    rms_m: float
    parts: tuple[ErrorPart, ...]

    @property
    def constant_share(self) -> float:
        """Share of what is known not to be noise: it comes back in every frame of one build."""
        return sum(part.square_share for part in self.parts if part.label not in (NOISE, LEFT))

    def rms_without_m(self, part: ErrorPart) -> float:
        """What would be left of the distance error without one part."""
        return self.rms_m * math.sqrt(max(1.0 - part.square_share, 0.0))


def error_budget(outlooks: Sequence[Outlook]) -> ErrorBudget:
    """The parts of the distance error forecast at all shots of one plan's courses, to first order.

    Parameters
    ----------
    outlooks
        Of its courses, one or more.
    """
    squares_m2 = [_squares_m2(outlook) for outlook in outlooks]
    shots = sum(len(outlook.toward_goal) for outlook in outlooks)
    whole = {label: sum(of[label] for of in squares_m2) / shots for label in squares_m2[0]}
    total = sum(whole.values())
    stds, errors = _stds(outlooks[0]), {error.label: error for error in BUILD_ERRORS}
    parts = [
        ErrorPart(
            label=label,
            square_share=square / total,
            error=errors.get(label),
            each_std=stds.get(label, math.nan),
        )
        for label, square in whole.items()
        if square > 0.0
    ]
    return ErrorBudget(
        rms_m=math.sqrt(total), parts=tuple(sorted(parts, key=lambda part: -part.square_share))
    )


def _squares_m2(outlook: Outlook) -> dict[str, float]:
    """Sum over the shots of the squared distance error, by the label of its part."""
    forecast, toward = outlook.forecast, outlook.toward_goal
    by_constant = (
        np.einsum("ki,kip->kp", toward, forecast.sensitivities[:, :2]) * forecast.constants.stds
    )
    found = dict.fromkeys((error.label for error in BUILD_ERRORS), 0.0)
    for constant, column in zip(forecast.constants.members, by_constant.T, strict=True):
        found[constant.error.label] += _sum_of_squares(column)
    found[KNOWN] = _sum_of_squares(np.einsum("ki,ki->k", toward, forecast.known[:, :2]))
    white = np.einsum("ki,kij,kj->", toward, forecast.white_covs[:, :2, :2], toward)
    return {**found, NOISE if forecast.is_split else LEFT: float(white)}


def _sum_of_squares(values: FloatArray) -> float:
    return float(values @ values)


def _stds(outlook: Outlook) -> dict[str, float]:
    constants = outlook.forecast.constants
    pairs = zip(constants.members, constants.stds.tolist(), strict=True)
    return {constant.error.label: std for constant, std in pairs}
