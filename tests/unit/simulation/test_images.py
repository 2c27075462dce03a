"""Runs from rendered images: the same Recording as from drawn corners, found by the detector."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from posefuse.arena.load import load_arena
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.motion.course import Course, Knock
from posefuse.motion.path import TruePath
from posefuse.rendering.detect import DetectorSettings, detect_tags
from posefuse.robot.load import load_camera, load_rig
from posefuse.simulation.built import build
from posefuse.simulation.images import TrialImages
from posefuse.simulation.scene import Scene, SightingSource, prepare_scene
from posefuse.simulation.simulate import simulate_trial

ROOT = Path(__file__).parents[3]
ARENA = load_arena(ROOT / "fieldlayouts" / "orchard_court.toml")
WHOLE_RIG = load_rig(ROOT / "datasets" / "orchard" / "rigs" / "two_cameras.toml")
RIG = replace(WHOLE_RIG, mounts=WHOLE_RIG.mounts[:1])
SPREADS = BuildSpreads.of(
    mount_angle_rad=0.01,
    tag_position_m=0.01,
    focal_fraction=0.01,
    clock_offset_s=0.004,
    lean_rad=0.01,
)


def course(**changes: object) -> Course:
    t = np.linspace(0.0, 0.5, 6)
    poses = np.stack([6.6 + 1.5 * t, 2.2 + 0.5 * t, 0.3 * t], axis=-1)
    return Course(name="half a second", path=TruePath.through(t, poses), **changes)


def scene(source: SightingSource, **changes: object) -> Scene:
    given = {"course": course(), "spreads": SPREADS, "sightings": source} | changes
    return prepare_scene(arena=ARENA, rig=RIG, **given)


def keyed(run) -> dict[tuple[int, int], np.ndarray]:
    """Corners by frame of the scene and tag."""
    sightings = run.recording.sightings
    frames = run.frame_order[sightings.frame]
    return {
        (int(frame), int(id)): values.reshape(4, 2)
        for frame, id, values in zip(frames, sightings.id, sightings.values, strict=True)
    }


def test_images_and_drawn_corners_are_runs_of_the_same_build() -> None:
    drawn, seen = (
        simulate_trial(scene(source), seed=4, trial=2)
        for source in (SightingSource.CORNERS, SightingSource.IMAGES)
    )
    for name in ("captured_at_s", "arrived_at_s", "sensor"):
        np.testing.assert_array_equal(
            getattr(drawn.recording.frames, name), getattr(seen.recording.frames, name)
        )
    np.testing.assert_array_equal(drawn.recording.odometry.twists, seen.recording.odometry.twists)
    ours, theirs = keyed(drawn), keyed(seen)
    both = ours.keys() & theirs.keys()
    assert len(both) > 10
    off = np.array([theirs[key] - ours[key] for key in both])
    # mounts, tags and lenses that are 5 to 10 px off would show at once
    assert np.sqrt((off**2).mean()) < 0.1
    assert np.abs(np.median(off, axis=0)).max() < 0.05


def test_the_detector_refines_corners_as_the_camera_file_says() -> None:
    frame, corners = 4, []
    for end in ("", "_edges"):
        camera = load_camera(ROOT / "datasets" / "orchard" / "cameras" / f"wide_mono{end}.toml")
        own = prepare_scene(arena=ARENA, rig=RIG.with_camera(camera), course=course())
        images = TrialImages(build(own, seed=4, trial=2))
        image = images.image(frame)
        seen = images.detect(frame, image)
        settings = DetectorSettings(refinement=camera.detector.refinement)
        wanted = detect_tags(image, families=["36h11"], settings=settings)
        np.testing.assert_array_equal(seen.corners_px, wanted.corners_px)
        corners.append(seen.corners_px)
    assert len(corners[0]) > 0
    assert np.abs(corners[0] - corners[1]).max() > 0.05


def test_what_is_found_is_marked_among_the_candidates() -> None:
    run = simulate_trial(scene(SightingSource.IMAGES), seed=4, trial=2)
    views = run.scene.views
    candidates = set(zip(views.frame.tolist(), views.tags.ids[views.tag].tolist(), strict=True))
    assert int(run.is_found.sum()) == len(keyed(run).keys() & candidates) > 10
    assert run.frame_information().any()


def test_the_same_trial_gives_the_same_images_and_others_do_not() -> None:
    built = [build(scene(SightingSource.IMAGES), seed=4, trial=trial) for trial in (2, 2, 3)]
    one, again, other = (TrialImages(each).image(5) for each in built)
    np.testing.assert_array_equal(one, again)
    assert (one != other).mean() > 0.1


def test_a_knocked_mount_sees_elsewhere_from_then_on() -> None:
    knock = Knock(mount=RIG.mounts[0].name, at_s=0.25, pan_rad=0.05)
    still, knocked = (
        keyed(simulate_trial(scene(SightingSource.IMAGES, course=driven), seed=4, trial=2))
        for driven in (course(), course(knocks=(knock,)))
    )
    times = scene(SightingSource.IMAGES).views.captured_at_s
    moved = {key: knocked[key][0, 0] - still[key][0, 0] for key in still.keys() & knocked.keys()}
    before = [abs(px) for (frame, _), px in moved.items() if times[frame] < 0.25]
    after = [px for (frame, _), px in moved.items() if times[frame] >= 0.25]
    assert before
    assert max(before) == 0.0
    focal = RIG.mounts[0].camera.lens.focal_px[0]
    # panned to the left, the view shows everything further right: f times the angle, and more
    # off the axis
    assert after
    assert min(after) > 0.9 * 0.05 * focal


def test_tags_that_hang_nowhere_are_left_out() -> None:
    built = build(scene(SightingSource.IMAGES), seed=4, trial=2)
    images = TrialImages(built)
    picture = images.image(5)
    whole = images.detect(5, picture)
    fewer = replace(ARENA, tags=tuple(tag for tag in ARENA.tags if tag.id != whole.ids[0]))
    poorer = prepare_scene(arena=fewer, rig=RIG, course=course(), sightings=SightingSource.IMAGES)
    seen = TrialImages(build(poorer, seed=4, trial=2)).detect(5, picture)
    assert seen.ids.tolist() == whole.ids.tolist()[1:]
