"""What a Recording refuses when it is built in code."""

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.recording.recording import (
    Frames,
    Odometry,
    Recording,
    Shots,
    SightingKind,
    Sightings,
    StartPose,
    Truth,
)

STILL = Odometry(stamps_s=[0.0, 1.0], twists=np.zeros((2, 3)))
FRAME = Frames(sensor=[0], captured_at_s=[0.5], arrived_at_s=[0.6])


def ranges(*frames):
    return Sightings(
        kind=SightingKind.RANGE,
        frame=list(frames),
        id=[4] * len(frames),
        values=[[1.0]] * len(frames),
    )


REFUSED = [
    (lambda: Odometry(stamps_s=[0.0], twists=[[0, 0, 0]]), r"needs 2 rows or more \(got 1\)"),
    (lambda: Odometry(stamps_s=[0.0, 0.0], twists=np.zeros((2, 3))), "the stamp repeats at row 1"),
    (
        lambda: Odometry(stamps_s=[1.0, 0.0], twists=np.zeros((2, 3))),
        "the stamp goes back at row 1",
    ),
    (
        lambda: Odometry(stamps_s=[0.0, 1.0], twists=np.ones((2, 3))),
        "first row's motion must be zero",
    ),
    (lambda: Odometry(stamps_s=[0.0, np.nan], twists=np.zeros((2, 3))), "not finite"),
    (
        lambda: Frames(sensor=[0, 0], captured_at_s=[1, 0], arrived_at_s=[1, 1]),
        "goes back at row 1",
    ),
    (lambda: Frames(sensor=[0], captured_at_s=[1, 2], arrived_at_s=[1]), "captured_at_s: shape"),
    (lambda: ranges(1, 0), "in the order of their frames"),
    (
        lambda: Sightings(kind=SightingKind.CORNERS, frame=[0], id=[1], values=[[1.0]]),
        r"shape \(1, 1\) given, \(1, 8\) wanted",
    ),
    (lambda: Truth(stamps_s=[0.0, 0.0], poses=np.zeros((2, 3))), "truth t_s: the stamp repeats"),
    (lambda: Shots(stamps_s=[1.0, 0.5], goals=("a", "b")), "shots t_s: the stamp goes back"),
    (lambda: Shots(stamps_s=[1.0], goals=()), "shots t_s: shape"),
    (lambda: StartPose(world_from_robot=None, cov=np.eye(2)), "start covariance: shape"),
    (
        lambda: Recording(
            name="run", sensor_names=(), odometry=STILL, frames=FRAME, sightings=ranges(0)
        ),
        "a sensor index lies outside sensor_names",
    ),
    (
        lambda: Recording(
            name="run", sensor_names=("radio",), odometry=STILL, frames=FRAME, sightings=ranges(1)
        ),
        "a frame index lies outside the frames",
    ),
]


@pytest.mark.parametrize(("build", "message"), REFUSED)
def test_what_cannot_be_a_recording_is_refused(build, message):
    with pytest.raises(InputError, match=message):
        build()


def test_its_arrays_are_copies_that_cannot_be_written():
    stamps_s = np.array([0.0, 1.0])
    odometry = Odometry(stamps_s=stamps_s, twists=np.zeros((2, 3)))
    stamps_s[0] = 5.0
    assert odometry.stamps_s[0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        odometry.stamps_s[0] = 5.0


@pytest.mark.parametrize(
    ("kind", "width"),
    [(SightingKind.CORNERS, 8), (SightingKind.RANGE_BEARING, 2), (SightingKind.RANGE, 1)],
)
def test_each_kind_of_sighting_has_its_width(kind, width):
    assert kind.width == width
