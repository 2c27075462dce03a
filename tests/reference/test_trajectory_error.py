"""Alignment and trajectory errors against published examples and worked numbers."""

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.fusion.estimate import Estimate, Innovations
from posefuse.geometry.plane import PlanePose
from posefuse.recording.recording import Truth
from posefuse.scoring.trajectory import align, relative_errors, trajectory_scores

TRUTH = np.array([[0, 0, 0], [1, 0, 0], [2, 0, 45], [2, 1, 90], [2, 2, 90]], dtype=float)
OFF = np.array([[0, 0, 0], [0, 0.1, 1], [0, -0.1, 2], [0.1, 0, 3], [-0.1, 0, 4]])
TRUTH[:, 2], OFF[:, 2] = np.radians(TRUTH[:, 2]), np.radians(OFF[:, 2])
"""A worked case; the figures below were computed from the plain formulas and by an independent
implementation of the absolute and relative errors of Sturm et al., IROS 2012."""


def no_innovations():
    empty = np.zeros(0, dtype=np.int64)
    return Innovations(frame=empty, sighting=empty, outcome=empty, nis=np.zeros(0), dof=empty)


def estimate(poses, *, stamps_s):
    count = len(stamps_s)
    return Estimate(
        stamps_s=stamps_s,
        poses=poses,
        covs=np.tile(np.eye(3), (count, 1, 1)),
        innovations=no_innovations(),
    )


@pytest.mark.parametrize(
    ("with_scale", "shift_m", "scale", "mean_square"),
    [
        (True, (-0.8, 0.4), 0.7211103, 0.5333333),
        (False, (-0.9804836, 0.2968665), 1.0, 0.6197549),
    ],
)
def test_the_small_example_of_the_paper_does_not_come_out_mirrored(
    with_scale, shift_m, scale, mean_square
):
    # S. Umeyama, TPAMI 13(4), 1991 (its points from memory); the figures are those of
    # skimage.transform's similarity and rigid estimates
    source = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 2.0]])
    target = np.array([[0.0, 0.0], [-1.0, 0.0], [0.0, 2.0]])
    alignment = align(source, target, with_scale=with_scale)
    assert alignment.rotation == pytest.approx(
        np.array([[0.8320503, 0.5547002], [-0.5547002, 0.8320503]]), abs=1e-7
    )
    assert alignment.shift_m == pytest.approx(shift_m, abs=1e-7)
    assert alignment.scale == pytest.approx(scale, abs=1e-7)
    error = ((alignment.apply(source) - target) ** 2).sum(axis=1).mean()
    assert error == pytest.approx(mean_square, abs=1e-7)


def test_points_in_space_are_aligned_as_gtsam_tests_it():
    # gtsam geometry/tests/testSimilarity3.cpp: Rz(-90), t (3, 4, 5), s 2, there s (R p + t)
    source = np.array([[0.0, 0.0, 0.0], [3.0, 0.0, 0.0], [3.0, 0.0, 4.0]])
    turn = np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    target = 2.0 * (source @ turn.T + [3.0, 4.0, 5.0])
    alignment = align(source, target, with_scale=True)
    assert alignment.rotation == pytest.approx(turn, abs=1e-12)
    assert alignment.shift_m == pytest.approx([6.0, 8.0, 10.0])
    assert alignment.scale == pytest.approx(2.0)


def test_relative_errors_of_the_worked_case():
    errors = relative_errors(estimated=PlanePose(TRUTH + OFF), truth=PlanePose(TRUTH), step=1)
    lengths = np.hypot(errors[:, 0], errors[:, 1])
    assert lengths == pytest.approx([0.1, 0.2174525, 0.1682857, 0.1476704], abs=1e-7)
    assert np.sqrt((lengths**2).mean()) == pytest.approx(0.1638690, abs=1e-7)
    assert np.degrees(errors[:, 2]) == pytest.approx(np.ones(4))


def test_absolute_errors_of_the_worked_case_turned_and_moved():
    c, s = np.cos(np.radians(20.0)), np.sin(np.radians(20.0))
    poses = TRUTH + OFF
    poses[:, :2] = poses[:, :2] @ np.array([[c, -s], [s, c]]).T + [3.0, -1.0]
    poses[:, 2] += np.radians(20.0)
    off = np.hypot(*(poses - TRUTH)[:, :2].T)
    assert np.sqrt((off**2).mean()) == pytest.approx(2.7962602, abs=1e-7)
    alignment = align(poses[:, :2], TRUTH[:, :2])
    angle = np.degrees(np.arctan2(alignment.rotation[1, 0], alignment.rotation[0, 0]))
    assert angle == pytest.approx(-20.0, abs=5e-3)
    assert alignment.shift_m == pytest.approx([-2.477057719, 1.965753051], abs=1e-6)
    stamps_s = np.arange(5.0)
    scores = trajectory_scores(
        estimate=estimate(poses, stamps_s=stamps_s), truth=Truth(stamps_s=stamps_s, poses=TRUTH)
    )
    assert scores.aligned_position_rms_m == pytest.approx(0.0894427, abs=1e-7)
    assert np.degrees(scores.turn_rad) == pytest.approx(-20.0, abs=5e-3)
    assert scores.piece_position_rms_m == pytest.approx(0.1638690, abs=1e-7)
    assert np.degrees(scores.piece_heading_rms_rad) == pytest.approx(1.0)


def test_what_is_not_known_is_left_out():
    stamps_s = np.arange(5.0)
    run = estimate(TRUTH + OFF, stamps_s=stamps_s)
    positions = Truth(stamps_s=stamps_s, poses=TRUTH * [1, 1, 0], has_heading=False)
    scores = trajectory_scores(estimate=run, truth=positions)
    assert scores.aligned_position_rms_m < 0.09
    assert scores.piece_position_rms_m is None
    lone = Truth(stamps_s=stamps_s[:1], poses=TRUTH[:1])
    assert trajectory_scores(estimate=run, truth=lone) is None


def test_too_few_or_unlike_points_are_refused():
    with pytest.raises(InputError, match="2 points or more"):
        align(np.zeros((1, 2)), np.zeros((1, 2)))
    with pytest.raises(InputError, match="of one shape"):
        align(np.zeros((3, 2)), np.zeros((4, 2)))
