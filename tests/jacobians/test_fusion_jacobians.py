"""Every measurement model of the filters: derivatives against central differences."""

from dataclasses import replace

import numpy as np
import pytest

from fusion_runs import make_arena, make_rig
from posefuse.checks import FloatArray
from posefuse.fusion.arrays import MeasurementArrays, StepArrays
from posefuse.fusion.compiled.filter import BEACONS, CORNERS
from posefuse.fusion.compiled.models import (
    beacon_information,
    corner_information,
    move_camera,
    move_sensor,
    pose_information,
)
from posefuse.fusion.compiled.state import correct, nis, posterior, predict
from posefuse.fusion.compiled_filter import camera_row, tag_row
from posefuse.fusion.reference_filter import FilterState
from posefuse.fusion.reference_filter import predict as predict_reference
from posefuse.fusion.reference_models import BeaconModel, CornersModel, MeasurementModel, PoseModel
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose

ARENA, RIG = make_arena(), make_rig()
TAG = ARENA.tags[2]
POSE = np.array([4.1, 2.3, 0.7])
OFFSETS = {"at the row": np.zeros(3), "after it": np.array([0.03, -0.02, 0.05])}
SPREADS = {
    "corners": np.full(8, 0.3**2),
    "range and bearing": np.array([0.1**2, 0.02**2]),
    "range": np.array([0.1**2]),
    "pose": np.array([0.03, 0.02, 0.01]) ** 2,
}


def corners_seen(offset: FloatArray) -> CornersModel:
    """Camera 0's view of a tag, some px off from what is expected."""
    mount = RIG.mounts[0]
    model = CornersModel(
        values=np.zeros(8),
        cov=np.diag(SPREADS["corners"]),
        corners_in_world_m=TAG.corners_in_world_m,
        robot_from_camera=mount.robot_from_camera,
        focal_px=mount.camera.lens.focal_px,
        row_from_capture=PlanePose(offset),
    )
    off = 0.4 * np.sin(np.arange(8.0))
    return replace(model, values=model.expected(POSE) + off)


def beacon_heard(offset: FloatArray, width: int) -> BeaconModel:
    """Ranger 1 hearing beacon 2, somewhat off from what is expected."""
    name = "range and bearing" if width == 2 else "range"
    return BeaconModel(
        values=np.array([9.4, 0.11])[:width],
        cov=np.diag(SPREADS[name]),
        beacon_in_world_m=ARENA.beacons[2].position_in_world_m,
        ranger_in_robot_m=RIG.rangers[1].position_in_robot_m,
        row_from_capture=PlanePose(offset),
    )


def model_of(name: str, offset: FloatArray) -> MeasurementModel:
    if name == "corners":
        return corners_seen(offset)
    if name == "pose":
        measured = (PlanePose(POSE) @ PlanePose(offset)).values + np.array([0.02, -0.01, 6.29])
        return PoseModel.carried_back(
            measured, np.diag(SPREADS["pose"]), row_from_capture=PlanePose(offset), misfit=0.0
        )
    return beacon_heard(offset, 2 if name == "range and bearing" else 1)


def information_of(model: MeasurementModel) -> FloatArray:
    """``A`` (upper half), ``b`` and ``c`` as the compiled filter keeps them."""
    jacobian, weight = model.jacobian(POSE), np.linalg.inv(model.cov)
    off = model.residual(model.values, model.expected(POSE))
    full = jacobian.T @ weight @ jacobian
    return np.concatenate(
        [full[np.triu_indices(3)], jacobian.T @ weight @ off, [off @ weight @ off]]
    )


def measured_corners(values: FloatArray, weights: FloatArray) -> MeasurementArrays:
    """Camera 0 seeing the tag."""
    return MeasurementArrays(
        kind=CORNERS,
        solutions=np.empty((0, 2, 9)),
        values=values,
        weights=weights,
        target=np.zeros(1, dtype=np.int64),
        targets=tag_row(TAG)[None],
        sensor=np.zeros(1, dtype=np.int64),
        sensors=camera_row(RIG.mounts[0])[None],
    )


