"""What is told of the cameras' images: found, missed, when, and where the missed tags are."""

import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from posefuse.build_errors.spreads import BuildSpreads
from posefuse.fusion.fuse import fuse
from posefuse.motion.course import Knock
from posefuse.rendering.detect import Detections
from posefuse.report.camera_strip import (
    Instant,
    Strip,
    instants_of,
    look,
    report_strip,
    write_strip,
)
from posefuse.report.camera_views import (
    CameraViews,
    SeenFrame,
    brightness_for,
    found_text,
    why_no_images,
)
from posefuse.report.movie import Drive, drive_pictures
from posefuse.report.run_pictures import PicturedTrial
from posefuse.simulation.images import TrialImages
from posefuse.simulation.simulate import simulate
from posefuse.study.compare import plan_scene
from small_court import small_arena, small_study

STUDY = small_study()


def views(trial: int = 0) -> CameraViews:
    scene = plan_scene(STUDY, STUDY.plans[1], STUDY.courses[0])
    return CameraViews(scene, seed=STUDY.seed, trial=trial)


def frame(found: int, missed: int, grey: int = 100) -> SeenFrame:
    return SeenFrame(
        captured_at_s=1.0,
        image=np.full((8, 12), grey, dtype=np.uint8),
        step_px=1,
        found_ids=np.arange(found),
        found_corners_px=np.zeros((found, 4, 2)),
        missed_ids=np.arange(missed) + 5,
        missed_corners_px=np.zeros((missed, 4, 2)),
    )


def strip(*frames: SeenFrame | None) -> Strip:
    rig = STUDY.plans[1].rig
    return Strip(title="a run", rig=rig, instants=(Instant(at_s=1.0),), frames=(frames,))


def test_true_corners_are_where_the_detector_finds_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """All errors of the build, a knocked mount and a rolling shutter: two ways to the same pixels.

    The detector's own errors are a few tenths of a pixel; the outlines are for the eye.
    """
    plan, course = STUDY.plans[1], STUDY.courses[0]
    mounts = tuple(
        replace(m, camera=replace(m.camera, sensor=replace(m.camera.sensor, row_time_s=2e-5)))
        for m in plan.rig.mounts
    )
    study = replace(
        STUDY,
        spreads=BuildSpreads.of(
            mount_angle_rad=0.02,
            mount_position_m=0.02,
            tag_position_m=0.05,
            tag_heading_rad=0.05,
            focal_fraction=0.02,
            lean_rad=0.02,
        ),
    )
    knock = Knock(mount="front", at_s=2.0, pan_rad=math.radians(8.0), tilt_rad=0.0, roll_rad=0.0)
    scene = plan_scene(
        study,
        replace(plan, rig=replace(plan.rig, mounts=mounts)),
        replace(course, knocks=(knock,)),
    )
    cameras = CameraViews(scene, seed=3, trial=1)
    frames = [
        n
        for at_s in np.arange(0.2, 6.0, 0.4)
        for n in cameras.nearest_frames(at_s)
        if n is not None
    ]
    seen = [cameras.seen(n, least_wide_px=200) for n in frames]
    nothing = Detections(families=(), ids=np.zeros(0, np.int64), corners_px=np.zeros((0, 4, 2)))
    monkeypatch.setattr(TrialImages, "image", lambda *_: np.zeros((800, 1280), dtype=np.uint8))
    monkeypatch.setattr(TrialImages, "detect", lambda *_: nothing)
    blind = [cameras.seen(n, least_wide_px=200) for n in frames]
    compared = knocked = 0
    for n, found, true in zip(frames, seen, blind, strict=True):
        truly = dict(zip(true.missed_ids.tolist(), true.missed_corners_px, strict=True))
        for id, corners in zip(found.found_ids.tolist(), found.found_corners_px, strict=True):
            if id in truly:
                assert np.abs(corners - truly[id]).max() < 2.5
                compared += 1
                knocked += int(scene.frame_mount_state[n] == len(mounts))
        assert set(found.missed_ids.tolist()) == set(truly) - set(found.found_ids.tolist())
    assert compared >= 5
    assert knocked >= 1


