"""A table of pivots over the distance, as a robot interpolates it, and its file."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from posefuse.aim.arcs import Arc
from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import InputError
from posefuse.files.table_file import write_table

__all__ = ["CAUTION", "PivotTable", "rising_distances_m", "write_pivot_table"]

CAUTION = (
    "Caution: thrown pieces can hurt. Wear eye protection, clear the range, take the first shots "
    "at low power behind a barrier. The event's and the place's rules and the supervising adult "
    "decide."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PivotTable:
    """Pivots for a goal, one row for each distance.

    Parameters
    ----------
    distances_m : (n,) array
        Level distance from the robot's middle to the opening's middle, rising.
    pivots_rad : (n,) array
    slopes_rad_per_m : (n,) array
        Change of the pivot for each metre: times a distance error it is the pivot error.
    times_s : (n,) array
        From the release to the opening.
    entries_rad : (n,) array
        How steeply below level the piece comes in.
    is_roomiest
        Whether the pivots leave the most room for a wrong distance, not pass through the middle.
    """

    arc: Arc
    distances_m: FloatArray
    pivots_rad: FloatArray
    slopes_rad_per_m: FloatArray
    times_s: FloatArray
    entries_rad: FloatArray
    is_roomiest: bool = False

    def __post_init__(self) -> None:
        distances = rising_distances_m(self.distances_m)
        object.__setattr__(self, "distances_m", distances)
        for name in ("pivots_rad", "slopes_rad_per_m", "times_s", "entries_rad"):
            column = frozen_array(f"pivot table: {name}", getattr(self, name), (len(distances),))
            object.__setattr__(self, name, column)

    def pivot_rad(self, distance_m: ArrayLike) -> FloatArray:
        """The pivot by straight lines between the rows; beyond them that of the nearer end."""
        distances = np.asarray(distance_m, dtype=np.float64)
        return np.asarray(np.interp(distances, self.distances_m, self.pivots_rad))


def rising_distances_m(distances_m: ArrayLike) -> FloatArray:
    """The distances of a table, checked: two or more, each above zero and above the one before.

    >>> rising_distances_m([2.0, 3.0, 3.0])
    Traceback (most recent call last):
    posefuse.errors.InputError: pivot table: the distance 3 m appears twice
    """
    distances = frozen_array("pivot table: distances_m", distances_m, (None,))
    if len(distances) < 2:
        raise InputError(f"pivot table: needs 2 distances or more (got {len(distances)})")
    if distances[0] <= 0.0:
        raise InputError(f"pivot table: distances must be above 0 (got {distances[0]:g} m)")
    steps = np.diff(distances)
    if (steps <= 0.0).any():
        row = int(np.argmax(steps <= 0.0)) + 1
        if steps[row - 1] == 0.0:
            raise InputError(f"pivot table: the distance {distances[row]:g} m appears twice")
        raise InputError(
            f"pivot table: distances must rise (got {distances[row]:g} m after "
            f"{distances[row - 1]:g} m)"
        )
    return distances


def write_pivot_table(path: Path, table: PivotTable) -> None:
    """Writes the table as CSV, ready for interpolation on a robot.

    The first line starts with ``#`` and holds the caution: a reader passes over it by its setting
    for comments or by skipping one line. The second names the columns, with their units. Angles are
    rounded to 0.0001 degrees.
    """
    write_table(
        path,
        {
            "distance_m": table.distances_m,
            "pivot_deg": np.degrees(table.pivots_rad).round(4),
            "slope_deg_per_m": np.degrees(table.slopes_rad_per_m).round(4),
            "time_of_flight_s": table.times_s.round(5),
            "entry_deg": np.degrees(table.entries_rad).round(4),
        },
    )
    rows = path.read_text(encoding="utf-8")
    path.write_text(f"# {CAUTION}\n{rows}", encoding="utf-8", newline="\n")
