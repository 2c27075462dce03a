"""What hangs on a name hangs on nothing else: rivals get identical random draws, to the last bit.

Mounts draw by their name and tags by their id, whichever others there are and in whatever order.
"""

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posefuse.arena.arena import Tag
from posefuse.arena.load import load_arena
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.motion.course import Course, Knock
from posefuse.motion.path import TruePath
from posefuse.robot.load import load_rig
from posefuse.robot.rig import Mount
from posefuse.simulation.built import build
from posefuse.simulation.images import TrialImages
from posefuse.simulation.scene import Scene, SightingSource, prepare_scene
from posefuse.simulation.simulate import simulate_trial

ROOT = Path(__file__).parents[3]
ARENA = load_arena(ROOT / "fieldlayouts" / "orchard_court.toml")
RIG = load_rig(ROOT / "datasets" / "orchard" / "rigs" / "four_corners.toml")
SPREADS = BuildSpreads.of(
    mount_angle_rad=0.01,
    mount_position_m=0.005,
    tag_position_m=0.01,
    tag_heading_rad=0.01,
    focal_fraction=0.005,
    wheel_radius_fraction=0.005,
    clock_offset_s=0.003,
    lean_rad=0.004,
)
T_S = np.linspace(0.0, 6.0, 61)
PATH = TruePath.through(
    T_S, np.stack([6.6 + 2.0 * np.cos(T_S), 2.2 + np.sin(T_S), 0.9 * T_S], axis=-1)
)
KNOCK = Knock(mount="rear left", at_s=3.0, pan_rad=0.02, tilt_rad=0.01, roll_rad=-0.03)
LEFT, REAR, RIGHT, FRONT = RIG.mounts
LONG_LENS = replace(FRONT.camera.lens, focal_px=2.0 * FRONT.camera.lens.focal_px)
ANOTHER = replace(FRONT, name="mast", camera=replace(FRONT.camera, lens=LONG_LENS))


def scene(mounts: Iterable[Mount], tags: Iterable[Tag] = ARENA.tags, **changes: object) -> Scene:
    mounts = tuple(mounts)
    knocks = tuple(KNOCK for mount in mounts if mount.name == KNOCK.mount)
    return prepare_scene(
        arena=replace(ARENA, tags=tuple(tags)),
        rig=replace(RIG, mounts=mounts),
        course=Course(name="round", path=PATH, knocks=knocks),
        spreads=SPREADS,
        start_std=np.array([0.03, 0.03, 0.02]),
        **changes,
    )


def of_mount(scene: Scene, name: str) -> tuple[bytes, dict[tuple[float, int], bytes]]:
    """Stamps and arrivals of a mount's frames; corners by stamp and tag."""
    recording = simulate_trial(scene, seed=9, trial=3).recording
    index = [mount.name for mount in scene.rig.mounts].index(name)
    frames, sightings = recording.frames, recording.sightings
    mine = frames.sensor == index
    times = np.stack([frames.captured_at_s[mine], frames.arrived_at_s[mine]])
    stamps = frames.captured_at_s[sightings.frame]
    seen = np.flatnonzero(mine[sightings.frame])
    corners = {
        (stamps[k], int(sightings.id[k])): sightings.values[k].tobytes() for k in seen.tolist()
    }
    return times.tobytes(), corners


@pytest.mark.parametrize(
    "mounts",
    [
        (FRONT, REAR, LEFT, RIGHT),
        (REAR, RIGHT, FRONT),
        (LEFT, REAR),
        (REAR,),
        (ANOTHER, *RIG.mounts),
        (LEFT, REAR, ANOTHER),
    ],
    ids=lambda mounts: ", ".join(mount.name for mount in mounts),
)
def test_other_mounts_change_nothing_for_a_mount(mounts: tuple[Mount, ...]) -> None:
    times, corners = of_mount(scene(RIG.mounts), REAR.name)
    assert len(corners) > 150
    assert of_mount(scene(mounts), REAR.name) == (times, corners)


def test_a_mount_of_another_name_draws_anew() -> None:
    renamed = replace(FRONT, name="front")
    (times, corners), (other_times, other_corners) = (
        of_mount(scene([mount]), mount.name) for mount in (FRONT, renamed)
    )
    assert times != other_times
    assert not set(corners.values()) & set(other_corners.values())


@pytest.mark.parametrize(
    "tags",
    [ARENA.tags[::-1], ARENA.tags[1:], ARENA.tags[:-3], ARENA.tags[2::2]],
    ids=["turned round", "without the first", "without the last three", "every other"],
)
def test_other_tags_change_nothing_for_a_tag(tags: tuple[Tag, ...]) -> None:
    kept = {tag.id for tag in tags}
    times, corners = of_mount(scene(RIG.mounts), REAR.name)
    expected = {key: value for key, value in corners.items() if key[1] in kept}
    assert len(expected) > 50
    assert of_mount(scene(RIG.mounts, tags), REAR.name) == (times, expected)


def test_an_image_of_a_mount_does_not_hang_on_others() -> None:
    images = []
    for mounts in (RIG.mounts, (REAR, FRONT)):
        built = build(scene(mounts, sightings=SightingSource.IMAGES), seed=9, trial=3)
        index = [mount.name for mount in mounts].index(REAR.name)
        frame = int(built.scene.frames_of_mount[index][100])
        images.append(TrialImages(built).image(frame))
    np.testing.assert_array_equal(images[0], images[1])
