"""Which shooter aims at which goal."""

from pathlib import Path
from typing import TYPE_CHECKING

from posefuse.errors import FileError, InputError

if TYPE_CHECKING:
    from posefuse.arena.arena import Arena, Goal
    from posefuse.robot.rig import Rig
    from posefuse.robot.shooter import Shooter

__all__ = ["rig_with_shooter", "target"]

_ARENAS = Path("fieldlayouts")


def rig_with_shooter(path: Path) -> "tuple[Rig, Shooter]":
    """The rig in a file, and its shooter."""
    from posefuse.cli.kinds import refuse_other_kinds
    from posefuse.robot.load import load_rig

    refuse_other_kinds(path, "rig")
    rig = load_rig(path)
    if rig.body.shooter is None:
        raise FileError(path, "no shooter: neither it nor its robot file has a [shooter]")
    return rig, rig.body.shooter


def target(arena_file: Path | None, goal_name: str | None) -> "tuple[Arena, Goal]":
    """The arena and the goal.

    Parameters
    ----------
    arena_file
        ``None``: the one arena in ``fieldlayouts/``.
    goal_name
        ``None``: the arena's goal, where it has one, or where all of its openings are alike.
    """
    from posefuse.arena.load import load_arena
    from posefuse.cli.kinds import refuse_other_kinds

    path = arena_file if arena_file is not None else _only_arena()
    refuse_other_kinds(path, "arena")
    arena = load_arena(path)
    if goal_name is not None:
        try:
            return arena, arena.goal(goal_name)
        except InputError as error:
            raise FileError(path, str(error)) from None
    if not arena.goals:
        raise FileError(path, "no goal to aim at: it has no [[goal]]")
    if len({_opening(goal) for goal in arena.goals}) > 1:
        names = ", ".join(goal.name for goal in arena.goals)
        raise FileError(path, f"its goals differ: choose one by --goal NAME (there are: {names})")
    return arena, arena.goals[0]


def _only_arena() -> Path:
    found = sorted(_ARENAS.glob("*.toml"))
    if len(found) != 1:
        names = ", ".join(path.as_posix() for path in found) or f"none in {_ARENAS.as_posix()}/"
        raise InputError(f"--arena FILE: name the arena with the goal (found: {names})")
    return found[0]


def _opening(goal: "Goal") -> tuple[float, ...]:
    height_m = float(goal.centre_in_world_m[2])
    return (height_m, goal.width_m, goal.height_m, goal.tilt_rad)
