"""What the cameras see: which frames, where the missed tags are, how images are shrunk."""

import math
from dataclasses import replace

import numpy as np
import pytest

from posefuse.build_errors.spreads import BuildSpreads
from posefuse.motion.course import Knock
from posefuse.rendering.detect import Detections
from posefuse.simulation.images import TrialImages
from posefuse.study.camera_views import CameraViews, SeenFrame, shrunk_image, why_no_images
from posefuse.study.drive import images_of
from posefuse.study.strip import Instant, Strip, instants_of, look
from posefuse.study.trial import plan_scene
from posefuse.threads import side_by_side
from small_court import small_arena, small_study

STUDY = small_study()


def views(trial: int = 0) -> CameraViews:
    scene = plan_scene(STUDY, STUDY.plans[1], STUDY.courses[0])
    return CameraViews(scene, seed=STUDY.seed, trial=trial)


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
                knocked += int(scene.views.mount_state[n] == len(mounts))
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


def test_shrinking_takes_means_and_keeps_the_width_asked_for() -> None:
    image = np.arange(20 * 30, dtype=np.uint8).reshape(20, 30) % 100
    small, step = shrunk_image(image, 12)
    assert step == 2
    assert small.shape == (10, 15)
    assert small[0, 0] == np.rint(image[:2, :2].mean())
    whole, step = shrunk_image(image, 31)
    assert step == 1
    np.testing.assert_array_equal(whole, image)


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


def frame(found: int, missed: int) -> SeenFrame:
    return SeenFrame(
        captured_at_s=1.0,
        image=np.full((8, 12), 100, dtype=np.uint8),
        step_px=1,
        found_ids=np.arange(found),
        found_corners_px=np.zeros((found, 4, 2)),
        missed_ids=np.arange(missed) + 5,
        missed_corners_px=np.zeros((missed, 4, 2)),
    )


def test_a_strip_counts_found_and_missed_tags() -> None:
    frames = (frame(2, 1), None, frame(1, 4))
    strip = Strip(
        title="a run", rig=STUDY.plans[1].rig, instants=(Instant(at_s=1.0),), frames=(frames,)
    )
    assert (strip.found_count, strip.missed_count) == (3, 5)
    assert strip.seen() == [frames[0], frames[2]]


def test_a_look_is_the_same_whoever_renders_it() -> None:
    cameras, instants = views(), instants_of(STUDY.courses[0], most=2)
    seen, again = (look(cameras, instants, title="a <run>", workers=n) for n in (2, 1))
    assert len(seen.seen()) == 6
    assert all(one.image.shape == (400, 640) for one in seen.seen())
    for one, other in zip(seen.seen(), again.seen(), strict=True):
        np.testing.assert_array_equal(one.image, other.image)
    for instant, row in zip(instants, seen.frames, strict=True):
        assert all(abs(one.captured_at_s - instant.at_s) <= 1.0 / 60.0 for one in row)


def test_a_frame_that_is_shown_again_is_rendered_once() -> None:
    cameras = views()
    with side_by_side(2) as pool:
        moments = list(images_of(cameras, np.array([-1.0, 1.0, 1.001, 2.0]), pool, least_wide_px=9))
    assert moments[0] == [None, None, None]
    for one, again, later in zip(*moments[1:], strict=True):
        assert one is again
        assert later is not one
        assert 1.0 - 1.0 / 30.0 < one.captured_at_s <= 1.0