def measured_beacon(values: FloatArray, weights: FloatArray) -> MeasurementArrays:
    """Ranger 1 hearing beacon 2."""
    return MeasurementArrays(
        kind=BEACONS,
        solutions=np.empty((0, 2, 9)),
        values=values,
        weights=weights,
        target=np.zeros(1, dtype=np.int64),
        targets=ARENA.beacons[2].position_in_world_m[None],
        sensor=np.zeros(1, dtype=np.int64),
        sensors=np.array([[*RIG.rangers[1].position_in_robot_m, 0.0]]),
    )


CASES = [(name, place) for name in SPREADS for place in OFFSETS]


@pytest.mark.parametrize(("name", "place"), CASES)
def test_models_against_central_differences(name: str, place: str) -> None:
    model, step = model_of(name, OFFSETS[place]), 1e-6
    numeric = np.stack(
        [
            (model.expected(POSE + step * axis) - model.expected(POSE - step * axis)) / (2 * step)
            for axis in np.eye(3)
        ],
        axis=-1,
    )
    np.testing.assert_allclose(model.jacobian(POSE), numeric, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize(("name", "place"), [case for case in CASES if case[0] != "pose"])
def test_compiled_models_against_the_reference(name: str, place: str) -> None:
    dx, dy, turn = OFFSETS[place]
    offsets = np.array([[dx, dy, turn, np.cos(turn), np.sin(turn)]])
    states = np.array([[*POSE, *np.zeros(6)]])
    information, moved = np.empty(10), np.empty(14)
    model = model_of(name, OFFSETS[place])
    if isinstance(model, CornersModel):
        values = (model.values.reshape(4, 2) / model.focal_px).reshape(1, 8)
        measured = measured_corners(values, np.full((1, 2), 1.0 / SPREADS[name][0]))
        move_camera(measured.sensors, 0, offsets, 0, moved)
        assert corner_information(states, 0, moved, measured, 0, information)
    else:
        values, weights = np.zeros((1, 2)), np.zeros((1, 2))
        values[0, : len(model.values)] = model.values
        weights[0, : len(model.values)] = 1.0 / SPREADS[name]
        measured = measured_beacon(values, weights)
        move_sensor(measured.sensors, 0, offsets, 0, moved)
        assert beacon_information(states, 0, moved, measured, 0, information)
    np.testing.assert_allclose(information, information_of(model), rtol=1e-9, atol=1e-9)


def test_compiled_pose_against_the_reference() -> None:
    model = model_of("pose", np.zeros(3))
    weight = np.linalg.inv(model.cov)
    solutions = np.concatenate([model.values, weight[np.triu_indices(3)]])[None, None]
    information = np.empty(10)
    pose_information(np.array([[*POSE, *np.zeros(6)]]), 0, solutions, 0, 0, information)
    np.testing.assert_allclose(information, information_of(model), rtol=1e-9)


def test_the_step_against_central_differences() -> None:
    motion, step = np.array([0.06, -0.03, 0.2]), 1e-6
    root = np.array([[0.03, 0.0, 0.0], [0.01, 0.02, 0.0], [-0.004, 0.003, 0.01]])
    cov = root @ root.T
    numeric = np.stack(
        [
            (
                (PlanePose(POSE + step * axis) @ PlanePose(motion)).values
                - (PlanePose(POSE - step * axis) @ PlanePose(motion)).values
            )
            / (2 * step)
            for axis in np.eye(3)
        ],
        axis=-1,
    )
    spread = np.diag([1e-4, 1e-4, 4e-4])
    expected = numeric @ cov @ numeric.T + spread
    reference = predict_reference(FilterState(pose=POSE, cov=cov), PlanePose(motion), spread)
    np.testing.assert_allclose(reference.cov, expected, rtol=1e-7, atol=1e-12)
    states = np.zeros((2, 9))
    states[0] = np.concatenate([POSE, cov[np.triu_indices(3)]])
    motions = np.array([[*motion, np.cos(motion[2]), np.sin(motion[2])]])
    steps = StepArrays(motions=motions, variances=np.array([[1e-4, 4e-4]]))
    predict(states, 0, 1, steps, 0)
    np.testing.assert_allclose(states[1, :3], reference.pose, atol=1e-14)
    np.testing.assert_allclose(states[1, 3:], reference.cov[np.triu_indices(3)], atol=1e-14)


@pytest.mark.parametrize("scale", [0.0, 1e-3, 1.0, 1e6])
def test_posterior_nis_and_correction_against_numpy(scale: float) -> None:
    """(P^-1 + A)^-1 by inversion, b'M b by the same, where P may also be singular."""
    rng = np.random.default_rng(3)
    root, jacobian, residual = rng.normal(size=(3, 3)), rng.normal(size=(5, 3)), rng.normal(size=5)
    root *= np.array([[1.0], [1.0], [np.sqrt(scale)]])
    cov, matrix, vector = root @ root.T, jacobian.T @ jacobian, jacobian.T @ residual
    after = np.linalg.solve(np.eye(3) + cov @ matrix, cov)
    states = np.array([[*POSE, *cov[np.triu_indices(3)]]])
    upper = matrix[np.triu_indices(3)]
    information = np.array([*upper, *vector, residual @ residual])
    np.testing.assert_allclose(
        posterior(states, 0, tuple(upper)), after[np.triu_indices(3)], rtol=1e-9, atol=1e-12
    )
    size = residual @ np.linalg.solve(np.eye(5) + jacobian @ cov @ jacobian.T, residual)
    assert nis(states, 0, information) == pytest.approx(size, rel=1e-9)
    before = states.copy()
    assert correct(states, 0, information, 0.9 * size) == pytest.approx(size, rel=1e-9)
    np.testing.assert_array_equal(states, before)
    correct(states, 0, information, 1.1 * size)
    np.testing.assert_allclose(states[0, :3], POSE + after @ vector, rtol=1e-9)
    np.testing.assert_allclose(states[0, 3:], after[np.triu_indices(3)], rtol=1e-7, atol=1e-10)


def test_a_tag_behind_the_camera_cannot_be_measured() -> None:
    model = corners_seen(np.zeros(3))
    assert model.is_possible(POSE)
    turned = POSE + np.array([0.0, 0.0, np.pi])
    assert not model.is_possible(turned)
    states, information = np.array([[*turned, *np.zeros(6)]]), np.empty(10)
    measured = measured_corners(np.zeros((1, 8)), np.ones((1, 2)))
    assert not corner_information(states, 0, measured.sensors[0], measured, 0, information)


def test_a_beacon_on_the_sensor_cannot_be_measured() -> None:
    beacon, ranger = ARENA.beacons[2].position_in_world_m, RIG.rangers[1].position_in_robot_m
    states, information = np.zeros((1, 9)), np.empty(10)
    measured = measured_beacon(np.ones((1, 2)), np.ones((1, 2)))
    for clear_m, is_possible in ((0.0, False), (0.009, False), (0.011, True)):
        states[0, 0], states[0, 1] = beacon[0] - ranger[0] - clear_m, beacon[1] - ranger[1]
        assert is_possible == beacon_information(
            states, 0, measured.sensors[0], measured, 0, information
        )


def test_the_camera_row_projects_like_the_mount() -> None:
    mount = RIG.mounts[2]
    row = camera_row(mount)
    point = np.array([2.0, -0.3, 0.9])
    x, y, z = SpacePose(mount.robot_from_camera.matrix).inverse().transform(point)
    projected = row[:9].reshape(3, 3) @ point - row[9:12]
    np.testing.assert_allclose(projected, [*(mount.camera.lens.focal_px * [x, y]), z], atol=1e-9)
