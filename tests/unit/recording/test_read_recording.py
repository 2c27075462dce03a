"""Reading a recording folder: what comes out, and one clear line for everything that is wrong."""

import numpy as np
import pytest

from posefuse.errors import FileError
from posefuse.recording.folder import read_recording
from posefuse.recording.recording import SightingKind


def replace(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_everything_in_the_folder_comes_out(folder):
    stored = read_recording(folder)
    recording = stored.recording
    assert recording.name == "Tuesday, second run"
    assert (stored.recorded_on, stored.goal) == ("2026-03-10", "north crate")
    assert stored.clock.startswith("robot")
    assert stored.rig.name == "four sides, level"
    assert stored.arena.name == "Orchard court"
    assert recording.dropped_frame_count == 2
    assert recording.odometry.twists[1].tolist() == [0.01, 0.0, 0.001]
    assert recording.sensor_names == ("front", "left", "rear", "right")
    assert recording.truth.has_heading
    assert recording.truth.poses[1].tolist() == [2.0, 3.03, 1.573]
    assert recording.shots.goals == ("north crate", "south crate")
    assert recording.start.world_from_robot.values == pytest.approx([2.0, 3.0, np.pi / 2])
    spread = [0.02, 0.02, np.radians(0.5)]
    assert np.sqrt(np.diag(recording.start.cov)) == pytest.approx(spread)


def test_frames_are_put_in_the_order_of_capture_and_sightings_follow_them(folder):
    recording = read_recording(folder).recording
    assert recording.frames.sensor.tolist() == [1, 0, 0]
    assert recording.frames.captured_at_s.tolist() == [10.0005, 10.001, 10.034]
    assert recording.sightings.kind is SightingKind.CORNERS
    assert recording.sightings.frame.tolist() == [1, 1, 2]
    assert recording.sightings.id.tolist() == [0, 5, 3]
    assert recording.sightings.values[:, 0].tolist() == [11.0, 21.0, 1.0]


def test_truth_shots_and_start_may_be_missing(folder):
    (folder / "truth.csv").unlink()
    (folder / "shots.csv").unlink()
    toml = folder / "recording.toml"
    toml.write_text(toml.read_text(encoding="utf-8").split("[start]")[0], encoding="utf-8")
    recording = read_recording(folder).recording
    assert recording.truth is None
    assert recording.shots is None
    assert recording.start is None


def test_truth_may_lack_the_heading(folder):
    (folder / "truth.csv").write_text("t_s,x_m,y_m\n10.0,2.0,3.0\n", encoding="utf-8")
    truth = read_recording(folder).recording.truth
    assert not truth.has_heading
    assert truth.poses.tolist() == [[2.0, 3.0, 0.0]]


def test_a_run_in_which_no_frame_was_taken_is_a_recording(folder):
    for name in ("frames.csv", "sightings.csv"):
        header = (folder / name).read_text(encoding="utf-8").split("\n")[0]
        (folder / name).write_text(header + "\n", encoding="utf-8")
    recording = read_recording(folder).recording
    assert len(recording.frames.sensor) == 0
    assert len(recording.sightings.id) == 0


def test_a_frame_may_seem_to_arrive_before_capture_by_a_clock_that_runs_ahead(folder):
    replace(folder / "frames.csv", "10.034,10.07", "10.034,9.9")
    assert read_recording(folder).recording.frames.arrived_at_s[2] == 9.9


@pytest.mark.parametrize(
    ("header", "row", "kind"),
    [
        ("range_m,frame,id,bearing_rad", "12.5,1,4,0.25", SightingKind.RANGE_BEARING),
        ("frame,id,range_m", "1,4,12.5", SightingKind.RANGE),
    ],
)
def test_the_header_decides_the_kind_of_sighting(folder, ranger_inputs, header, row, kind):
    make_ranger_run(folder, ranger_inputs)
    (folder / "sightings.csv").write_text(f"{header}\n{row}\n", encoding="utf-8")
    sightings = read_recording(folder).recording.sightings
    assert sightings.kind is kind
    assert sightings.values[0].tolist() == [12.5, 0.25][: kind.width]


def make_ranger_run(folder, inputs):
    (folder / "recording.toml").write_text(
        f'name = "lawn"\nrig = "{(inputs / "rig.toml").as_posix()}"\n'
        f'arena = "{(inputs / "arena.toml").as_posix()}"\n',
        encoding="utf-8",
    )
    (folder / "shots.csv").unlink()
    (folder / "frames.csv").write_text(
        "frame,camera,captured_at_s,arrived_at_s\n1,port,10.0,10.0\n", encoding="utf-8"
    )
    (folder / "sightings.csv").write_text("frame,id,range_m\n1,4,12.5\n", encoding="utf-8")


SPOILED = [
    # file, old, new, what the message holds
    ("odometry.csv", "10.04,", "10.02,", "odometry.csv:4: t_s: the stamp repeats"),
    (
        "odometry.csv",
        "10.04,",
        "10.01,",
        "must be greater than 10.02 of the row before (got 10.01)",
    ),
    ("odometry.csv", "\n10.02", "\n\n10.02", None),
    ("odometry.csv", "10.0,0.0,", "10.0,0.1,", "odometry.csv:2: the first row's motion must be 0"),
    ("odometry.csv", "0.01,0.001", "nan,0.001", "odometry.csv:4: forward_m: must be a finite"),
    (
        "odometry.csv",
        "10.06,0.01,0.0,0.0\n",
        "10.06,0.01,0",
        "odometry.csv:5: the last line is cut",
    ),
    (
        "frames.csv",
        "8,left",
        "8,lift",
        "frames.csv:3: camera: unknown camera 'lift'; did you mean left",
    ),
    ("frames.csv", "8,left", "8,17", "known: front, left, rear, right"),
    (
        "frames.csv",
        "8,left",
        "7,left",
        "frames.csv:3: frame: each frame must have its own number (got 7)",
    ),
    ("frames.csv", "10.034,", "10.001,", "frames.csv:4: captured_at_s: the stamp repeats"),
    ("frames.csv", "10.034,", "10.0009,", "of the row before of the same camera (got 10.0009)"),
    (
        "frames.csv",
        "10.034,10.07",
        "10.034,9.0",
        "frames.csv:4: arrived_at_s: must not lie more than 1 s",
    ),
    ("sightings.csv", "7,5,", "7,50,", "sightings.csv:4: id: unknown tag 50; did you mean 5"),
    (
        "sightings.csv",
        "7,5,",
        "6,5,",
        "sightings.csv:4: frame: must be a frame of frames.csv (got 6)",
    ),
    (
        "sightings.csv",
        "7,5,",
        "7,0,",
        "sightings.csv:4: id: must be sighted once only in each frame",
    ),
    ("sightings.csv", "7,5,", "7,5.5,", "sightings.csv:4: id: must be a whole number (got 5.5)"),
    (
        "sightings.csv",
        "x0_px",
        "x0px",
        "sightings.csv:1: unknown column 'x0px'; did you mean 'x0_px'",
    ),
    ("truth.csv", "10.06,", "9.0,", "truth.csv:3: t_s: the stamp goes back"),
    ("truth.csv", "x_m", "x_cm", "truth.csv:1: unknown column 'x_cm'"),
    (
        "shots.csv",
        "north crate",
        "nort crate",
        "shots.csv:2: goal: unknown goal 'nort crate'; did you mean north crate",
    ),
    (
        "shots.csv",
        "10.05,",
        "10.5,",
        "shots.csv:3: t_s: must lie within the odometry, 10.0 to 10.06 (got 10.5)",
    ),
    ("recording.toml", 'goal = "north crate"', 'goal = "crate"', "no goal is named 'crate'"),
    (
        "recording.toml",
        "dropped_frame_count",
        "dropped_frames",
        "did you mean 'dropped_frame_count'",
    ),
    ("recording.toml", "dropped_frame_count = 2", "dropped_frame_count = -2", "(got -2)"),
    (
        "recording.toml",
        "four_sides_level",
        "four_sides_leval",
        "did you mean 'four_sides_level.toml'",
    ),
    ("recording.toml", "heading_deg = 90.0\n", "", "give one of heading_deg and heading_rad"),
    ("recording.toml", "heading_deg", "heading_rad = 1.0\nheading_deg", "give one of heading_deg"),
    ("recording.toml", "heading_std_deg = 0.5\n", "", "give either position_std_m and"),
    (
        "recording.toml",
        "heading_std_deg = 0.5\n",
        "covariance = [[1,0,0],[0,1,0],[0,0,1]]\n",
        "give either",
    ),
    ("recording.toml", "x_m = 2.0", "x_m = nan", "must be a finite number"),
]


@pytest.mark.parametrize(("name", "old", "new", "message"), SPOILED)
def test_what_is_wrong_is_reported_with_its_place(folder, name, old, new, message):
    replace(folder / name, old, new)
    if message is None:
        read_recording(folder)
        return
    with pytest.raises(FileError) as caught:
        read_recording(folder)
    assert any(message in str(fault) and "\n" not in str(fault) for fault in caught.value.faults)


def test_every_fault_of_a_table_is_reported_at_once(folder):
    replace(folder / "frames.csv", "8,left", "7,lift")
    replace(folder / "frames.csv", "10.034,10.07", "10.034,1.0")
    with pytest.raises(FileError) as caught:
        read_recording(folder)
    assert [fault.line for fault in caught.value.faults] == [3, 3, 4]


@pytest.mark.parametrize(
    "covariance",
    ["[[1,2,0],[0,1,0],[0,0,1]]", "[[1,2,0],[2,1,0],[0,0,1]]", "[[-1,0,0],[0,1,0],[0,0,1]]"],
)
def test_a_covariance_that_is_none_is_refused(folder, covariance):
    spread = "position_std_m = 0.02\nheading_std_deg = 0.5"
    replace(folder / "recording.toml", spread, f"covariance = {covariance}")
    with pytest.raises(FileError, match=r"toml:13: start.covariance: must be symmetric"):
        read_recording(folder)


@pytest.mark.parametrize("name", ["recording.toml", "odometry.csv", "frames.csv", "sightings.csv"])
def test_a_missing_or_empty_file_is_named(folder, name):
    (folder / name).write_text("", encoding="utf-8")
    with pytest.raises(FileError, match=f"{name}: the file is empty"):
        read_recording(folder)
    (folder / name).unlink()
    with pytest.raises(FileError, match=f"{name}: no such file"):
        read_recording(folder)


@pytest.mark.parametrize("name", ["truth.csv", "shots.csv"])
def test_an_optional_file_that_is_there_must_not_be_empty(folder, name):
    (folder / name).write_text("", encoding="utf-8")
    with pytest.raises(FileError, match=f"{name}: the file is empty"):
        read_recording(folder)


def test_a_truth_without_rows_and_odometry_of_one_row_are_refused(folder):
    (folder / "truth.csv").write_text("t_s,x_m,y_m\n", encoding="utf-8")
    with pytest.raises(FileError, match=r"truth.csv: must hold 1 row or more"):
        read_recording(folder)
    (folder / "odometry.csv").write_text(
        "t_s,forward_m,left_m,turn_rad\n1,0,0,0\n", encoding="utf-8"
    )
    with pytest.raises(FileError, match=r"odometry.csv: must hold 2 rows or more \(got 1\)"):
        read_recording(folder)


def test_streams_that_do_not_overlap_are_refused_with_both_spans(folder):
    for name in ("frames.csv", "truth.csv"):
        kept = (folder / name).read_text(encoding="utf-8")
        moved = kept.replace("10.0", "1700000010.0")
        (folder / name).write_text(moved, encoding="utf-8")
        with pytest.raises(FileError) as caught:
            read_recording(folder)
        assert f"{name}: does not overlap odometry.csv in time: 17000000" in str(caught.value)
        assert "10.0 to 10.06 s there" in str(caught.value)
        (folder / name).write_text(kept, encoding="utf-8")


def test_a_folder_that_is_none_is_refused(folder):
    with pytest.raises(FileError, match="no such folder"):
        read_recording(folder / "nothing")
    with pytest.raises(FileError, match="a file: a recording is a folder"):
        read_recording(folder / "truth.csv")


def test_a_header_of_no_kind_lists_the_three_kinds(folder):
    (folder / "sightings.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(FileError, match=r"csv:1: .*x0_px.* or range_m, bearing_rad or range_m"):
        read_recording(folder)


def test_ranges_are_checked_too(folder, ranger_inputs):
    make_ranger_run(folder, ranger_inputs)
    for row, message in (
        ("1,4,0.0", "sightings.csv:2: range_m: must be greater than 0"),
        ("1,5,1.0", "sightings.csv:2: id: unknown beacon 5; known: 4, 6"),
    ):
        (folder / "sightings.csv").write_text(f"frame,id,range_m\n{row}\n", encoding="utf-8")
        with pytest.raises(FileError) as caught:
            read_recording(folder)
        assert message in str(caught.value)


def test_a_camera_gives_no_ranges_and_a_ranger_no_corners(folder, ranger_inputs):
    corners = (folder / "sightings.csv").read_text(encoding="utf-8").split("\n")[0]
    (folder / "sightings.csv").write_text("frame,id,range_m\n", encoding="utf-8")
    assert read_recording(folder).recording.sightings.kind is SightingKind.RANGE
    arena = folder / "arena.toml"
    kept = (ranger_inputs / "arena.toml").read_text(encoding="utf-8")
    tag = (
        '[[tag]]\nid = 4\nposition_m = [0, 9, 1]\nfacing_deg = 0\nfamily = "36h11"\nedge_m = 0.1\n'
    )
    goal = '[[goal]]\nname="north crate"\ncentre_m=[9,9,1]\nwidth_m=1\nheight_m=1\nfacing_deg=0\n'
    arena.write_text(kept + tag + goal, encoding="utf-8")
    text = (folder / "recording.toml").read_text(encoding="utf-8")
    line = next(line for line in text.split("\n") if line.startswith("arena"))
    replace(folder / "recording.toml", line, 'arena = "arena.toml"')
    (folder / "shots.csv").unlink()
    (folder / "sightings.csv").write_text("frame,id,range_m\n7,4,9.0\n", encoding="utf-8")
    with pytest.raises(FileError, match=r"csv:2: frame: ranges come from a ranger.*got 'front'"):
        read_recording(folder)
    (ranger_inputs / "arena.toml").write_text(kept + tag, encoding="utf-8")
    (folder / "shots.csv").write_text("t_s,goal\n", encoding="utf-8")
    make_ranger_run(folder, ranger_inputs)
    (folder / "sightings.csv").write_text(f"{corners}\n1,4,1,2,3,4,5,6,7,8\n", encoding="utf-8")
    with pytest.raises(FileError, match=r"csv:2: frame: corners come from a camera.*got 'port'"):
        read_recording(folder)


def test_sightings_in_a_arena_without_tags_are_refused(folder):
    (folder / "arena.toml").write_text(
        'name = "bare"\nlength_m = 10.0\nwidth_m = 10.0\n', encoding="utf-8"
    )
    toml = folder / "recording.toml"
    lines = toml.read_text(encoding="utf-8").split("\n")
    kept = [line for line in lines if not line.startswith(("goal", "arena"))]
    toml.write_text("\n".join(['arena = "arena.toml"', *kept]), encoding="utf-8")
    with pytest.raises(FileError) as caught:
        read_recording(folder)
    assert "sightings.csv:2: id: unknown tag 3; known: none" in str(caught.value)
    (folder / "sightings.csv").write_text(
        (folder / "sightings.csv").read_text(encoding="utf-8").split("\n")[0] + "\n",
        encoding="utf-8",
    )
    with pytest.raises(FileError, match="unknown goal 'north crate'; known: none"):
        read_recording(folder)