def test_frames_are_the_nearest_and_the_newest() -> None:
    cameras = views()
    captured_at_s = cameras.scene.views.captured_at_s
    for mount, (near, new) in enumerate(
        zip(cameras.nearest_frames(3.0), cameras.newest_frames(3.0), strict=True)
    ):
        own = captured_at_s[cameras.scene.frames_of_mount[mount]]
        assert abs(captured_at_s[near] - 3.0) == np.abs(own - 3.0).min()
        assert captured_at_s[new] == own[own <= 3.0].max()
    assert cameras.newest_frames(-1.0) == [None, None, None]


def test_findings_and_words() -> None:
    assert strip(frame(2, 1), frame(0, 0)).finding == "The detector finds 2 of the 3 tags in view"
    assert strip(frame(2, 0), frame(1, 0)).finding == "The detector finds all 3 tags in view"
    assert strip(frame(1, 0)).finding == "The detector finds the one tag in view"
    assert strip(frame(0, 2)).finding == "The detector finds none of the 2 tags in view"
    assert strip(frame(0, 0), None).finding == "No camera has a tag in view"
    assert found_text(frame(0, 0)) == "no tag in view"
    assert found_text(frame(1, 0)) == "tag 0"
    assert found_text(frame(2, 1)) == "tags 0, 1; missed 5"
    assert found_text(frame(0, 1)) == "no tag found; missed 5"


def test_images_are_brightened_but_never_darkened() -> None:
    assert brightness_for([frame(0, 0, 50), frame(0, 0, 100)]) == 2.3
    assert brightness_for([frame(0, 0, 250)]) == 1.0
    assert brightness_for([]) == 1.0


def test_the_shots_are_shown_or_else_instants_spread_evenly() -> None:
    course = STUDY.courses[0]
    assert [i.at_s for i in instants_of(course, most=2)] == [1.5, 3.0]
    assert instants_of(course)[0].what == "shot at <east> & crate"
    spread = instants_of(replace(course, shots=()))
    assert [i.at_s for i in spread] == [1.5, 3.0, 4.5]
    assert spread[0].what == ""


def test_why_there_can_be_no_images() -> None:
    arena = small_arena()
    assert why_no_images(arena) == ""
    odd = replace(arena, tags=(replace(arena.tags[0], family="49h12"), *arena.tags[1:]))
    assert "OpenCV carries no tag family '49h12'" in why_no_images(odd)


def test_a_strip_as_a_file_and_in_a_report(tmp_path: Path) -> None:
    cameras, instants = views(), instants_of(STUDY.courses[0], most=2)
    seen = look(cameras, instants, title="a <run>", workers=2)
    assert len(seen.seen()) == 6
    assert all(f.image.shape == (400, 640) for f in seen.seen())
    write_strip(seen, tmp_path / "strip.png")
    with Image.open(tmp_path / "strip.png") as image:
        assert image.size[0] == round(150 * 12.5)  # three columns of 4 inches
    picture = report_strip(cameras, instants, title="a <run>", workers=1)
    assert "front at 1.50 s: " in picture.alt
    assert "times as bright" in picture.caption
    assert picture.svg.count("<image") == 6
    # the same trial looks the same whoever renders it
    again = look(cameras, instants, title="", workers=1)
    for one, other in zip(seen.seen(), again.seen(), strict=True):
        np.testing.assert_array_equal(one.image, other.image)


@pytest.mark.parametrize("mounts", [("front",), ("front", "left", "right")])
def test_a_movie_has_a_picture_for_each_moment(mounts: tuple[str, ...]) -> None:
    plan = STUDY.plans[len(mounts) > 1]
    scene = plan_scene(STUDY, plan, STUDY.courses[0])
    recording = simulate(scene, seed=STUDY.seed, trial=0)
    drive = Drive(
        run=PicturedTrial(
            title="a run",
            recording=recording,
            estimate=fuse(recording, rig=plan.rig, arena=STUDY.arena, settings=plan.settings),
            arena=STUDY.arena,
            rig=plan.rig,
            goal=STUDY.goal,
        ),
        views=CameraViews(scene, seed=STUDY.seed, trial=0),
        source="corners",
        moments_s=np.array([0.0, 0.01, 1.5, 1.6]),
    )
    pictures = list(drive_pictures(drive, workers=2, dots_per_inch=50.0))
    assert [p.shape for p in pictures] == [(360, 640, 3)] * 4
    assert all((a != b).any() for a, b in pairwise(pictures))
    once_more = list(drive_pictures(drive, workers=1, dots_per_inch=50.0))
    np.testing.assert_array_equal(pictures, once_more)
