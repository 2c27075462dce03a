"""What the filter knew, when, and what it did with each measurement."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from posefuse.build_errors.constants import Constant
from posefuse.checks import FloatArray, IntArray

__all__ = ["BuildEstimate", "Estimate", "Innovations", "Outcome"]


class Outcome(IntEnum):
    """What became of one measurement.

    ``NO_SOLUTION``: no pose fits the corners; or, where corners or ranges are fused themselves, the
    measurement is impossible from where the filter believes the robot to be.
    """

    FUSED = 0
    GATED = 1
    TOO_LATE = 2
    NO_SOLUTION = 3
    AMBIGUOUS = 4
    OUTSIDE_RUN = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Innovations:
    """One row for each measurement: a frame when poses are fused, a sighting otherwise.

    The figures are those of the measurement's last application, in capture order.

    Parameters
    ----------
    frame, sighting : (measurements,) ints
        Index into the recording; ``sighting`` is the frame's first one when poses are fused.
    outcome : (measurements,) ints
        Values of ``Outcome``.
    nis : (measurements,) array
        Normalised innovation squared; nan where the measurement never reached the filter's gate,
        such as those that went into a start from the tags.
    dof : (measurements,) ints
        Rows of the measurement: 3, 8, 2 or 1.
    """

    frame: IntArray
    sighting: IntArray
    outcome: IntArray
    nis: FloatArray
    dof: IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BuildEstimate:
    """What a filter found out about the constants of this build, by the end of the run.

    Parameters
    ----------
    members
        What each of them is.
    values, stds : (p,) arrays
        Estimates and their standard deviations, in the units of their errors.
    believed_stds : (p,) array
        Their spreads before the run.
    """

    members: tuple[Constant, ...]
    values: FloatArray
    stds: FloatArray
    believed_stds: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Estimate:
    """Pose and covariance at every odometry row, as they stood at that instant.

    Only what had arrived by then is in them; later arrivals do not change them. One exception:
    where the start is taken from the tags, the rows of the standstill all carry that start.

    Parameters
    ----------
    stamps_s : (rows,) array
        The odometry's stamps.
    poses : (rows, 3) array
        x_m, y_m, heading_rad in [-pi, pi).
    covs : (rows, 3, 3) array
        Covariance in (x, y, heading), world frame.
    build
        What was found out about the build, where the filter estimates it.
    """

    stamps_s: FloatArray
    poses: FloatArray
    covs: FloatArray
    innovations: Innovations
    build: BuildEstimate | None = None

    def counts(self) -> dict[str, int]:
        """How many measurements met each outcome, by name."""
        tally = np.bincount(self.innovations.outcome, minlength=len(Outcome))
        return {outcome.name.lower(): int(tally[outcome]) for outcome in Outcome}
