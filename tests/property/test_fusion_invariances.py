"""What must not change a filter's estimate: when frames arrive, where the world's origin lies."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fusion_runs import Made, make_run_of, settings_for, with_frames
from posefuse.arena.arena import Arena
from posefuse.checks import FloatArray
from posefuse.fusion.estimate import Estimate
from posefuse.fusion.fuse import fuse
from posefuse.fusion.settings import Measurement
from posefuse.geometry.angles import angle_difference_rad
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.recording.recording import Recording, SightingKind, StartPose

MEASUREMENTS = st.sampled_from(list(Measurement))
ROWS = 61


def estimate_of(made: Made, measurement: Measurement, **changes: object) -> Estimate:
    chosen = settings_for(measurement, **changes)
    return fuse(made.recording, rig=made.rig, arena=made.arena, settings=chosen)


@given(
    measurement=MEASUREMENTS,
    seed=st.integers(0, 30),
    most_late_s=st.floats(0.0, 0.4),
    late_seed=st.integers(0, 10_000),
)
@settings(max_examples=25)
def test_late_frames_put_back_give_the_in_time_estimate(
    measurement: Measurement, seed: int, most_late_s: float, late_seed: int
) -> None:
    made = make_run_of(measurement.sighting_kind, seed=seed, rows=ROWS)
    captured = made.recording.frames.captured_at_s
    late = np.random.default_rng(late_seed).uniform(0.0, most_late_s, len(captured))
    # all have arrived by the last row
    last_s = made.recording.odometry.stamps_s[-1]
    late = np.minimum(late, last_s - captured)
    in_time, too_late = (
        replace(made, recording=with_frames(made.recording, arrived_at_s=captured + wait))
        for wait in (np.zeros_like(captured), late)
    )
    expected = estimate_of(in_time, measurement)
    actual = estimate_of(too_late, measurement)
    np.testing.assert_array_equal(actual.poses[-1], expected.poses[-1])
    np.testing.assert_array_equal(actual.covs[-1], expected.covs[-1])
    np.testing.assert_array_equal(actual.innovations.nis, expected.innovations.nis)


def moved_arena(arena: Arena, world_from_old: PlanePose) -> Arena:
    lifted = SpacePose.from_plane(world_from_old)
    return replace(
        arena,
        tags=tuple(replace(t, world_from_tag=lifted @ t.world_from_tag) for t in arena.tags),
        beacons=tuple(
            replace(b, position_in_world_m=lifted.transform(b.position_in_world_m))
            for b in arena.beacons
        ),
    )


def moved_start(recording: Recording, world_from_old: PlanePose) -> Recording:
    start = recording.start
    assert start is not None
    turn = turning(world_from_old)
    moved = StartPose(
        world_from_robot=world_from_old @ start.world_from_robot,
        cov=turn @ start.cov @ turn.T,
    )
    return replace(recording, start=moved)


def turning(pose: PlanePose) -> FloatArray:
    c, s = np.cos(pose.heading_rad), np.sin(pose.heading_rad)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


@given(
    measurement=MEASUREMENTS,
    seed=st.integers(0, 30),
    shift=st.tuples(st.floats(-50.0, 50.0), st.floats(-50.0, 50.0), st.floats(-10.0, 10.0)),
)
@settings(max_examples=25)
def test_moving_the_world_moves_the_estimate(
    measurement: Measurement, seed: int, shift: tuple[float, float, float]
) -> None:
    made = make_run_of(measurement.sighting_kind, seed=seed, rows=ROWS)
    world_from_old = PlanePose(shift)
    moved = replace(
        made,
        recording=moved_start(made.recording, world_from_old),
        arena=moved_arena(made.arena, world_from_old),
    )
    before = estimate_of(made, measurement, gate_probability=None)
    after = estimate_of(moved, measurement, gate_probability=None)
    expected = (world_from_old @ PlanePose(before.poses)).values
    np.testing.assert_allclose(after.poses[:, :2], expected[:, :2], atol=1e-6)
    turn = angle_difference_rad(after.poses[:, 2], expected[:, 2])
    np.testing.assert_allclose(turn, 0.0, atol=1e-7)
    axes = turning(world_from_old)
    np.testing.assert_allclose(after.covs, axes @ before.covs @ axes.T, atol=1e-8)


@given(seed=st.integers(0, 200))
@settings(max_examples=25)
def test_covariances_stay_symmetric_and_positive(seed: int) -> None:
    made = make_run_of(SightingKind.CORNERS, seed=seed, rows=ROWS)
    covs = estimate_of(made, Measurement.CORNERS).covs
    np.testing.assert_array_equal(covs, np.swapaxes(covs, 1, 2))
    assert (np.linalg.eigvalsh(covs) > 0.0).all()
