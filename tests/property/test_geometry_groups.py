"""Group laws of poses, with angles at the seams included."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from posefuse.geometry.angles import angle_difference_rad, wrap_angle_rad
from posefuse.geometry.plane import PlanePose, arc_motion, arc_twist, plane_motion_jacobians
from posefuse.geometry.space import SpacePose, pan_tilt_roll

SEAMS = [
    edge
    for k in (-3, -1, 0, 1, 3)
    for edge in (
        k * math.pi,
        math.nextafter(k * math.pi, -math.inf),
        math.nextafter(k * math.pi, math.inf),
    )
]
angles = st.one_of(st.floats(-50.0, 50.0), st.sampled_from(SEAMS))
lengths = st.floats(-100.0, 100.0)
poses2 = st.builds(lambda x, y, a: PlanePose([x, y, a]), lengths, lengths, angles)
poses3 = st.builds(
    lambda p, t, r, x, y, z: SpacePose.from_parts(pan_tilt_roll(p, t, r), [x, y, z]),
    angles,
    angles,
    angles,
    lengths,
    lengths,
    lengths,
)


@given(angles)
def test_wrapping_stays_in_range_and_keeps_the_direction(angle_rad: float) -> None:
    wrapped = float(wrap_angle_rad(angle_rad))
    assert -math.pi <= wrapped < math.pi
    assert math.cos(wrapped) == pytest.approx(math.cos(angle_rad), abs=1e-12)
    assert math.sin(wrapped) == pytest.approx(math.sin(angle_rad), abs=1e-12)


@given(angles, angles)
def test_difference_leads_back(a_rad: float, b_rad: float) -> None:
    turn = float(angle_difference_rad(a_rad, b_rad))
    assert math.cos(b_rad + turn) == pytest.approx(math.cos(a_rad), abs=1e-9)


@given(poses2, poses2, poses2)
def test_plane_poses_are_a_group(a: PlanePose, b: PlanePose, c: PlanePose) -> None:
    np.testing.assert_allclose(((a @ b) @ c).values, (a @ (b @ c)).values, atol=1e-9)
    np.testing.assert_allclose((a @ a.inverse()).values, np.zeros(3), atol=1e-9)
    np.testing.assert_allclose((a.inverse() @ a).values, np.zeros(3), atol=1e-9)


@given(poses3, poses3, poses3)
def test_space_poses_are_a_group(a: SpacePose, b: SpacePose, c: SpacePose) -> None:
    np.testing.assert_allclose(((a @ b) @ c).matrix, (a @ (b @ c)).matrix, atol=1e-9)
    np.testing.assert_allclose((a @ a.inverse()).matrix, np.eye(4), atol=1e-9)


@given(poses2, poses2)
def test_plane_and_space_agree(a: PlanePose, b: PlanePose) -> None:
    in_space = (SpacePose.from_plane(a) @ SpacePose.from_plane(b)).to_plane()
    np.testing.assert_allclose(in_space.xy_m, (a @ b).xy_m, atol=1e-9)
    off = angle_difference_rad(in_space.heading_rad, (a @ b).heading_rad)
    np.testing.assert_allclose(off, 0.0, atol=1e-9)


@given(lengths, lengths, st.floats(-6.0, 6.0))
def test_twist_of_an_arc_is_the_arc_s_twist(forward: float, left: float, turn: float) -> None:
    twist = np.array([forward, left, turn])
    np.testing.assert_allclose(arc_twist(arc_motion(twist)), twist, atol=1e-7)


@given(poses2, st.floats(-3.0, 3.0), st.floats(-3.0, 3.0), st.floats(-3.0, 3.0))
def test_two_half_arcs_make_the_whole(
    start: PlanePose, forward: float, left: float, turn: float
) -> None:
    twist = np.array([forward, left, turn])
    halves = start @ arc_motion(twist / 2) @ arc_motion(twist / 2)
    np.testing.assert_allclose(halves.values, (start @ arc_motion(twist)).values, atol=1e-9)


@given(poses2, st.floats(-2.0, 2.0), st.floats(-2.0, 2.0), st.floats(-2.0, 2.0))
def test_motion_jacobians_are_the_differences(
    start: PlanePose, x: float, y: float, a: float
) -> None:
    motion = np.array([x, y, a])
    by_pose, by_motion = plane_motion_jacobians(start, PlanePose(motion))
    step = 1e-6
    for axis in range(3):
        push = np.zeros(3)
        push[axis] = step
        up = (PlanePose(start.values + push) @ PlanePose(motion)).values
        down = (PlanePose(start.values - push) @ PlanePose(motion)).values
        np.testing.assert_allclose((up - down) / (2 * step), by_pose[:, axis], atol=1e-5)
        up = (start @ PlanePose(motion + push)).values
        down = (start @ PlanePose(motion - push)).values
        np.testing.assert_allclose((up - down) / (2 * step), by_motion[:, axis], atol=1e-5)
