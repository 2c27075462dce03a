"""Which shooter aims at which goal."""

from pathlib import Path
from typing import TYPE_CHECKING

from posefuse.errors import FileError, InputError

if TYPE_CHECKING:
    from posefuse.fieldlayout import FieldLayout, Goal
    from posefuse.robot import Rig, Shooter

__all__ = ["rig_with_shooter", "target"]

_LAYOUTS = Path("fieldlayouts")


def rig_with_shooter(path: Path) -> "tuple[Rig, Shooter]":
    """The rig in a file, and its shooter."""
    from posefuse.cli.kinds import refuse_other_kinds
    from posefuse.robot.file import load_rig

    refuse_other_kinds(path, "rig")
    rig = load_rig(path)
    if rig.body.shooter is None:
        raise FileError(path, "no shooter: neither it nor its robot file has a [shooter]")
    return rig, rig.body.shooter


def target(layout_file: Path | None, goal_name: str | None) -> "tuple[FieldLayout, Goal]":
    """The layout and the goal.

    Parameters
    ----------
    layout_file
        ``None``: the one layout in ``fieldlayouts/``.
    goal_name
        ``None``: the layout's goal, where it has one, or where all of its openings are alike.
    """
    from posefuse.cli.kinds import refuse_other_kinds
    from posefuse.fieldlayout.file import load_layout

    path = layout_file if layout_file is not None else _only_layout()
    refuse_other_kinds(path, "layout")
    layout = load_layout(path)
    if goal_name is not None:
        try:
            return layout, layout.goal(goal_name)
        except InputError as error:
            raise FileError(path, str(error)) from None
    if not layout.goals:
        raise FileError(path, "no goal to aim at: it has no [[goal]]")
    if len({_opening(goal) for goal in layout.goals}) > 1:
        names = ", ".join(goal.name for goal in layout.goals)
        raise FileError(path, f"its goals differ: choose one by --goal NAME (there are: {names})")
    return layout, layout.goals[0]


def _only_layout() -> Path:
    found = sorted(_LAYOUTS.glob("*.toml"))
    if len(found) != 1:
        told = ", ".join(path.as_posix() for path in found) or f"none in {_LAYOUTS.as_posix()}/"
        raise InputError(f"--layout FILE: name the field layout with the goal (found: {told})")
    return found[0]


def _opening(goal: "Goal") -> tuple[float, ...]:
    height_m = float(goal.centre_in_world_m[2])
    return (height_m, goal.width_m, goal.height_m, goal.tilt_rad)
