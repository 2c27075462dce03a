"""A figure with the interval it lies in."""

import math
from dataclasses import dataclass

__all__ = ["Interval"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A figure with the interval it lies in at the stated level.

    Parameters
    ----------
    low, high
        nan where a single trial leaves the interval unknown.
    """

    value: float
    low: float
    high: float
    level: float = 0.95

    @property
    def is_known(self) -> bool:
        """Whether there were trials enough for an interval."""
        return math.isfinite(self.low) and math.isfinite(self.high)

    def holds(self, value: float) -> bool:
        """Whether ``value`` lies inside; for a difference, ``holds(0.0)`` is a tie."""
        return self.low <= value <= self.high
