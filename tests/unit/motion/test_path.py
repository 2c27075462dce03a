"""The true path as a function of time, and the course built on it."""

import pickle

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.motion.course import Bump, Course, Knock, Lift, Shot, Traffic
from posefuse.motion.path import TruePath

STAMPS = np.linspace(2.0, 8.0, 61)


@pytest.fixture
def path() -> TruePath:
    return TruePath.through(STAMPS, np.column_stack([STAMPS, np.sin(STAMPS), STAMPS**2 / 8.0]))


def test_passes_through_its_poses_and_follows_between(path) -> None:
    t = np.linspace(3.0, 7.0, 123)
    np.testing.assert_allclose(path.poses(t).xy_m[:, 1], np.sin(t), atol=1e-6)
    np.testing.assert_allclose(path.velocities(t)[:, 1], np.cos(t), atol=1e-4)
    np.testing.assert_allclose(path.accelerations(t)[:, 1], -np.sin(t), atol=2e-3)
    np.testing.assert_allclose(path.velocities(t)[:, 2], t / 4.0, atol=1e-4)


def test_heading_is_not_wrapped(path) -> None:
    assert path.poses(8.0).heading_rad == pytest.approx(8.0)


def test_batches_lead(path) -> None:
    assert path.poses(3.0).values.shape == (3,)
    assert path.velocities([[3.0, 4.0]]).shape == (1, 2, 3)


def test_never_extrapolates(path) -> None:
    for t in (1.9, 8.1):
        with pytest.raises(InputError, match="known from 2 to 8 s"):
            path.poses(t)


@pytest.mark.parametrize(
    ("stamps", "poses", "message"),
    [
        ([0.0], [[0, 0, 0]], "2 poses or more"),
        ([0.0, 0.0], [[0, 0, 0]] * 2, "repeats at row 1"),
        ([0.0, 1.0], [[0, 0, 0]], "shape"),
        ([0.0, 1.0], [[0, 0, np.inf]] * 2, "not finite"),
    ],
)
def test_refuses_what_is_no_path(stamps, poses, message) -> None:
    with pytest.raises(InputError, match=message):
        TruePath.through(stamps, poses)


def test_survives_the_way_to_a_worker(path) -> None:
    course = Course(name="c", path=path, shots=(Shot(at_s=3.0, goal="g"),))
    again = pickle.loads(pickle.dumps(course))
    np.testing.assert_array_equal(again.path.poses(STAMPS).values, path.poses(STAMPS).values)


@pytest.mark.parametrize(
    ("events", "message"),
    [
        ({"shots": (Shot(at_s=9.0, goal="g"),)}, "shot at 9 s: must lie within"),
        ({"bumps": (Bump(at_s=1.0, duration_s=1.0, slip_m=0.1),)}, "bump at 1 s: must lie within"),
        ({"knocks": (Knock(mount="m", at_s=8.5),)}, "knock at 8.5 s: must lie within"),
        (
            {"shots": (Shot(at_s=4.0, goal="g"), Shot(at_s=4.0, goal="h"))},
            "shot at 4 s: must come later than the shot before, at 4 s",
        ),
    ],
)
def test_events_lie_within_the_course(path, events, message) -> None:
    with pytest.raises(InputError, match=message):
        Course(name="c", path=path, **events)


def test_events_refuse_what_cannot_happen() -> None:
    with pytest.raises(InputError, match="slip_m: must be 0 or more"):
        Bump(at_s=1.0, duration_s=1.0, slip_m=-0.1)
    with pytest.raises(InputError, match="duration_s: must be greater than 0"):
        Bump(at_s=1.0, duration_s=0.0, slip_m=0.1)
    with pytest.raises(InputError, match="lift mast: at_s: the stamp goes back"):
        Lift(box="mast", at_s=[2.0, 1.0], raise_m=[0.0, 1.0])
    with pytest.raises(InputError, match="traffic other: xy: shape"):
        Traffic(name="other", size_m=[1, 1, 1], at_s=[1.0, 2.0], xy_in_world_m=[[0.0, 0.0]])
