"""How sure the figures of one run are: 95 % intervals over its correlated instants.

They are of this run alone: of repeats on the same course by the robot as it is built. Another build
errs by other constants.
"""

import numpy as np

from posefuse.checks import BoolArray, FloatArray
from posefuse.scoring.instants import InstantErrors
from posefuse.statistics.correlated import (
    correlated_mean_interval,
    correlated_rms_interval,
    effective_count,
)
from posefuse.statistics.intervals import Interval
from posefuse.statistics.wilson import wilson_bounds

__all__ = ["run_intervals"]


def run_intervals(instants: InstantErrors, *, is_stale: BoolArray) -> dict[str, Interval]:
    """The intervals of the figures at some instants of one run, by their names.

    Parameters
    ----------
    is_stale : (n,) bools
        At which instants no fused sighting was recent.
    """
    found = {"no_update_share": _share_interval(is_stale)}
    errors_of = {
        "distance_rms_m": instants.distance_error_m,
        "bearing_rms_rad": instants.bearing_error_rad,
        "pivot_rms_rad": instants.pivot_error_rad,
        "heading_rms_rad": instants.errors[:, 2],
        "position_rms_m": np.hypot(instants.errors[:, 0], instants.errors[:, 1]),
    }
    for name, errors in errors_of.items():
        known = errors[np.isfinite(errors)]
        if len(known):
            found[name] = correlated_rms_interval(known)
    nees = instants.nees[np.isfinite(instants.nees)]
    if len(nees):
        found["nees_mean"] = correlated_mean_interval(nees)
    return found


def _share_interval(is_so: BoolArray) -> Interval:
    """A share of the instants, as if of so many independent ones as tell as much about it."""
    series: FloatArray = is_so.astype(np.float64)
    count = effective_count(series)
    share = float(series.mean())
    low, high = wilson_bounds(share * count, count).tolist()
    return Interval(value=share, low=low, high=high)
