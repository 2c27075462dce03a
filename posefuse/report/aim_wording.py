"""Distances, pivots and hits in plain words."""

from collections.abc import Sequence

import numpy as np

from posefuse.aim.arcs import Arc
from posefuse.aim.hit_probability import MOST_DISTANCE_STD_M
from posefuse.aim.sheet import ArcSheet, spread_rows
from posefuse.arena.arena import Goal
from posefuse.checks import FloatArray
from posefuse.plots.style import floor_unit
from posefuse.report.wording import UNKNOWN, angle_text, number_text
from posefuse.robot.shooter import Shooter, ShooterSpread
from posefuse.units import length_label, metres_to, to_degrees

__all__ = [
    "ANY_M",
    "arc_name",
    "bearing_text",
    "drawn_sentence",
    "enough_sentence",
    "enough_text",
    "floor_text",
    "floor_with_unit",
    "goal_text",
    "hits_sentence",
    "hits_text",
    "interpolation_sentence",
    "left_out_sentence",
    "reach_sentence",
    "room_text",
    "shooter_text",
]

ANY_M = 5.0
"""A tolerance this large ends where it was no longer followed: any such error still scores."""
ANY_RAD = 0.8
_MOST_PLACES = 8
_FLOOR_DIGITS = {"m": 2, "in": 1}
_ROOM_DIGITS = {"m": 3, "cm": 1, "mm": 0, "in": 1}


def arc_name(arc: Arc) -> str:
    """The arc's name."""
    return f"{arc.name.lower()} arc"


def floor_text(length_m: float, length_unit: str) -> str:
    """A distance on the floor without its unit: in metres, or inches for those who ask for them."""
    unit = floor_unit(length_unit)
    return number_text(metres_to(unit, length_m), _FLOOR_DIGITS[unit])


def floor_with_unit(length_m: float, length_unit: str) -> str:
    """A distance on the floor with its unit."""
    return f"{floor_text(length_m, length_unit)} {length_label(floor_unit(length_unit))}"


def room_text(length_m: float, length_unit: str) -> str:
    """How much room there is, without its unit; a dash where nothing scores."""
    if length_m >= ANY_M:
        return "any"
    if not length_m > 0.0:
        return UNKNOWN
    return number_text(metres_to(length_unit, length_m), _ROOM_DIGITS[length_unit])


def bearing_text(turn_rad: float) -> str:
    """How far a direction may be off in degrees; a dash where nothing scores."""
    if turn_rad >= ANY_RAD:
        return "any"
    return angle_text(turn_rad, 1) if turn_rad > 0.0 else UNKNOWN


def enough_text(std_m: float, length_unit: str) -> str:
    """An error (std) that costs one hit in 100, without its unit."""
    return "any" if std_m >= MOST_DISTANCE_STD_M else room_text(std_m, length_unit)


def hits_text(share: float) -> str:
    """Hits in 100 shots."""
    return number_text(100.0 * share, 1)


def goal_text(goal: Goal, length_unit: str) -> str:
    """The goal's opening."""
    width, height, up = (
        floor_text(length, length_unit)
        for length in (goal.width_m, goal.height_m, float(goal.centre_in_world_m[2]))
    )
    unit = length_label(floor_unit(length_unit))
    tilt = f", tilted up by {to_degrees(goal.tilt_rad):g}°" if goal.tilt_rad else ""
    return f"“{goal.name}”, opening {width} by {height} {unit}, its middle {up} {unit} up{tilt}"


def shooter_text(shooter: Shooter, length_unit: str) -> str:
    """The shooter and its piece."""
    low, high = to_degrees(shooter.pivot_low_rad), to_degrees(shooter.pivot_high_rad)
    spread = shooter.spread.exit_speed_std_m_per_s
    give = f" give or take {spread:g}" if spread else ""
    thrown = f"{shooter.exit_speed_m_per_s:g} m/s{give}, pivot {low:g}° to {high:g}°"
    piece = shooter.projectile
    if piece is None:
        return f"{thrown}, a point without air"
    size = room_text(piece.diameter_m, length_unit)
    drag = {"none": "no drag", "constant": "constant drag", "sphere": "drag of a smooth sphere"}
    return (
        f"{thrown}, piece of {1000.0 * piece.mass_kg:g} g and {size} {length_label(length_unit)}, "
        f"{drag[piece.drag.value]}{_spin_text(shooter)}"
    )


def _spin_text(shooter: Shooter) -> str:
    turns = shooter.spin_rad_per_s / (2.0 * np.pi)
    if not turns:
        return ""
    way = "backspin" if turns > 0.0 else "topspin"
    has_lift = shooter.projectile is not None and shooter.projectile.lift_per_spin_ratio > 0.0
    effect = "" if has_lift else " without lift (lift_per_spin_ratio is not given)"
    return f", {way} of {abs(turns):g} turns/s{effect}"


