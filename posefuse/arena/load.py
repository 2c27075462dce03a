"""Arenas from files."""

import math
from pathlib import Path

import numpy as np

from posefuse.arena.arena import Arena, Beacon, Goal, Obstacle, Tag, tag_pose
from posefuse.arena.placement import Place, placement_faults
from posefuse.arena.schema import ArenaFile, TagEntry
from posefuse.files.toml_file import Faults, all_faults_of, load_toml

__all__ = ["load_arena"]


def load_arena(path: Path | str) -> Arena:
    """The arena a file describes.

    Raises
    ------
    FileError
        With one line for each fault, such as a tag outside the arena or facing into a wall.
    """
    path = Path(path)
    file = load_toml(path, ArenaFile)
    with all_faults_of(path) as faults:
        _refuse_repeated(faults, "tag", "id", [entry.id for entry in file.tag])
        _refuse_repeated(faults, "beacon", "id", [entry.id for entry in file.beacon])
        _refuse_repeated(faults, "goal", "name", [entry.name for entry in file.goal])
        _refuse_repeated(faults, "obstacle", "name", [entry.name for entry in file.obstacle])
        _refuse_unstated(faults, file)
        faults.stop_if_any()
        arena = _arena(file)
        found = ((problem, _written(place, file)) for place, problem in placement_faults(arena))
        for problem, place in dict.fromkeys(found):  # an error in a default is reported once
            faults.add(problem, *place)
        faults.stop_if_any()
    return arena


def _written(place: Place, file: ArenaFile) -> tuple[str | int, ...]:
    """The place in the file that is wrong: an edge may come from the default for all tags."""
    kind, index, key = place
    if kind == "tag" and key == "edge_m" and file.tag[index].edge_m is None:
        return ("tag_edge_m",)
    return place


def _refuse_repeated(faults: Faults, kind: str, key: str, values: list[int] | list[str]) -> None:
    for index, value in enumerate(values):
        first = values.index(value)  # type: ignore[arg-type]
        if first < index:
            faults.add(f"{value!r} is used by {kind}.{first + 1} already", kind, index, key)


def _refuse_unstated(faults: Faults, file: ArenaFile) -> None:
    for index, entry in enumerate(file.tag):
        for key, own, default in (
            ("family", entry.family, file.tag_family),
            ("edge_m", entry.edge_m, file.tag_edge_m),
        ):
            if own is None and default is None:
                faults.add(f"missing: give it here, or tag_{key} for all tags", "tag", index, key)


def _arena(file: ArenaFile) -> Arena:
    return Arena(
        name=file.name,
        length_m=file.length_m,
        width_m=file.width_m,
        tags=tuple(_tag(entry, file) for entry in file.tag),
        beacons=tuple(
            Beacon(id=entry.id, position_in_world_m=np.array(entry.position_m))
            for entry in file.beacon
        ),
        goals=tuple(
            Goal(
                name=entry.name,
                centre_in_world_m=np.array(entry.centre_m),
                width_m=entry.width_m,
                height_m=entry.height_m,
                facing_rad=math.radians(entry.facing_deg),
                tilt_rad=math.radians(entry.tilt_deg),
            )
            for entry in file.goal
        ),
        obstacles=tuple(
            Obstacle(
                name=entry.name,
                centre_in_world_m=np.array(entry.centre_m),
                size_m=np.array(entry.size_m),
                heading_rad=math.radians(entry.heading_deg),
                blocks_course=entry.blocks_course,
            )
            for entry in file.obstacle
        ),
    )


def _tag(entry: TagEntry, file: ArenaFile) -> Tag:
    return Tag(
        id=entry.id,
        family=entry.family or file.tag_family or "",
        edge_m=entry.edge_m or file.tag_edge_m or 0.0,
        world_from_tag=tag_pose(
            np.array(entry.position_m),
            facing_rad=math.radians(entry.facing_deg),
            tilt_rad=math.radians(entry.tilt_deg),
        ),
    )
