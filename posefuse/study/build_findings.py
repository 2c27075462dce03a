"""What a run has shown of how the robot and its tags were built."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from posefuse.build_errors.constants import Constant
from posefuse.fusion.estimate import BuildEstimate

__all__ = ["BuildFinding", "build_findings"]

_LEVEL = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildFinding:
    """One constant of the build as a run has shown it, in the units of its error.

    Parameters
    ----------
    value, std
        Estimate and its standard deviation.
    believed_std
        Its spread before the run.
    is_off
        Whether it differs from what is stated: of builds that are all as stated, one in twenty has
        any constant that is called off (each is judged at 5 % over their number: Bonferroni).
    """

    constant: Constant
    value: float
    std: float
    believed_std: float
    is_off: bool


def build_findings(build: BuildEstimate) -> tuple[BuildFinding, ...]:
    """All constants estimated: first those that are off, then the farther off the earlier.

    How far is measured against the spread believed before the run.
    """
    most = NormalDist().inv_cdf(1.0 - (1.0 - _LEVEL) / (2.0 * max(len(build.members), 1)))
    is_off = np.abs(build.values) > most * build.stds
    order = np.lexsort((-np.abs(build.values) / build.believed_stds, ~is_off))
    return tuple(
        BuildFinding(
            constant=build.members[place],
            value=float(build.values[place]),
            std=float(build.stds[place]),
            believed_std=float(build.believed_stds[place]),
            is_off=bool(is_off[place]),
        )
        for place in order
    )
