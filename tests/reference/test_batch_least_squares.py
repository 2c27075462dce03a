"""The filter against least squares over the whole run at once."""

import itertools
from importlib.util import find_spec

import numpy as np
import pytest
from scipy.optimize import least_squares

from posefuse.checks import FloatArray
from posefuse.fusion.compiled_filter import filter_compiled
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.geometry.plane import PlanePose, arc_twist
from textbook_runs import ConstantVelocity, hand_made_run

STEP = np.array([1.0, 0.0, np.radians(30.0)])
PRIOR_STD = np.array([0.1, 0.1, 0.05])
FIX_STD = np.array([0.08, 0.08, 0.06])
FIXES = {1: np.array([1.05, 0.02, 0.50]), 3: np.array([2.30, 1.45, 1.60])}


def off_by(expected: FloatArray, actual: FloatArray) -> FloatArray:
    """The twist (logarithm of SE(2)) from the pose ``expected`` to ``actual``."""
    return arc_twist((PlanePose(expected).inverse() @ PlanePose(actual)).wrapped())


def pose_graph(step_std: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Poses (4, 3), covariance of the last in its own axes, and half the squared error.

    Every factor's error is expressed in the axes of the pose it binds.
    """

    def errors(flat: FloatArray) -> FloatArray:
        poses = flat.reshape(-1, 3)
        rows = [off_by(np.zeros(3), poses[0]) / PRIOR_STD]
        for before, after in itertools.pairwise(poses):
            driven = (PlanePose(before) @ PlanePose(STEP)).values
            rows.append(off_by(driven, after) / step_std)
        rows += [off_by(fix, poses[k]) / FIX_STD for k, fix in FIXES.items()]
        return np.concatenate(rows)

    guess = [np.zeros(3)]
    for _ in range(3):
        guess.append((PlanePose(guess[-1]) @ PlanePose(STEP)).values)
    found = least_squares(errors, np.concatenate(guess), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    cov = np.linalg.inv(found.jac.T @ found.jac)[-3:, -3:]
    c, s = np.cos(found.x[-1]), np.sin(found.x[-1])
    axes = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    return found.x.reshape(-1, 3), axes @ cov @ axes.T, float(found.cost)


def test_the_batch_solution_is_gtsam_s() -> None:
    """The optimum of this graph by GTSAM 4.3.0."""
    poses, cov, cost = pose_graph(np.array([0.05, 0.03, 0.02]))
    expected = [
        [0.00582836, 0.01444429, 0.01390618],
        [1.00796098, 0.03066804, 0.53915510],
        [1.86057523, 0.54662594, 1.06645748],
        [2.33831392, 1.43008624, 1.59105622],
    ]
    np.testing.assert_allclose(poses, expected, atol=2e-6)
    assert cost == pytest.approx(0.6409559409, abs=1e-6)
    np.testing.assert_allclose(np.sqrt(np.diag(cov)), [0.064224, 0.060246, 0.033740], atol=2e-6)


@pytest.mark.skipif(find_spec("gtsam") is None, reason="gtsam is not installed")
def test_and_gtsam_itself_agrees_where_steps_spread_alike() -> None:
    import gtsam

    graph, guess = gtsam.NonlinearFactorGraph(), gtsam.Values()

    def spread(std: FloatArray) -> object:
        return gtsam.noiseModel.Diagonal.Sigmas(std)

    graph.add(gtsam.PriorFactorPose2(0, gtsam.Pose2(0, 0, 0), spread(PRIOR_STD)))
    pose = PlanePose(np.zeros(3))
    for k in range(4):
        guess.insert(k, gtsam.Pose2(*pose.values))
        pose = pose @ PlanePose(STEP)
        if k < 3:
            std = spread(np.array([0.04, 0.04, 0.02]))
            graph.add(gtsam.BetweenFactorPose2(k, k + 1, gtsam.Pose2(*STEP), std))
    for k, fix in FIXES.items():
        graph.add(gtsam.PriorFactorPose2(k, gtsam.Pose2(*fix), spread(FIX_STD)))
    best = gtsam.LevenbergMarquardtOptimizer(graph, guess).optimize()
    poses, _, cost = pose_graph(np.array([0.04, 0.04, 0.02]))
    for k in range(4):
        found = best.atPose2(k)
        np.testing.assert_allclose(poses[k], [found.x(), found.y(), found.theta()], atol=1e-4)
    assert cost == pytest.approx(graph.error(best), abs=1e-6)


def test_one_pass_of_the_filter_comes_close_to_the_last_pose() -> None:
    std = np.array([0.04, 0.04, 0.02])
    rows = np.array(list(FIXES))
    filter_input = hand_made_run(
        twists=np.concatenate([np.zeros((1, 3)), np.tile(arc_twist(PlanePose(STEP)), (3, 1))]),
        step_vars=np.tile(std[1:] ** 2, (4, 1)),
        start=np.zeros(3),
        start_cov=np.diag(PRIOR_STD**2),
        captured_row=rows,
        arrived_row=rows,
        poses=np.array(list(FIXES.values())),
        covs=np.tile(np.diag(FIX_STD**2), (2, 1, 1)),
    )
    estimate = filter_compiled(filter_input)
    poses, cov, _ = pose_graph(std)
    off = estimate.poses[-1] - poses[-1]
    assert np.hypot(*off[:2]) < 0.003
    assert abs(wrap_angle_rad(off[2])) < 0.001
    heading_std = np.sqrt(estimate.covs[-1, 2, 2])
    assert heading_std == pytest.approx(np.sqrt(cov[2, 2]), rel=0.01)
    spread = np.sqrt(np.trace(estimate.covs[-1, :2, :2]))
    assert spread == pytest.approx(np.sqrt(np.trace(cov[:2, :2])), rel=0.02)


def test_of_a_linear_run_filter_and_batch_are_the_same() -> None:
    """The golden case of ``test_kalman_textbook``: normal equations over all five states."""
    values = np.array([1.1, 1.9, 3.2, 3.9, 5.3])
    track = ConstantVelocity(
        kicks=tuple((0.5 + side * 0.5 / np.sqrt(3.0), 0.05) for side in (1.0, -1.0))
    )
    filter_input = track.run(
        steps=4,
        start=np.zeros(2),
        start_cov=np.diag([10.0, 4.0]),
        values=values,
        variance=0.25,
    )
    states, covs = track.track(filter_compiled(filter_input))
    step = np.array([[1.0, 1.0], [0.0, 1.0]])
    spread = np.linalg.inv(0.1 * np.array([[1 / 3, 1 / 2], [1 / 2, 1.0]]))
    matrix, vector = np.zeros((10, 10)), np.zeros(10)
    matrix[:2, :2] = np.diag([0.1, 0.25])
    for k in range(5):
        matrix[2 * k, 2 * k] += 4.0
        vector[2 * k] = 4.0 * values[k]
    for k in range(4):
        pair = np.concatenate([-step, np.eye(2)], axis=1)
        both = slice(2 * k, 2 * k + 4)
        matrix[both, both] += pair.T @ spread @ pair
    np.testing.assert_allclose(states[-1], np.linalg.solve(matrix, vector)[-2:], atol=2e-8)
    np.testing.assert_allclose(covs[-1], np.linalg.inv(matrix)[-2:, -2:], atol=2e-8)
