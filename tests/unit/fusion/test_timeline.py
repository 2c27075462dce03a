"""Which row a frame belongs to, when it is known, and which frames take no part."""

import numpy as np
import pytest

from fusion_runs import arcs_of
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.settings import FilterSettings, LateFrames, ProcessNoise
from posefuse.fusion.timeline import (
    Timeline,
    make_timeline,
    odometry_poses,
    rows_at_or_before,
    step_variances,
)
from posefuse.geometry.plane import PlanePose
from posefuse.recording.recording import Frames, Odometry

TWISTS = np.array([[0.0, 0.0, 0.0], [0.1, 0.02, 0.3], [0.2, -0.05, -0.4], [0.1, 0.0, 0.0]])
ODOMETRY = Odometry(stamps_s=np.array([10.0, 10.5, 11.0, 12.0]), twists=TWISTS)


def timeline_of(
    captured: list[float], arrived: list[float], *, first_row: int = 0, **changes: object
) -> Timeline:
    frames = Frames(
        sensor=np.zeros(len(captured), dtype=np.int64),
        captured_at_s=np.array(captured),
        arrived_at_s=np.array(arrived),
    )
    settings = FilterSettings(**{"history_s": 5.0, **changes})
    return make_timeline(ODOMETRY, frames, settings=settings, first_row=first_row)


def test_a_frame_belongs_to_the_nearest_row_the_later_of_two() -> None:
    captured = [10.0, 10.2, 10.25, 10.3, 11.4, 11.5, 12.0]
    timeline = timeline_of(captured, [12.0] * 7)
    assert timeline.frame_row.tolist() == [0, 0, 1, 1, 2, 3, 3]


def test_it_is_known_at_the_first_row_at_or_after_its_arrival() -> None:
    timeline = timeline_of([10.0, 10.1, 10.1, 10.2], [10.0, 10.5, 10.6, 11.2])
    assert timeline.frame_arrival.tolist() == [0, 1, 2, 3]


def test_the_offset_is_a_share_of_the_twist_around_the_capture() -> None:
    timeline = timeline_of([10.1, 10.4, 11.25], [12.0] * 3)
    shares = np.array([0.2 * TWISTS[1], -0.2 * TWISTS[1], 0.25 * TWISTS[3]])
    np.testing.assert_allclose(timeline.offsets[:, :3], arcs_of(shares), atol=1e-15)
    turns = timeline.offsets[:, 2]
    np.testing.assert_allclose(timeline.offsets[:, 3], np.cos(turns), atol=1e-15)
    np.testing.assert_allclose(timeline.offsets[:, 4], np.sin(turns), atol=1e-15)


def test_forward_and_backward_offsets_meet_between_two_rows() -> None:
    """Half a twist on from one row is half a twist back from the next."""
    timeline = timeline_of([10.2499999, 10.25], [12.0, 12.0])
    motion = PlanePose(timeline.motions[1, :3])
    forward, backward = (PlanePose(offset) for offset in timeline.offsets[:, :3])
    np.testing.assert_allclose(forward.values, (motion @ backward).values, atol=1e-6)


@pytest.mark.parametrize("turn_rad", [0.0, 1e-9, 0.1, 0.249, 0.251, 2.0, -3.0])
def test_motions_are_those_of_the_geometry_room(turn_rad: float) -> None:
    twists = np.array([[0.0, 0.0, 0.0], [0.3, -0.2, turn_rad]])
    odometry = Odometry(stamps_s=np.array([0.0, 1.0]), twists=twists)
    frames = Frames(
        sensor=np.zeros(0, dtype=np.int64), captured_at_s=np.zeros(0), arrived_at_s=np.zeros(0)
    )
    motions = make_timeline(odometry, frames, settings=FilterSettings()).motions
    np.testing.assert_allclose(motions[:, :3], arcs_of(twists), atol=1e-15)


def test_frames_outside_the_run() -> None:
    timeline = timeline_of([9.9, 10.4, 11.9, 12.1], [10.5, 12.1, 11.95, 12.1])
    assert timeline.outcome.tolist() == [
        Outcome.OUTSIDE_RUN,
        Outcome.OUTSIDE_RUN,
        Outcome.FUSED,
        Outcome.OUTSIDE_RUN,
    ]


def test_frames_beyond_the_history_are_too_late() -> None:
    timeline = timeline_of([10.1, 10.6], [11.0, 11.0], history_s=0.5)
    assert timeline.outcome.tolist() == [Outcome.TOO_LATE, Outcome.FUSED]


