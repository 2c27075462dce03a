"""Real data: the Plaza sets, whose truth is known to 2 cm, through the same reader, filter and
scores as every other recording.

A plain loop filter (filterpy) started at the true pose reaches a position RMS of 0.30 to 0.36 m on
Plaza 1 and 0.41 to 0.43 m on Plaza 2, and 0.20 to 0.27 m for the distance to the origin, with a
NEES that passes 9 where the odometry is trusted too much. Dead reckoning alone: 1.93 and 31.7 m.
"""

from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from plaza_recording import RANGE_SCALE, plaza_arrays, write_plaza
from posefuse.fusion.fuse import fuse
from posefuse.fusion.load import load_settings
from posefuse.recording.folder import read_recording
from posefuse.recording.recording import Frames, SightingKind, Sightings
from posefuse.scoring.score import score

SETTINGS_FILE = Path(__file__).parents[2] / "datasets/plaza/filter.toml"
GTSAM = find_spec("gtsam")

pytestmark = pytest.mark.skipif(
    GTSAM is None, reason="the Plaza sets come with the gtsam package, which is not installed"
)


@pytest.fixture(scope="module", params=[1, 2])
def plaza(request, tmp_path_factory):
    """Number, arrays as the file holds them, and the recording read from its folder."""
    data = plaza_arrays(request.param, Path(GTSAM.origin).parent / "Data")
    folder = tmp_path_factory.mktemp("plaza") / str(request.param)
    write_plaza(request.param, data, folder)
    return request.param, data, read_recording(folder / "recording")


def scores(stored, recording):
    settings = load_settings(SETTINGS_FILE)
    estimate = fuse(recording, rig=stored.rig, arena=stored.arena, settings=settings)
    return score(
        recording,
        estimate=estimate,
        truth=recording.truth,
        arena=stored.arena,
        goal=stored.goal,
    )


def test_nothing_is_lost_on_the_way_into_the_recording(plaza):
    number, data, stored = plaza
    recording = stored.recording
    moves, ranges = {1: (9657, 3529), 2: (4090, 1816)}[number]
    assert len(recording.odometry.twists) == moves + 1
    assert len(recording.sightings.id) == len(data["TD"]) == ranges
    travelled_m = recording.odometry.twists[:, 0].sum()
    assert travelled_m == pytest.approx({1: 1861.0, 2: 1354.0}[number], abs=0.5)


def test_the_ranges_are_as_long_as_the_converter_takes_them_to_be(plaza):
    _, data, _ = plaza
    truth, beacons = data["GT"], data["TL"]
    for ident, *xy_m in beacons:
        stamps_s, measured_m = data["TD"][data["TD"][:, 2] == ident][:, [0, 3]].T
        place = [np.interp(stamps_s, truth[:, 0], truth[:, axis]) for axis in (1, 2)]
        true_m = np.hypot(place[0] - xy_m[0], place[1] - xy_m[1])
        scale, offset_m = np.polyfit(true_m, measured_m, 1)
        assert scale == pytest.approx(RANGE_SCALE, abs=0.003)
        assert abs(offset_m) < 0.11
        assert 0.45 < np.std(measured_m / RANGE_SCALE - true_m) < 0.57


def test_the_filter_does_as_well_as_a_plain_loop_and_knows_how_well(plaza, tell):
    number, _, stored = plaza
    card = scores(stored, stored.recording)
    course = card.whole_course
    tell(
        f"Plaza {number}: position RMS {course.position_rms_m:.3f} m, distance to the origin RMS "
        f"{course.distance_m.rms:.3f} m, NEES {course.nees.mean:.1f} (2 numbers)"
    )
    assert course.scored_count == course.count
    assert course.position_rms_m <= {1: 0.36, 2: 0.41}[number]
    assert course.distance_m.rms <= 0.27
    assert abs(course.distance_m.bias) < 0.06
    assert course.nees.dof == 2
    assert 1.0 < course.nees.mean < 4.0
    assert card.outcomes["fused"] > 0.98 * len(stored.recording.sightings.id)
    assert sum(card.outcomes.values()) == len(stored.recording.sightings.id)


def test_the_wheels_alone_drift_away(plaza):
    number, _, stored = plaza
    silent = replace(
        stored.recording,
        frames=Frames(sensor=[], captured_at_s=[], arrived_at_s=[]),
        sightings=Sightings(kind=SightingKind.RANGE, frame=[], id=[], values=np.zeros((0, 1))),
    )
    course = scores(stored, silent).whole_course
    assert course.position_rms_m == pytest.approx({1: 1.93, 2: 31.7}[number], rel=0.01)
    assert course.no_update_share == 1.0
