"""A recording that is written and read again is the same to the last bit."""

import tempfile
from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from posefuse.arena.load import load_arena
from posefuse.files.numbers import LARGEST
from posefuse.geometry.plane import PlanePose
from posefuse.recording.folder import StoredRecording, read_recording, write_recording
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
from posefuse.robot.load import load_rig

REPOSITORY = Path(__file__).parents[2]
CAMERA_RIG = REPOSITORY / "datasets/orchard/rigs/four_sides_level.toml"
COURT = REPOSITORY / "fieldlayouts/orchard_court.toml"
RANGER_RIG = """\
name = "rangers"
robot = "robot.toml"
ranger = [
    {name = "port", position_m = [0.0, 0.2, 0.5]},
    {name = "starboard", position_m = [0.0, -0.2, 0.5]},
]
"""
LAWN = """\
name = "lawn"
length_m = 60.0
width_m = 60.0
beacon = [{id = 4, position_m = [1, 2, 1]}, {id = 600, position_m = [50, 2, 1]}]
goal = [{name = "gate, far", centre_m = [9, 9, 1], width_m = 1, height_m = 1, facing_deg = 0}]
"""

NUMBERS = st.floats(-LARGEST, LARGEST)
EPOCHS_S = st.sampled_from([0.0, -3.5, 1_700_000_000.0, 1_767_225_599.999_999])


def numbers(shape, elements=NUMBERS):
    return hnp.arrays(np.float64, shape, elements=elements)


@st.composite
def rising(draw, *, epoch_s, least=1, most=8):
    """Stamps a microsecond and more apart, over about 20 s after an epoch."""
    ticks = draw(
        st.lists(st.integers(0, 20_000_000), min_size=least, max_size=most, unique=True).map(sorted)
    )
    return epoch_s + np.array(ticks) * 1e-6


@st.composite
def recordings(draw, *, sensor_names, kind, ids, goals):
    epoch_s = draw(EPOCHS_S)
    odometry_s = np.concatenate([[epoch_s - 1.0], draw(rising(epoch_s=epoch_s)), [epoch_s + 21.0]])
    twists = draw(numbers((len(odometry_s), 3)))
    twists[0] = 0.0
    captured = [draw(rising(epoch_s=epoch_s, least=0, most=4)) for _ in sensor_names]
    sensor = np.repeat(np.arange(len(captured)), [len(stamps) for stamps in captured])
    captured_at_s = np.concatenate(captured)
    order = np.argsort(captured_at_s, kind="stable")
    delay_s = draw(numbers(len(order), st.floats(-0.9, 5.0)))
    pairs = draw(
        st.lists(
            st.tuples(st.integers(0, max(len(order) - 1, 0)), st.sampled_from(ids)), unique=True
        )
        if len(order)
        else st.just([])
    )
    pairs.sort(key=lambda pair: pair[0])
    values = draw(numbers((len(pairs), kind.width)))
    if kind is not SightingKind.CORNERS:
        values[:, 0] = draw(numbers(len(pairs), st.floats(5e-324, LARGEST)))
    truth_s = draw(rising(epoch_s=epoch_s))
    has_heading = draw(st.booleans())
    poses = draw(numbers((len(truth_s), 3)))
    if not has_heading:
        poses[:, 2] = 0.0
    shots_s = draw(rising(epoch_s=epoch_s, least=0))
    root = draw(numbers((3, 3), st.floats(-10.0, 10.0)))
    start = StartPose(world_from_robot=PlanePose(draw(numbers(3))), cov=root @ root.T)
    return Recording(
        name=draw(st.text(st.characters(exclude_categories=["Cs"]), min_size=1)),
        sensor_names=sensor_names,
        odometry=Odometry(stamps_s=odometry_s, twists=twists),
        frames=Frames(
            sensor=sensor[order],
            captured_at_s=captured_at_s[order],
            arrived_at_s=captured_at_s[order] + delay_s,
        ),
        sightings=Sightings(
            kind=kind,
            frame=[frame for frame, _ in pairs],
            id=[ident for _, ident in pairs],
            values=values,
        ),
        start=draw(st.sampled_from([start, None])),
        truth=draw(
            st.sampled_from([Truth(stamps_s=truth_s, poses=poses, has_heading=has_heading), None])
        ),
        shots=Shots(stamps_s=shots_s, goals=tuple(draw(st.sampled_from(goals)) for _ in shots_s)),
        dropped_frame_count=draw(st.integers(0, 10**9)),
    )


def assert_same_bits(one, other):
    assert type(one) is type(other)
    if isinstance(one, np.ndarray):
        assert one.dtype == other.dtype
        assert one.shape == other.shape
        assert one.tobytes() == other.tobytes()
    elif hasattr(one, "__dataclass_fields__"):
        for name in one.__dataclass_fields__:
            assert_same_bits(getattr(one, name), getattr(other, name))
    else:
        assert one == other


def assert_survives(recording, rig_path, arena_path):
    stored = StoredRecording(
        recording=recording,
        rig=load_rig(rig_path),
        arena=load_arena(arena_path),
        rig_path=rig_path,
        arena_path=arena_path,
    )
    with tempfile.TemporaryDirectory() as folder:
        write_recording(stored, Path(folder) / "run")
        again = read_recording(Path(folder) / "run")
    assert_same_bits(again.recording, recording)


@given(
    recordings(
        sensor_names=("front", "left", "rear", "right"),
        kind=SightingKind.CORNERS,
        ids=list(range(12)),
        goals=["north crate", "south crate"],
    )
)
def test_corners_survive(recording):
    assert_survives(recording, CAMERA_RIG, COURT)


@given(
    st.sampled_from([SightingKind.RANGE, SightingKind.RANGE_BEARING]).flatmap(
        lambda kind: recordings(
            sensor_names=("port", "starboard"), kind=kind, ids=[4, 600], goals=["gate, far"]
        )
    )
)
def test_ranges_survive(tmp_path_factory, recording):
    inputs = tmp_path_factory.mktemp("inputs")
    (inputs / "rig.toml").write_text(RANGER_RIG, encoding="utf-8")
    (inputs / "arena.toml").write_text(LAWN, encoding="utf-8")
    robot = (REPOSITORY / "datasets/orchard/robot.toml").read_bytes()
    (inputs / "robot.toml").write_bytes(robot)
    assert_survives(recording, inputs / "rig.toml", inputs / "arena.toml")
