"""The first seconds of a course."""

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.motion.course import Bump, Course, Knock, Shot
from posefuse.motion.path import TruePath


@pytest.fixture
def course() -> Course:
    t = np.linspace(100.0, 110.0, 21)
    poses = np.stack([np.sin(t), np.cos(t), 0.3 * t], axis=-1)
    return Course(
        name="round",
        path=TruePath.through(t, poses),
        shots=(Shot(at_s=102.0, goal="a"), Shot(at_s=108.0, goal="a")),
        bumps=(
            Bump(at_s=103.0, duration_s=0.1, slip_m=0.1),
            Bump(at_s=109.0, duration_s=0.1, slip_m=1),
        ),
        knocks=(Knock(mount="front", at_s=107.0),),
    )


@pytest.mark.parametrize("duration_s", [3.3, 5.0, 0.2])
def test_it_is_the_same_path_but_shorter(course: Course, duration_s: float) -> None:
    first = course.first(duration_s)
    assert (first.path.start_s, first.path.end_s) == (100.0, 100.0 + duration_s)
    t = np.linspace(100.0, 100.0 + duration_s, 50)
    np.testing.assert_allclose(first.path.poses(t).values, course.path.poses(t).values, atol=1e-12)
    np.testing.assert_allclose(first.path.accelerations(t), course.path.accelerations(t), atol=1e-9)
    with pytest.raises(InputError, match="path: asked at"):
        first.path.poses(100.0 + duration_s + 0.1)


def test_what_happens_later_is_left_out(course: Course) -> None:
    first = course.first(5.0)
    assert [shot.at_s for shot in first.shots] == [102.0]
    assert [bump.at_s for bump in first.bumps] == [103.0]
    assert first.knocks == ()


def test_a_shorter_course_stays_whole(course: Course) -> None:
    assert course.first(50.0).path is course.path
    assert course.first(50.0).shots == course.shots


def test_no_time_is_refused(course: Course) -> None:
    with pytest.raises(InputError, match=r"duration_s: must be greater than 0 \(got 0\)"):
        course.first(0.0)