def left_out_sentence(shooter: Shooter) -> str:
    """What a robot file leaves out, so that hits come out too high; empty if nothing."""
    missing = []
    if shooter.projectile is None:
        missing.append("no [shooter.projectile] (the piece is taken for a point that meets no air)")
    if shooter.spread == ShooterSpread():
        missing.append(
            "no spread such as exit_speed_std_m_per_s (every throw goes where it is aimed)"
        )
    return f"[shooter] has {' and '.join(missing)}: real shots will score less." if missing else ""


def hits_sentence(sheet: ArcSheet, length_unit: str) -> str:
    """How much an arc scores with a perfect estimate, from least to most."""
    least, most = int(np.argmin(sheet.hit_shares)), int(np.argmax(sheet.hit_shares))
    scores = f"With a perfect estimate the {arc_name(sheet.aim.arc)} scores"
    low, high = (hits_text(float(sheet.hit_shares[row])) for row in (least, most))
    if low == high:
        return f"{scores} {low} of 100 shots from everywhere."
    far, near = (
        floor_with_unit(float(sheet.table.distances_m[row]), length_unit) for row in (least, most)
    )
    return f"{scores} between {low} (at {far}) and {high} (at {near}) of 100 shots."


def drawn_sentence(sheet: ArcSheet, length_unit: str) -> str:
    """How far drawn throws differ from the integral; empty of a shooter without a spread."""
    if sheet.aim.shooter.spread == ShooterSpread():
        return ""
    off = np.abs(sheet.drawn.shares - sheet.hit_shares[sheet.drawn_rows])
    worst = int(np.argmax(off))
    at = floor_with_unit(float(sheet.table.distances_m[sheet.drawn_rows[worst]]), length_unit)
    low, high = (hits_text(bound) for bound in sheet.drawn.bounds()[worst].tolist())
    return (
        f"{sheet.drawn.count:,} throws drawn from each of {len(off)} distances differ from this "
        f"most at {at}: {hits_text(float(sheet.drawn.shares[worst]))} of 100 go in (95 % interval "
        f"{low} to {high})."
    )


def reach_sentence(goal: Goal, sheets: Sequence[ArcSheet], length_unit: str) -> str:
    """From where each arc reaches the goal."""
    reaches = []
    for arc in Arc:
        spans = [
            f"{floor_text(near, length_unit)} to {floor_with_unit(far, length_unit)}"
            for near, far in (sheet.span_m for sheet in sheets if sheet.aim.arc is arc)
        ]
        if spans:
            reaches.append(f"the {arc_name(arc)} from {' and from '.join(spans)}")
    return f"The middle of “{goal.name}” is reached by {', '.join(reaches)}."


def interpolation_sentence(sheet: ArcSheet, length_unit: str) -> str:
    """What straight lines between the rows of a sheet's table cost."""
    errors = np.degrees(sheet.interpolation_rad)
    worst = int(np.argmax(errors))
    near, far = sheet.table.distances_m[worst : worst + 2]
    spacing = floor_with_unit(float(np.diff(sheet.table.distances_m).max()), length_unit)
    worst_gap = (
        f"Straight lines between rows {spacing} apart miss the {arc_name(sheet.aim.arc)}'s pivot "
        f"by {errors[worst]:.2f}° at most, between {floor_text(near, length_unit)} and "
        f"{floor_with_unit(far, length_unit)}"
    )
    return f"{worst_gap}, and by less than {np.median(errors):.3f}° in half of the gaps."


def enough_sentence(distances_m: FloatArray, enough_m: FloatArray, length_unit: str) -> str:
    """The distance error below which better vision no longer adds hits, per distance."""
    if not (enough_m > 0.0).any():
        return (
            "From none of these distances does the shooter score enough to show what vision adds."
        )
    rows = np.flatnonzero((enough_m > 0.0) & (enough_m < MOST_DISTANCE_STD_M))
    if not len(rows):
        most = f"{room_text(MOST_DISTANCE_STD_M, length_unit)} {length_label(length_unit)}"
        return (
            f"Better vision adds less than one hit in 100: errors of {most} (1 sigma) do no more."
        )
    places = [
        f"{room_text(float(enough_m[row]), length_unit)} {length_label(length_unit)} at "
        f"{floor_with_unit(float(distances_m[row]), length_unit)}"
        for row in rows[spread_rows(len(rows), _MOST_PLACES)]
    ]
    return (
        "Better vision adds less than one hit in 100 once the distance error (1 sigma) is below "
        f"{', '.join(places)}: from there on the shooter's own spread decides."
    )
