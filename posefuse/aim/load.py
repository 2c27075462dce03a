"""Measured shots and tables of pivots from CSV files."""

from pathlib import Path

import numpy as np

from posefuse.aim.aim import Aim
from posefuse.aim.fit import MeasuredShots
from posefuse.aim.table import PivotTable, rising_distances_m
from posefuse.aim.tabulate import arrivals
from posefuse.checks import FloatArray
from posefuse.errors import FileError, InputError
from posefuse.files.table_file import read_table
from posefuse.robot.shooter import Shooter
from posefuse.units import to_degrees

__all__ = ["load_measured_shots", "load_pivot_table"]

ROUNDING_DEG = 1e-3


def load_measured_shots(path: Path) -> MeasuredShots:
    """The shots of a CSV file.

    Columns pivot_deg, distance_m, height_m: the piece was at that height at that level distance
    from the robot's middle. A column ``measured`` names which of the two was measured, for each
    shot: ``distance`` (where it came down to the height; taken where the column is missing) or
    ``height`` (where it hit a wall at the distance).

    Raises
    ------
    FileError
        A column that is missing or unknown, a cell that is not a number, another word, no shot.
    """
    table = read_table(
        path,
        ("pivot_deg", "distance_m", "height_m"),
        optional=("measured",),
        text=("measured",),
    )
    count = len(table["pivot_deg"])
    if not count:
        raise FileError(path, "holds no shot: only the names of the columns")
    words = table.get("measured", np.full(count, "distance"))
    for word in dict.fromkeys(words.tolist()):
        if word not in ("distance", "height"):
            raise FileError(path, f"must be distance or height (got {word!r})", key="measured")
    try:
        return MeasuredShots(
            pivots_rad=np.radians(table["pivot_deg"]),
            distances_m=table["distance_m"],
            heights_m=table["height_m"],
            is_height_measured=words == "height",
        )
    except InputError as error:
        raise FileError(path, str(error).removeprefix("measured shots: ")) from None


def load_pivot_table(path: Path, *, aim: Aim) -> PivotTable:
    """The table in a CSV file, by which a robot sets the pivots of an aim.

    Columns distance_m, pivot_deg; those that ``write_pivot_table`` adds are passed over, for they
    follow from these.

    Raises
    ------
    FileError
        A column that is missing or unknown, a cell that is not a number, fewer than two rows, a
        distance that appears twice or does not rise, a pivot beyond the shooter's range or from
        which nothing comes to its distance.
    """
    columns = read_table(
        path,
        ("distance_m", "pivot_deg"),
        optional=("slope_deg_per_m", "time_of_flight_s", "entry_deg"),
    )
    pivots = np.radians(columns["pivot_deg"])
    try:
        distances = rising_distances_m(columns["distance_m"])
        _refuse_beyond_range(aim.shooter, columns["pivot_deg"], distances)
        times, entries = arrivals(aim.shooter, distances, pivots)
        lost = np.flatnonzero(np.isnan(times))
        if len(lost):
            row = int(lost[0])
            raise InputError(
                f"pivot table: with a pivot of {columns['pivot_deg'][row]:g} degrees the piece "
                f"does not come as far as {distances[row]:g} m"
            )
        return PivotTable(
            arc=aim.arc,
            distances_m=distances,
            pivots_rad=pivots,
            slopes_rad_per_m=np.gradient(pivots, distances),
            times_s=times,
            entries_rad=entries,
        )
    except InputError as error:
        raise FileError(path, str(error).removeprefix("pivot table: ")) from None


def _refuse_beyond_range(shooter: Shooter, pivots_deg: FloatArray, distances_m: FloatArray) -> None:
    low, high = to_degrees(shooter.pivot_low_rad), to_degrees(shooter.pivot_high_rad)
    is_beyond = (pivots_deg < low - ROUNDING_DEG) | (pivots_deg > high + ROUNDING_DEG)
    if is_beyond.any():
        row = int(np.argmax(is_beyond))
        raise InputError(
            f"pivot_deg: must be within the shooter's {low:g} to {high:g} degrees (got "
            f"{pivots_deg[row]:g} at {distances_m[row]:g} m)"
        )
