"""Candidates: whatever a trial brings into an image must be among the sightings found beforehand.

The margin is tried against a far wider one: as many sightings must be found.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posefuse.arena.load import load_arena
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.motion.course import Course, Knock
from posefuse.motion.path import TruePath
from posefuse.robot.load import load_rig
from posefuse.robot.rig import Rig
from posefuse.sensing.arrays import MarginArrays
from posefuse.simulation import scene as scene_module
from posefuse.simulation.margin import candidate_margin
from posefuse.simulation.scene import prepare_scene
from posefuse.simulation.simulate import simulate_trial

ROOT = Path(__file__).parents[3]
ARENA = load_arena(ROOT / "fieldlayouts" / "orchard_court.toml")
WHOLE_RIG = load_rig(ROOT / "datasets" / "orchard" / "rigs" / "four_corners.toml")
TRIALS = 4


def sharp(rig: Rig, *, row_time_s: float = 0.0, **changes: object) -> Rig:
    """The rig with detectors that find every tag, and scatter little."""
    given = {"noise_px": 1e-6, "half_found_edge_px": 0.0, "measured": None, **changes}
    mounts = []
    for mount in rig.mounts:
        camera = replace(
            mount.camera,
            sensor=replace(mount.camera.sensor, row_time_s=row_time_s),
            detector=replace(mount.camera.detector, **given),
        )
        mounts.append(replace(mount, camera=camera))
    return replace(rig, mounts=tuple(mounts))


def course(*, turns: float = 1.5, **changes: object) -> Course:
    """Two fast rounds, turning on the way so many times as fast as they do."""
    t = np.linspace(0.0, 8.0, 161)
    angle = np.pi * t / 2.0
    poses = np.stack([6.6 + 2.0 * np.cos(angle), 2.2 + np.sin(angle), turns * angle], axis=-1)
    return Course(name="rounds", path=TruePath.through(t, poses), **changes)


def everywhere(px: float):
    """A margin of so many px in every frame."""

    def margin(frames, **_: object) -> MarginArrays:
        count = len(frames.camera)
        return MarginArrays(px=np.full(count, px), px_m=np.zeros(count))

    return margin


def found(monkeypatch, margin, rig: Rig, driven: Course, spreads: BuildSpreads) -> set:
    """Trial, camera, frame number and tag of all that is found."""
    monkeypatch.setattr(scene_module, "candidate_margin", margin)
    scene = prepare_scene(arena=ARENA, rig=rig, course=driven, spreads=spreads)
    views, every = scene.views, set()
    for trial in range(TRIALS):
        seen = np.flatnonzero(simulate_trial(scene, seed=2, trial=trial).is_found)
        frame = views.frame[seen]
        names = (views.camera[frame], views.number[frame], views.tags.ids[views.tag[seen]])
        every |= {(trial, *name) for name in zip(*(n.tolist() for n in names), strict=True)}
    return every


CASES = {
    "mount angle": {"spreads": BuildSpreads.of(mount_angle_rad=0.02)},
    "mount position": {"spreads": BuildSpreads.of(mount_position_m=0.03)},
    "tag position": {"spreads": BuildSpreads.of(tag_position_m=0.03)},
    "tag heading": {"spreads": BuildSpreads.of(tag_heading_rad=0.4)},
    "focal length": {"spreads": BuildSpreads.of(focal_fraction=0.03)},
    "lean": {"spreads": BuildSpreads.of(lean_rad=0.06)},
    "rolling shutter, turning": {"rig": sharp(WHOLE_RIG, row_time_s=5e-5)},
    "rolling shutter, driving": {
        "rig": sharp(WHOLE_RIG, row_time_s=5e-5),
        "driven": course(turns=0.0),
    },
    "scatter": {"rig": sharp(WHOLE_RIG, noise_px=0.7)},
}


@pytest.mark.parametrize("case", CASES)
def test_nothing_that_is_brought_in_is_lost(monkeypatch, case: str) -> None:
    given = {"rig": sharp(WHOLE_RIG), "driven": course(), "spreads": BuildSpreads.of()}
    given |= CASES[case]
    everything = found(monkeypatch, everywhere(400.0), *given.values())
    assert found(monkeypatch, candidate_margin, *given.values()) == everything
    # and the case is one in which there is something to lose
    assert len(found(monkeypatch, everywhere(0.0), *given.values())) < len(everything)


def test_from_a_knock_on_a_camera_sees_what_one_built_so_sees() -> None:
    """Knocks by 40 degrees and by 80 more: tags, sizes, blur, response, information."""
    knocks = [
        Knock(mount="front left", at_s=at_s, pan_rad=pan, tilt_rad=-0.05, roll_rad=0.03)
        for at_s, pan in ((2.0, math.radians(40.0)), (5.0, math.radians(80.0)))
    ]
    rig = sharp(WHOLE_RIG)
    knocked = prepare_scene(arena=ARENA, rig=rig, course=course(knocks=tuple(knocks)))
    at_s = knocked.views.captured_at_s[knocked.views.frame]
    for count, ends_s in enumerate([(0.0, 2.0), (2.0, 5.0), (5.0, 9.0)]):
        mounts = tuple(
            replace(
                mount,
                pan_rad=mount.pan_rad + sum(knock.pan_rad for knock in knocks[:count]),
                tilt_rad=mount.tilt_rad - 0.05 * count,
                roll_rad=mount.roll_rad + 0.03 * count,
            )
            if mount.name == "front left"
            else mount
            for mount in rig.mounts
        )
        built = prepare_scene(arena=ARENA, rig=replace(rig, mounts=mounts), course=course())
        own = (at_s >= ends_s[0]) & (at_s < ends_s[1])
        expected = (built.views.captured_at_s[built.views.frame] >= ends_s[0]) & (
            built.views.captured_at_s[built.views.frame] < ends_s[1]
        )
        assert own.sum() > 100
        for name in ("frame", "tag", "edge_px", "blur_px", "std_px", "found_probability"):
            seen, wanted = getattr(knocked.views, name)[own], getattr(built.views, name)[expected]
            np.testing.assert_allclose(seen, wanted, rtol=1e-12)
        np.testing.assert_allclose(
            knocked.information[own], built.information[expected], rtol=1e-9, atol=1e-6
        )
        found, wanted = (simulate_trial(scene, seed=2, trial=0) for scene in (knocked, built))
        np.testing.assert_array_equal(found.is_found[own], wanted.is_found[expected])


def test_few_candidates_are_in_vain() -> None:
    """Without errors hardly more than what lies in the images."""
    rig = sharp(WHOLE_RIG)
    exact, built = (
        prepare_scene(arena=ARENA, rig=rig, course=course(), spreads=spreads)
        for spreads in (BuildSpreads.of(), BuildSpreads.of(mount_angle_rad=0.01))
    )
    in_image = int(simulate_trial(exact, seed=1, trial=0).is_found.sum())
    assert in_image <= exact.views.sighting_count < 1.02 * in_image
    assert exact.views.sighting_count < built.views.sighting_count < 1.2 * in_image
