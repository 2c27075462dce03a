"""A simulated run: what is the same for rivals, what each error source moves, what is counted."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posefuse.arena.load import load_arena
from posefuse.build_errors.catalogue import BUILD_ERRORS
from posefuse.build_errors.draw import draw_as_built
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.errors import InputError
from posefuse.geometry.plane import PlanePose, arc_motion
from posefuse.geometry.space import SpacePose
from posefuse.motion.course import Course, Knock, Shot
from posefuse.motion.path import TruePath
from posefuse.robot.load import load_rig
from posefuse.robot.rig import Rig
from posefuse.sensing.projection import project
from posefuse.simulation.scene import Scene, prepare_scene
from posefuse.simulation.simulate import simulate, simulate_trial

ROOT = Path(__file__).parents[3]
ARENA = load_arena(ROOT / "fieldlayouts" / "orchard_court.toml")
RIG = load_rig(ROOT / "datasets" / "orchard" / "rigs" / "four_sides_tilted.toml")


def short_course(**changes: object) -> Course:
    t = np.linspace(0.0, 8.0, 81)
    angle = 2.0 * np.pi * t / 8.0
    poses = np.stack([6.6 + 2.0 * np.cos(angle), 2.2 + np.sin(angle), 0.7 * angle], axis=-1)
    course = Course(
        name="round",
        path=TruePath.through(t, poses),
        shots=(Shot(at_s=4.0, goal=ARENA.goals[0].name),),
    )
    return replace(course, **changes)


def scene(rig: Rig = RIG, course: Course | None = None, **changes: object) -> Scene:
    return prepare_scene(arena=ARENA, rig=rig, course=course or short_course(), **changes)


def flawless(rig: Rig) -> Rig:
    """The rig without noise, misses, lateness or wheel errors."""
    drivetrain = replace(
        rig.drivetrain,
        encoder_counts_per_turn=0,
        steering_std_rad=0.0,
        slip_per_m_per_s2=0.0,
        travel_std_m_per_sqrt_m=0.0,
        gyro=None,
    )
    mounts = tuple(
        replace(
            mount,
            camera=replace(
                mount.camera,
                timing=replace(mount.camera.timing, drop_rate=0.0),
                detector=replace(
                    mount.camera.detector,
                    noise_px=1e-12,
                    noise_px_per_m=0.0,
                    grazing_noise_px=0.0,
                    blur_noise=0.0,
                    inward_px=0.0,
                    shift_px=np.zeros(2),
                    miss_rate=0.0,
                    half_found_edge_px=0.0,
                    found_edge_width_px=1e-3,
                    measured=None,
                ),
            ),
        )
        for mount in rig.mounts
    )
    return replace(rig, drivetrain=drivetrain, mounts=mounts)


def test_the_same_trial_gives_the_same_bits() -> None:
    one, other = (simulate(scene(), seed=3, trial=1) for _ in range(2))
    np.testing.assert_array_equal(one.sightings.values, other.sightings.values)
    np.testing.assert_array_equal(one.odometry.twists, other.odometry.twists)
    np.testing.assert_array_equal(one.frames.arrived_at_s, other.frames.arrived_at_s)


def test_another_trial_or_seed_gives_another_run() -> None:
    base, trial, seed = (
        simulate(scene(), seed=s, trial=t).odometry.twists for s, t in ((3, 1), (3, 2), (4, 1))
    )
    assert not np.array_equal(base, trial)
    assert not np.array_equal(base, seed)


def test_rivals_share_wheels_start_and_the_noise_of_mounts_with_one_name() -> None:
    """Common random numbers: a rig with fewer cameras changes nothing for those it keeps."""
    spreads = BuildSpreads.of(mount_angle_rad=0.01, tag_position_m=0.01, clock_offset_s=0.002)
    fewer = replace(RIG, mounts=RIG.mounts[1:2])
    start_std = np.array([0.03, 0.03, 0.02])
    whole, part = (
        simulate(scene(rig, spreads=spreads, start_std=start_std), seed=5, trial=0)
        for rig in (RIG, fewer)
    )
    np.testing.assert_array_equal(whole.odometry.twists, part.odometry.twists)
    np.testing.assert_array_equal(
        whole.start.world_from_robot.values, part.start.world_from_robot.values
    )
    built = [draw_as_built(spreads, rig=rig, arena=ARENA, seed=5, trial=0) for rig in (RIG, fewer)]
    np.testing.assert_array_equal(built[0]["mount_angle_rad"][1:2], built[1]["mount_angle_rad"])
    np.testing.assert_array_equal(built[0]["tag_position_m"], built[1]["tag_position_m"])
    assert built[0]["clock_offset_s"][1] == built[1]["clock_offset_s"][0]


def test_a_flawless_run_shows_the_truth() -> None:
    """Sightings are the exact projections, wheels add up to the true path."""
    run = simulate(scene(flawless(RIG)), seed=1, trial=0)
    driven = [PlanePose(run.truth.poses[0])]
    for twist in run.odometry.twists[1:]:
        driven.append(driven[-1] @ arc_motion(twist))
    np.testing.assert_allclose(driven[-1].values, run.truth.poses[-1], atol=1e-9)
    course, tags = short_course(), {tag.id: tag for tag in ARENA.tags}
    for k in range(0, len(run.sightings.id), 97):
        frame = run.sightings.frame[k]
        mount = RIG.mounts[run.frames.sensor[frame]]
        pose = course.path.poses(run.frames.captured_at_s[frame])
        pull = course.path.accelerations(run.frames.captured_at_s[frame])[:2]
        c, s = np.cos(pose.heading_rad), np.sin(pose.heading_rad)
        forward, left = c * pull[0] + s * pull[1], -s * pull[0] + c * pull[1]
        lean = RIG.body.lean_rad_per_m_per_s2 * np.array([left, -forward])
        world_from_camera = SpacePose.from_plane(pose, lean_rad=lean) @ mount.robot_from_camera
        corners = tags[run.sightings.id[k]].corners_in_world_m
        wanted = project(world_from_camera.inverse().transform(corners), mount.camera.lens)
        np.testing.assert_allclose(run.sightings.values[k].reshape(4, 2), wanted, atol=1e-6)


def test_frames_are_sorted_and_arrive_late() -> None:
    run = simulate(scene(spreads=BuildSpreads.of(clock_offset_s=0.01)), seed=2, trial=0)
    assert (np.diff(run.frames.captured_at_s) >= 0.0).all()
    timing = RIG.mounts[0].camera.timing
    late = run.frames.arrived_at_s - run.frames.captured_at_s
    assert late.mean() == pytest.approx(timing.latency_s, abs=0.02)


def test_a_clock_offset_moves_the_stamps_and_nothing_else() -> None:
    plain = simulate(scene(), seed=2, trial=0)
    off = simulate(scene(spreads=BuildSpreads.of(clock_offset_s=0.01)), seed=2, trial=0)
    built = draw_as_built(
        BuildSpreads.of(clock_offset_s=0.01), rig=RIG, arena=ARENA, seed=2, trial=0
    )
    for index in range(len(RIG.mounts)):
        mine, other = (run.frames.sensor == index for run in (plain, off))
        moved = off.frames.captured_at_s[other] - plain.frames.captured_at_s[mine]
        np.testing.assert_allclose(moved, built["clock_offset_s"][index, 0], atol=1e-12)
        np.testing.assert_array_equal(
            off.frames.arrived_at_s[other], plain.frames.arrived_at_s[mine]
        )
    assert len(plain.sightings.id) == len(off.sightings.id)


OF_STUDY = [error.name for error in BUILD_ERRORS if not error.is_of_robot_file]


@pytest.mark.parametrize("source", OF_STUDY)
def test_each_build_error_changes_the_run(source: str) -> None:
    plain = simulate(scene(), seed=2, trial=0)
    off = simulate(scene(spreads=BuildSpreads.of(**{source: 0.01})), seed=2, trial=0)
    same_sightings = np.array_equal(plain.sightings.values, off.sightings.values)
    same_stamps = np.array_equal(plain.frames.captured_at_s, off.frames.captured_at_s)
    same_wheels = np.array_equal(plain.odometry.twists, off.odometry.twists)
    assert not (same_sightings and same_stamps and same_wheels)
    assert same_wheels is (source not in ("wheel_radius_fraction", "slip_fraction"))


def test_lost_frames_are_counted() -> None:
    timing = replace(RIG.mounts[0].camera.timing, drop_rate=0.25)
    mounts = tuple(replace(m, camera=replace(m.camera, timing=timing)) for m in RIG.mounts)
    run = simulate(scene(replace(RIG, mounts=mounts)), seed=2, trial=0)
    taken = len(run.frames.sensor) + run.dropped_frame_count
    assert run.dropped_frame_count / taken == pytest.approx(0.25, abs=0.05)


def test_a_knock_turns_its_mount_from_then_on() -> None:
    name = RIG.mounts[0].name
    knocks = (Knock(mount=name, at_s=4.0, pan_rad=np.radians(3.0)),)
    plain, knocked = (
        simulate(scene(flawless(RIG), short_course(knocks=k)), seed=1, trial=0)
        for k in ((), knocks)
    )

    def corners(run, *, before: bool) -> dict:
        frame = run.sightings.frame
        at = run.frames.captured_at_s[frame]
        mine = (run.frames.sensor[frame] == 0) & ((at < 4.0) if before else (at >= 4.0))
        keys = zip(at[mine], run.sightings.id[mine], strict=True)
        return dict(zip(keys, run.sightings.values[mine], strict=True))

    early, early_knocked = corners(plain, before=True), corners(knocked, before=True)
    assert early.keys() == early_knocked.keys()
    assert all(np.array_equal(early[k], early_knocked[k]) for k in early)
    late, late_knocked = corners(plain, before=False), corners(knocked, before=False)
    shared = late.keys() & late_knocked.keys()
    shift_px = np.mean([(late_knocked[k] - late[k]).reshape(4, 2)[:, 0].mean() for k in shared])
    focal_px = RIG.mounts[0].camera.lens.focal_px[0]
    # turned left, the camera sees the scene move right
    assert shift_px == pytest.approx(focal_px * np.radians(3.0), rel=0.25)


def test_information_stands_where_tags_were_seen() -> None:
    run = simulate_trial(scene(), seed=2, trial=0)
    seen = np.bincount(run.recording.sightings.frame, minlength=len(run.frame_information())) > 0
    has_information = np.trace(run.frame_information(), axis1=1, axis2=2) > 0.0
    np.testing.assert_array_equal(seen, has_information)


def test_nothing_to_see_is_refused() -> None:
    with pytest.raises(InputError, match=r"nothing to simulate, it has no \[\[mount\]\]"):
        scene(replace(RIG, mounts=()))
    with pytest.raises(InputError, match="nothing to see"):
        prepare_scene(arena=replace(ARENA, tags=()), rig=RIG, course=short_course())


def with_cameras(rig: Rig, part: str, **changes: object) -> Rig:
    """The rig with changes in one part of all its cameras."""
    return replace(
        rig,
        mounts=tuple(
            replace(
                mount,
                camera=replace(
                    mount.camera, **{part: replace(getattr(mount.camera, part), **changes)}
                ),
            )
            for mount in rig.mounts
        ),
    )


def test_no_frame_arrives_in_an_outage_and_rivals_share_it() -> None:
    """Frames are lost in whole stretches, the same beside whatever other mounts, and counted."""
    failing = with_cameras(RIG, "timing", outages_per_minute=20.0, outage_s=0.5, drop_rate=0.0)
    whole = simulate_trial(scene(failing), seed=4, trial=0)
    steady = simulate_trial(scene(with_cameras(RIG, "timing", drop_rate=0.0)), seed=4, trial=0)
    alone = simulate_trial(scene(replace(failing, mounts=failing.mounts[1:2])), seed=4, trial=0)
    lost = len(steady.frame_order) - len(whole.frame_order)
    assert whole.recording.dropped_frame_count == lost > 30
    numbers = []
    for trial, mount in ((whole, 1), (alone, 0)):
        views = trial.scene.views
        own = trial.frame_order[views.camera[trial.frame_order] == mount]
        numbers.append(np.sort(views.number[own]))
    np.testing.assert_array_equal(*numbers)
    gaps = np.diff(numbers[0])
    assert (gaps > 1).sum() >= 1
    assert (gaps > 1).sum() < 0.2 * (gaps.sum() - len(gaps))


def test_false_ids_and_wrong_corners_reach_the_recording() -> None:
    faulty = with_cameras(RIG, "detector", false_id_rate=0.1, wrong_corners_rate=0.1)
    plain, spoilt = (simulate(scene(rig), seed=4, trial=0).sightings for rig in (RIG, faulty))
    count = len(plain.id)
    assert count - 0.02 * count < len(spoilt.id) <= count
    known = {tag.id for tag in ARENA.tags}
    assert set(spoilt.id.tolist()) <= known
    before = {tuple(row) for row in plain.values.tolist()}
    same = np.array([tuple(row) in before for row in spoilt.values.tolist()])
    assert same.mean() == pytest.approx(0.9, abs=0.03)
    ids = {tuple(row): id for row, id in zip(plain.values.tolist(), plain.id, strict=True)}
    read = np.array(
        [
            ids[tuple(row)] != id
            for row, id, is_same in zip(spoilt.values.tolist(), spoilt.id, same, strict=True)
            if is_same
        ]
    )
    assert read.mean() == pytest.approx(0.1, abs=0.03)
