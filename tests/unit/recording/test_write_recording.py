"""Writing a recording folder, and copying the files it rests on."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from posefuse.errors import FileError, InputError
from posefuse.recording.folder import StoredRecording, read_recording, write_recording
from posefuse.recording.inputs import copy_inputs
from posefuse.recording.recording import Frames, Recording, SightingKind, Sightings


def changed(stored, **parts):
    """The stored recording with some parts of its recording changed."""
    recording = stored.recording
    kept = {name: getattr(recording, name) for name in recording.__dataclass_fields__}
    fields = {name: getattr(stored, name) for name in stored.__dataclass_fields__}
    return StoredRecording(**{**fields, "recording": Recording(**{**kept, **parts})})


def test_what_was_read_by_hand_is_written_and_read_again_alike(folder, tmp_path):
    stored = read_recording(folder)
    write_recording(stored, tmp_path / "copy")
    again = read_recording(tmp_path / "copy")
    for name in ("goal", "recorded_on", "clock"):
        assert getattr(again, name) == getattr(stored, name)
    start, start_again = stored.recording.start, again.recording.start
    assert (start.world_from_robot.values == start_again.world_from_robot.values).all()
    assert (start.cov == start_again.cov).all()
    assert (stored.recording.sightings.values == again.recording.sightings.values).all()


def test_a_written_recording_can_be_moved_without_its_sources(folder, tmp_path):
    write_recording(read_recording(folder), tmp_path / "out" / "copy")
    (tmp_path / "elsewhere").mkdir()
    moved = shutil.move(tmp_path / "out" / "copy", tmp_path / "elsewhere" / "moved")
    stored = read_recording(moved)
    assert stored.rig_path.resolve().is_relative_to(tmp_path / "elsewhere")
    assert stored.rig.mounts[0].camera.name == read_recording(folder).rig.mounts[0].camera.name
    names = {path.name for path in (tmp_path / "elsewhere/moved/inputs").rglob("*.toml")}
    assert names == {
        "four_sides_level.toml",
        "robot.toml",
        "wide_mono_edges.toml",
        "orchard_court.toml",
    }


def test_a_camera_in_place_of_the_rigs_goes_along(folder, tmp_path):
    recording = folder / "recording.toml"
    text = recording.read_text(encoding="utf-8")
    law = Path(__file__).parents[3] / "datasets/orchard/cameras/wide_mono_law.toml"
    place = f'goal = "north crate"\ncamera = "{law.as_posix()}"'
    recording.write_text(text.replace('goal = "north crate"', place), encoding="utf-8")
    write_recording(read_recording(folder), tmp_path / "copy")
    stored = read_recording(shutil.move(tmp_path / "copy", tmp_path / "moved"))
    assert {mount.camera.name for mount in stored.rig.mounts} == {"wide mono, by law"}
    assert stored.camera_path.resolve().is_relative_to(tmp_path / "moved")
    recording.write_text(text.replace("goal =", 'camera = "no.toml"\ngoal ='), encoding="utf-8")
    with pytest.raises(
        FileError, match=r"recording\.toml:6: camera: no such file \(got 'no\.toml'"
    ):
        read_recording(folder)


def test_a_camera_for_a_rig_without_mounts_is_refused(folder, ranger_inputs):
    recording = folder / "recording.toml"
    law = Path(__file__).parents[3] / "datasets/orchard/cameras/wide_mono_law.toml"
    recording.write_text(
        f'name = "a"\nrig = "{(ranger_inputs / "rig.toml").as_posix()}"\n'
        f'arena = "{(ranger_inputs / "arena.toml").as_posix()}"\ncamera = "{law.as_posix()}"\n',
        encoding="utf-8",
    )
    with pytest.raises(
        FileError, match=r"recording\.toml:4: camera: the rig 'rangers' has no mount that could"
    ):
        read_recording(folder)


def test_names_with_quotes_and_other_alphabets_survive(folder, tmp_path):
    name = 'a "b" \\ c\td\x7f 木 🍏 é'
    write_recording(changed(read_recording(folder), name=name), tmp_path / "copy")
    assert read_recording(tmp_path / "copy").recording.name == name


def test_a_filled_folder_is_left_alone(folder):
    before = (folder / "odometry.csv").read_bytes()
    with pytest.raises(FileError, match="not empty"):
        write_recording(read_recording(folder), folder)
    assert (folder / "odometry.csv").read_bytes() == before


def test_a_recording_that_could_not_be_read_again_is_not_written(folder, tmp_path):
    stored = read_recording(folder)
    twice = Frames(sensor=[0, 0, 1], captured_at_s=[10.0] * 3, arrived_at_s=[10.0] * 3)
    with pytest.raises(
        InputError, match=r"two frames of 'front' have the same capture stamp \(10.0\)"
    ):
        write_recording(changed(stored, frames=twice), tmp_path / "copy")
    same = Sightings(kind=SightingKind.CORNERS, frame=[0, 0], id=[3, 3], values=np.zeros((2, 8)))
    with pytest.raises(InputError, match="sights one id twice"):
        write_recording(changed(stored, sightings=same), tmp_path / "copy")
    assert not (tmp_path / "copy").exists()


def test_a_recording_of_another_rig_or_goal_is_refused(folder):
    stored = read_recording(folder)
    with pytest.raises(InputError, match="its sensors are a, those of the rig"):
        changed(
            stored,
            sensor_names=("a",),
            frames=Frames(sensor=[], captured_at_s=[], arrived_at_s=[]),
            sightings=Sightings(
                kind=SightingKind.CORNERS, frame=[], id=[], values=np.zeros((0, 8))
            ),
        )
    fields = {name: getattr(stored, name) for name in stored.__dataclass_fields__}
    with pytest.raises(InputError, match="no goal is named 'x'"):
        StoredRecording(**{**fields, "goal": "x"})


def test_copies_keep_their_places_below_the_folder_that_holds_them_all(tmp_path):
    for name in ("a/rigs/one.toml", "a/robot.toml", "b/arena.toml"):
        (tmp_path / "in" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "in" / name).write_text(name, encoding="utf-8")
    crooked = tmp_path / "in/a/rigs/../robot.toml"
    paths = [tmp_path / "in/a/rigs/one.toml", crooked, tmp_path / "in/b/arena.toml", crooked]
    copies = copy_inputs(paths, tmp_path / "out")
    assert copies[crooked] == tmp_path / "out/a/robot.toml"
    assert copies[paths[0]] == tmp_path / "out/a/rigs/one.toml"
    assert {path.read_text(encoding="utf-8") for path in copies.values()} == {
        "a/rigs/one.toml",
        "a/robot.toml",
        "b/arena.toml",
    }
    assert copy_inputs([], tmp_path / "none") == {}
    assert not (tmp_path / "none").exists()


def test_an_input_that_is_gone_is_named(tmp_path):
    with pytest.raises(FileError, match=r"gone.toml: cannot be copied"):
        copy_inputs([tmp_path / "gone.toml"], tmp_path / "out")


def test_inputs_on_two_drives_are_refused(tmp_path, monkeypatch):
    def two_drives(_):
        raise ValueError("Paths don't have the same drive")

    monkeypatch.setattr("os.path.commonpath", two_drives)
    with pytest.raises(InputError, match="must lie on one drive"):
        copy_inputs([tmp_path / "a.toml"], tmp_path / "out")
