"""What is said and shown of the cameras' images."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from posefuse.report.camera_frame import brightness_for, found_text
from posefuse.report.camera_strip import strip_finding, strip_picture, write_strip
from posefuse.report.movie import drive_pictures
from posefuse.study.camera_views import CameraViews, SeenFrame
from posefuse.study.drive import drive_of
from posefuse.study.strip import Instant, Strip, instants_of, look
from posefuse.study.trial import plan_scene
from small_court import small_study

STUDY = small_study()


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


def test_findings_and_words() -> None:
    assert (
        strip_finding(strip(frame(2, 1), frame(0, 0)))
        == "The detector finds 2 of the 3 tags in view"
    )
    assert strip_finding(strip(frame(2, 0), frame(1, 0))) == "The detector finds all 3 tags in view"
    assert strip_finding(strip(frame(1, 0))) == "The detector finds the one tag in view"
    assert strip_finding(strip(frame(0, 2))) == "The detector finds none of the 2 tags in view"
    assert strip_finding(strip(frame(0, 0), None)) == "No camera has a tag in view"
    assert found_text(frame(0, 0)) == "no tag in view"
    assert found_text(frame(1, 0)) == "tag 0"
    assert found_text(frame(2, 1)) == "tags 0, 1; missed 5"
    assert found_text(frame(0, 1)) == "no tag found; missed 5"


def test_images_are_brightened_but_never_darkened() -> None:
    assert brightness_for([frame(0, 0, 50), frame(0, 0, 100)]) == 2.3
    assert brightness_for([frame(0, 0, 250)]) == 1.0
    assert brightness_for([]) == 1.0


def test_a_strip_as_a_file_and_in_a_report(tmp_path: Path) -> None:
    scene = plan_scene(STUDY, STUDY.plans[1], STUDY.courses[0])
    cameras = CameraViews(scene, seed=STUDY.seed, trial=0)
    seen = look(cameras, instants_of(STUDY.courses[0], most=2), title="a <run>", workers=2)
    write_strip(seen, tmp_path / "strip.png")
    with Image.open(tmp_path / "strip.png") as image:
        assert image.size[0] == round(150 * 12.5)  # three columns of 4 inches
    picture = strip_picture(seen)
    assert strip_finding(seen) in picture.alt
    assert "front at 1.50 s: " in picture.alt
    assert "times as bright" in picture.caption
    assert picture.svg.count("<image") == 6


@pytest.mark.parametrize("mounts", [("front",), ("front", "left", "right")])
def test_a_movie_has_a_picture_for_each_moment(mounts: tuple[str, ...]) -> None:
    plan = STUDY.plans[len(mounts) > 1]
    scene = plan_scene(STUDY, plan, STUDY.courses[0])
    drive = drive_of(
        STUDY,
        plan,
        scene,
        views=CameraViews(scene, seed=STUDY.seed, trial=0),
        moments_s=np.array([0.0, 0.01, 1.5, 1.6]),
        title="a run",
        workers=1,
    )
    pictures = list(drive_pictures(drive, workers=2, dots_per_inch=50.0))
    assert [p.shape for p in pictures] == [(360, 640, 3)] * 4
    assert all((a != b).any() for a, b in pairwise(pictures))
    once_more = list(drive_pictures(drive, workers=1, dots_per_inch=50.0))
    np.testing.assert_array_equal(pictures, once_more)