def test_the_history_counts_from_capture_to_arrival_however_rare_the_rows() -> None:
    """The second one is known half a second after its capture, but arrived after 0.35 s."""
    timeline = timeline_of([10.05, 10.55, 11.1], [10.5, 10.9, 11.4], history_s=0.4)
    assert timeline.outcome.tolist() == [Outcome.TOO_LATE, Outcome.FUSED, Outcome.FUSED]


def test_a_clock_that_runs_ahead_makes_a_frame_wait_for_its_stamp() -> None:
    timeline = timeline_of([10.6, 10.9, 11.0], [10.5, 10.5, 10.5])
    # 10.6 lies after row 1: its offset needs the twist of row 2; 10.9 belongs to row 2
    assert timeline.frame_row.tolist() == [1, 2, 2]
    assert timeline.frame_arrival.tolist() == [2, 2, 2]


def test_as_current_puts_a_frame_at_its_arrival() -> None:
    timeline = timeline_of([10.1, 10.2], [11.2, 10.4], late_frames=LateFrames.AS_CURRENT)
    assert timeline.frame_row.tolist() == [3, 1]
    assert timeline.frame_arrival.tolist() == [3, 1]
    np.testing.assert_array_equal(timeline.offsets[:, :3], 0.0)


def test_drop_throws_old_frames_away() -> None:
    timeline = timeline_of(
        [10.1, 10.2], [10.2, 10.4], late_frames=LateFrames.DROP, drop_older_than_s=0.15
    )
    assert timeline.outcome.tolist() == [Outcome.FUSED, Outcome.TOO_LATE]


def test_frames_before_the_first_row_belong_to_it_and_lead_back_along_the_odometry() -> None:
    timeline = timeline_of([10.1, 10.6, 11.2], [11.4, 10.6, 12.0], first_row=2)
    assert timeline.frame_row.tolist() == [2, 2, 2]
    assert timeline.frame_arrival.tolist() == [3, 2, 3]
    step = [PlanePose(arcs_of(twist)) for twist in TWISTS]
    first = PlanePose(arcs_of(0.2 * TWISTS[1]))
    second = step[1] @ PlanePose(arcs_of(0.2 * TWISTS[2]))
    end = step[1] @ step[2]
    for row, captured in enumerate([first, second]):
        back = (end.inverse() @ captured).values
        np.testing.assert_allclose(timeline.offsets[row, :3], back, atol=1e-15)
        turn = np.array([np.cos(back[2]), np.sin(back[2])])
        np.testing.assert_allclose(timeline.offsets[row, 3:], turn, atol=1e-15)
    np.testing.assert_allclose(timeline.offsets[2, :3], arcs_of(0.2 * TWISTS[3]), atol=1e-15)


def test_odometry_poses_chain_the_twists() -> None:
    times = np.array([10.0, 10.25, 10.5, 10.75, 11.0, 11.5, 12.0])
    steps = [PlanePose(arcs_of(0.5 * TWISTS[row])) for row in (1, 1, 2, 2, 3, 3)]
    expected = [PlanePose.identity()]
    for step in steps:
        expected.append(expected[-1] @ step)
    poses = odometry_poses(ODOMETRY, times)
    np.testing.assert_allclose(poses, [pose.values for pose in expected], atol=1e-14)


def test_rows_are_found_for_times_in_any_order() -> None:
    stamps = np.sort(np.random.default_rng(1).uniform(0.0, 1.0, 50))
    times = np.random.default_rng(2).uniform(-0.1, 1.1, 300)
    expected = np.searchsorted(stamps, times, side="right") - 1
    np.testing.assert_array_equal(rows_at_or_before(stamps, times), expected)


def test_step_variances_add_travel_turn_and_time() -> None:
    process = ProcessNoise(
        position_m_per_sqrt_m=0.1,
        position_m_per_sqrt_s=0.2,
        heading_rad_per_sqrt_rad=0.3,
        heading_rad_per_sqrt_m=0.4,
        heading_rad_per_sqrt_s=0.5,
    )
    twists = np.array([[0.0, 0.0, 0.0], [3.0, -4.0, -2.0]])
    variances = step_variances(Odometry(stamps_s=np.array([1.0, 1.5]), twists=twists), process)
    np.testing.assert_allclose(variances[0], 0.0)
    np.testing.assert_allclose(
        variances[1], [0.01 * 5.0 + 0.04 * 0.5, 0.09 * 2.0 + 0.16 * 5.0 + 0.25 * 0.5]
    )
