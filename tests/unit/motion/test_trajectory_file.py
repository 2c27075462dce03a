"""The open text form of trajectories."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from posefuse.errors import FileError, InputError
from posefuse.files.trajectory_file import headings_rad, read_trajectory, write_trajectory

LINE = "1.5 1 2 0 0 0 0 1\n"


def test_a_written_trajectory_reads_back(tmp_path) -> None:
    rng = np.random.default_rng(8)
    stamps = 1.7e9 + np.cumsum(rng.uniform(0.001, 0.1, 500))
    poses = np.column_stack([rng.normal(size=(500, 2)), np.cumsum(rng.uniform(-1, 1, 500))])
    path = tmp_path / "driven.txt"
    write_trajectory(path, stamps, poses)
    read_stamps, positions, quaternions = read_trajectory(path)
    np.testing.assert_array_equal(read_stamps, stamps)
    np.testing.assert_array_equal(positions[:, :2], poses[:, :2])
    off = headings_rad(quaternions) - poses[:, 2]
    np.testing.assert_allclose(off, np.round(off[0] / (2 * np.pi)) * 2 * np.pi, atol=1e-12)
    assert path.read_text(encoding="utf-8").startswith("# t x y z qx qy qz qw\n")


def test_headings_of_tilted_poses_agree_with_scipy() -> None:
    """Yaw of scipy's intrinsic ZYX angles, scalar last."""
    rotations = Rotation.random(200, rng=np.random.default_rng(3))
    expected = rotations.as_euler("ZYX")[:, 0]
    turned = np.angle(np.exp(1j * (headings_rad(rotations.as_quat()) - expected)))
    np.testing.assert_allclose(turned, 0.0, atol=1e-12)


def test_comments_blank_lines_and_spacing(tmp_path) -> None:
    path = tmp_path / "driven.txt"
    path.write_text("# one\n\n  1 2 3 4 0 0 .6 .8 \r\n # two\n2\t2 3 4 0 0 0 -1", encoding="utf-8")
    stamps, positions, quaternions = read_trajectory(path)
    np.testing.assert_array_equal(stamps, [1.0, 2.0])
    np.testing.assert_array_equal(positions, [[2, 3, 4], [2, 3, 4]])
    np.testing.assert_allclose(quaternions, [[0, 0, 0.6, 0.8], [0, 0, 0, -1]])


def test_rounded_quaternions_are_made_unit(tmp_path) -> None:
    path = tmp_path / "driven.txt"
    path.write_text("1 2 3 4 0 0 0.707 0.707\n", encoding="utf-8")
    assert np.linalg.norm(read_trajectory(path)[2]) == pytest.approx(1.0, abs=1e-15)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (LINE + "2 1 2 0 0 0 1\n", ":2: must hold 8 numbers, t x y z qx qy qz qw (got 7)"),
        ("t,x,y\n" + LINE, ":1: must hold 8 numbers, t x y z qx qy qz qw (got 1)"),
        (LINE + "2 1 nan 0 0 0 0 1\n", ":2: y: must be a finite number (got 'nan')"),
        (LINE + "2 1 1_0 0 0 0 0 1\n", ":2: y: must be a finite number (got '1_0')"),
        (LINE + "2 1e999 1 0 0 0 0 1\n", ":2: x: must be a finite number (got '1e999')"),
        (LINE + LINE, ":2: t: must be later than the line before, 1.5 (got 1.5)"),
        (LINE + "1 1 1 0 0 0 0 1\n", ":2: t: must be later than the line before, 1.5 (got 1.0)"),
        ("1 1 1 0 0 0 0 0\n", ":1: qx qy qz qw: the quaternion must be of length 1 (got 0)"),
        ("1 1 1 0 0 0 1 1\n", ":1: qx qy qz qw: the quaternion must be of length 1 (got 1.41421)"),
        ("# nothing\n", ": holds no pose: each line is t x y z qx qy qz qw"),
        ("\n", ": the file is empty"),
    ],
)
def test_faults_name_file_and_line(tmp_path, text, message) -> None:
    path = tmp_path / "driven.txt"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileError) as error:
        read_trajectory(path)
    assert str(error.value) == f"{path}{message}"


def test_writing_refuses_what_could_not_be_read(tmp_path) -> None:
    with pytest.raises(InputError, match="not finite"):
        write_trajectory(tmp_path / "driven.txt", [1.0], [[np.nan, 0.0, 0.0]])
