"""What was fitted to measured shots, in tables and sentences."""

import numpy as np

from posefuse.aim.fit import Fitted, ShotFit
from posefuse.aim.next_shots import NextShots
from posefuse.plots.style import floor_unit
from posefuse.report.aim_wording import floor_text
from posefuse.report.tables import Table
from posefuse.report.wording import angle_text, number_text
from posefuse.units import length_label, to_degrees

__all__ = ["file_lines", "fit_table", "next_sentence", "next_table"]

_NAMES = {
    Fitted.EXIT_SPEED: "exit speed (m/s)",
    Fitted.DRAG: "drag coefficient",
    Fitted.PIVOT_OFFSET: "pivot offset (°)",
}
_DIGITS = {Fitted.EXIT_SPEED: 3, Fitted.DRAG: 3, Fitted.PIVOT_OFFSET: 2}


def fit_table(fit: ShotFit) -> Table:
    """Each value found with its interval."""
    rows = []
    for name, value, low, high in zip(
        fit.free, fit.values.tolist(), fit.lows.tolist(), fit.highs.tolist(), strict=True
    ):
        scale = to_degrees(1.0) if name is Fitted.PIVOT_OFFSET else 1.0
        signed, digits = name is Fitted.PIVOT_OFFSET, _DIGITS[name]
        found, least, most = (
            number_text(scale * v, digits, is_signed=signed) for v in (value, low, high)
        )
        rows.append((_NAMES[name], found, f"{least} to {most}"))
    return Table(("value", "found", f"{100.0 * fit.level:g} % interval"), tuple(rows))


def file_lines(fit: ShotFit) -> list[str]:
    """What the robot file should say, and what to do about the pivot's zero."""
    values = dict(zip(fit.free, fit.values.tolist(), strict=True))
    lines = []
    if Fitted.EXIT_SPEED in values:
        lines.append(f"[shooter] exit_speed_m_per_s = {values[Fitted.EXIT_SPEED]:.3f}")
    if Fitted.DRAG in values:
        lines.append(
            f'[shooter.projectile] drag = "constant", drag_coefficient = {values[Fitted.DRAG]:.3f}'
        )
    if Fitted.PIVOT_OFFSET in values:
        offset_deg = to_degrees(values[Fitted.PIVOT_OFFSET])
        size = number_text(abs(offset_deg), 2)
        way, cure = ("higher", "less") if offset_deg > 0.0 else ("lower", "more")
        lines.append(
            f"The pivot throws {size}° {way} than it is set: set {size}° {cure}, or its zero anew."
        )
    return lines


def next_table(following: NextShots, *, length_unit: str = "cm") -> Table:
    """The shots to measure next, best first."""
    headers = (
        f"for the distance ({length_label(floor_unit(length_unit))})",
        "set the pivot to (°)",
        "pivots then known to (°)",
    )
    columns = (
        [floor_text(d, length_unit) for d in following.distances_m.tolist()],
        [angle_text(p) for p in following.pivots_rad.tolist()],
        [angle_text(s, 3) for s in following.pivot_std_rad[1:].tolist()],
    )
    return Table(headers, tuple(zip(*columns, strict=True)))


def next_sentence(following: NextShots) -> str:
    """How well the pivots are known now and after the shots."""
    now, then = np.degrees(following.pivot_std_rad[[0, -1]])
    return (
        f"Over these distances the pivots are known to {now:.3f}° now (1 sigma), and to "
        f"{then:.3f}° after these shots, each counted after the ones before."
    )
