"""Robot, camera and rig files: what they become, and every way they can be wrong."""

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose

from posefuse.errors import FileError, InputError
from posefuse.robot.drivetrain import DrivetrainKind
from posefuse.robot.load import load_camera, load_rig, load_robot, rig_sources
from posefuse.sensing.detector_law import detector_response

ORCHARD = Path(__file__).parents[3] / "datasets" / "orchard"
RIGS = sorted((ORCHARD / "rigs").glob("*.toml"))

ROBOT = """name = "cart"
length_m = 0.8
width_cm = 70
[[box]]
name = "mast"
centre_m = [0, 0, 0.5]
size_m = [0.2, 0.2, 1]
[drivetrain]
kind = "differential"
wheels_m = [[0, 0.3], [0, -0.3]]
wheel_radius_in = 3
rate_hz = 50
steering_std_deg = 0.5
speed_m_per_s = 3
acceleration_m_per_s2 = 4
turn_rate_deg_per_s = 360
[gyro]
bias_deg_per_s = 0.1
[shooter]
release_m = [0, 0, 0.5]
exit_speed_m_per_s = 8
pivot_low_deg = 20
pivot_high_deg = 70
"""
CAMERA = """name = "eye"
width_px = 1280
height_px = 800
field_of_view_deg = 75
[timing]
frame_rate_hz = 30
exposure_ms = 5
latency_ms = 40
latency_jitter_ms = 10
[detector]
noise_px = 0.3
most_incidence_deg = 70
"""
RIG = """name = "plan"
robot = "robot.toml"
[[mount]]
name = "front"
camera = "eye.toml"
position_m = [0.3, 0, 0.5]
pan_deg = 0
tilt_deg = 15
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, text in (("robot", ROBOT), ("eye", CAMERA), ("plan", RIG)):
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    return tmp_path


def change(folder: Path, name: str, old: str, new: str) -> Path:
    path = folder / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    return path


def faults_of(error: FileError, folder: Path) -> list[str]:
    return str(error).replace(f"{folder}/", "").replace(f"{folder}\\", "").split("\n")


def test_a_robot(folder: Path) -> None:
    body, drivetrain = load_robot(folder / "robot.toml")
    assert (body.length_m, body.width_m) == (0.8, pytest.approx(0.7))
    assert drivetrain.kind is DrivetrainKind.DIFFERENTIAL
    assert drivetrain.wheel_radius_m == pytest.approx(0.0762)
    assert drivetrain.turn_rate_rad_per_s == pytest.approx(2 * math.pi)
    assert drivetrain.gyro is not None
    assert drivetrain.gyro.bias_rad_per_s == pytest.approx(math.radians(0.1))
    assert body.shooter is not None
    assert body.shooter.pivot_high_rad == pytest.approx(math.radians(70))


def test_a_robot_may_lack_gyro_and_shooter(folder: Path) -> None:
    path = folder / "robot.toml"
    path.write_text(ROBOT[: ROBOT.index("[gyro]")], encoding="utf-8")
    body, drivetrain = load_robot(path)
    assert drivetrain.gyro is None
    assert body.shooter is None


def test_field_of_view_is_that_of_opencv(folder: Path) -> None:
    # f = W / (2 tan(view / 2)); cv2.calibrationMatrixValues gives the field of view back
    camera = load_camera(folder / "eye.toml")
    view_deg, *_ = cv2.calibrationMatrixValues(camera.lens.matrix, (1280, 800), 1.0, 1.0)
    assert view_deg == pytest.approx(75.0)
    assert_allclose(camera.lens.centre_px, [639.5, 399.5])  # pixel centres at integers
    assert camera.timing.exposure_s == pytest.approx(0.005)
    assert camera.detector.most_incidence_rad == pytest.approx(math.radians(70))
    assert camera.detector.least_edge_px == 8.0  # the type's own default


def test_a_calibrated_lens(folder: Path) -> None:
    path = change(
        folder,
        "eye.toml",
        "field_of_view_deg = 75",
        "focal_px = [910, 905]\ncentre_px = [650, 390]\ndistortion = [1, 2, 3, 4, 5]",
    )
    lens = load_camera(path).lens
    assert_allclose(lens.matrix, [[910, 0, 650], [0, 905, 390], [0, 0, 1]])
    assert_allclose(lens.distortion, [1, 2, 3, 4, 5, 0, 0, 0])


def test_a_rig(folder: Path) -> None:
    path = change(
        folder,
        "plan.toml",
        "tilt_deg = 15",
        'tilt_deg = 15\n[[ranger]]\nname = "uwb"\nposition_m = [0, 0, 1]',
    )
    rig = load_rig(path)
    assert rig.sensor_names == ("front", "uwb")
    ahead = rig.mounts[0].robot_from_camera.matrix[:3, 2]
    assert_allclose(ahead, [math.cos(math.radians(15)), 0, math.sin(math.radians(15))], atol=1e-12)
    assert rig_sources(path) == (path, folder / "robot.toml", folder / "eye.toml")


def test_another_camera_on_every_mount(folder: Path) -> None:
    second = (
        RIG[RIG.index("[[mount]]") :].replace("front", "rear").replace("pan_deg = 0", "pan_deg = 9")
    )
    (folder / "plan.toml").write_text(RIG + second, encoding="utf-8")
    rig, law = load_rig(folder / "plan.toml"), load_camera(ORCHARD / "cameras/wide_mono_law.toml")
    other = rig.with_camera(law)
    assert [mount.camera.name for mount in rig.mounts] == ["eye", "eye"]
    assert [mount.camera for mount in other.mounts] == [law, law]
    for one, two in zip(rig.mounts, other.mounts, strict=True):
        assert one.name == two.name
        assert_allclose(one.robot_from_camera.matrix, two.robot_from_camera.matrix)
    with pytest.raises(InputError, match=r"'plan' has no mount .* \(got 'wide mono, by law'\)"):
        replace(rig, mounts=()).with_camera(law)


@pytest.mark.parametrize(
    ("name", "old", "new", "message"),
    [
        (
            "robot.toml",
            "length_m = 0.8",
            "length_m = -0.8",
            "robot.toml:2: length_m: must be greater than 0 (got -0.8)",
        ),
        (
            "robot.toml",
            "[0, -0.3]]",
            "[0, -0.3], [1, 0]]",
            "robot.toml:10: drivetrain.wheels_m: wheels: differential needs 2 (got 3)",
        ),
        (
            "robot.toml",
            '"differential"',
            '"mecanum"',
            "robot.toml:10: drivetrain.wheels_m: wheels: mecanum needs 4 (got 2)",
        ),
        (
            "robot.toml",
            '"differential"',
            '"omni"',
            "robot.toml:9: drivetrain.kind: must be one of 'swerve', 'mecanum', 'differential' "
            "(got 'omni')",
        ),
        (
            "robot.toml",
            "steering_std_deg = 0.5",
            "steering_std_rad = 0.01",
            "robot.toml:13: drivetrain.steering_std_rad: unknown key, or a wrong unit; allowed: "
            "steering_std_deg (got steering_std_rad = 0.01)",
        ),
        (
            "robot.toml",
            "bias_deg_per_s = 0.1",
            "bias_deg_per_s = -0.1",
            "robot.toml:18: gyro.bias_deg_per_s: must be greater than or equal to 0 (got -0.1)",
        ),
        (
            "robot.toml",
            "pivot_high_deg = 70",
            "pivot_high_deg = 10",
            "robot.toml:19: shooter: pivot_high_deg must be 20 (pivot_low_deg) or more (got 10)",
        ),
        (
            "robot.toml",
            "pivot_high_deg = 70",
            "pivot_high_deg = 95",
            "robot.toml:23: shooter.pivot_high_deg: must be less than or equal to 90 (got 95)",
        ),
        (
            "robot.toml",
            "size_m = [0.2, 0.2, 1]",
            "size_m = [0.2, 0, 1]",
            "robot.toml:7: box.1.size_m.2: must be greater than 0 (got 0)",
        ),
        (
            "eye.toml",
            "view_deg = 75",
            "view_deg = 270",
            "eye.toml:4: field_of_view_deg: must be less than or equal to 179 (got 270)",
        ),
        (
            "eye.toml",
            "view_deg = 75",
            "view_deg = 0",
            "eye.toml:4: field_of_view_deg: must be greater than or equal to 1 (got 0)",
        ),
        (
            "eye.toml",
            "field_of_view_deg = 75\n",
            "",
            "eye.toml: field_of_view_deg: missing: the lens needs this, or both focal_px and "
            "centre_px",
        ),
        (
            "eye.toml",
            "field_of_view_deg = 75",
            "focal_px = [1, 1]",
            "eye.toml: field_of_view_deg: missing: the lens needs this, or both focal_px and "
            "centre_px",
        ),
        (
            "eye.toml",
            "field_of_view_deg = 75",
            "field_of_view_deg = 75\nfocal_px = [1, 1]",
            "eye.toml:4: field_of_view_deg: give either this, or focal_px and centre_px, not both",
        ),
        (
            "eye.toml",
            "field_of_view_deg = 75",
            "field_of_view_deg = 75\ndistortion = [1, 2]",
            "eye.toml:5: distortion: must hold 4, 5 or 8 numbers: k1 k2 p1 p2 (k3 (k4 k5 k6)) "
            "(got 2)",
        ),
        (
            "eye.toml",
            "noise_px = 0.3",
            "noise_px = -0.3",
            "eye.toml:11: detector.noise_px: must be greater than 0 (got -0.3)",
        ),
        (
            "eye.toml",
            "noise_px = 0.3\n",
            "",
            "eye.toml:10: detector.noise_px: missing, and must be given",
        ),
        (
            "eye.toml",
            "noise_px = 0.3",
            "noise_px = nan",
            "eye.toml:11: detector.noise_px: must be a finite number (got nan)",
        ),
        (
            "eye.toml",
            CAMERA[CAMERA.index("[detector]") :],
            "",
            "eye.toml: detector: missing, and must be given",
        ),
        (
            "eye.toml",
            "jitter_ms = 10",
            "jitter_ms = 50",
            "eye.toml:9: timing.latency_jitter_ms: latency_jitter_s: must be between 0 and 0.04 "
            "(got 0.05)",
        ),
        (
            "eye.toml",
            "width_px = 1280",
            "width_px = 1280.5",
            "eye.toml:2: width_px: must be a whole number (got 1280.5)",
        ),
        (
            "plan.toml",
            '"robot.toml"',
            '"robo.toml"',
            "plan.toml:2: robot: no such file (got 'robo.toml'); did you mean 'robot.toml'?",
        ),
        (
            "plan.toml",
            '"eye.toml"',
            '"eye2.toml"',
            "plan.toml:5: mount.1.camera: no such file (got 'eye2.toml'); did you mean 'eye.toml'?",
        ),
        (
            "plan.toml",
            "[0.3, 0, 0.5]",
            "[0.05, 0, 0.5]",
            "plan.toml:6: mount.1.position_m: mount 'front': the camera at (0.05, 0, 0.5) m sits "
            "inside the robot's own box 'mast'",
        ),
        (
            "plan.toml",
            RIG[RIG.index("[[mount]]") :],
            2 * RIG[RIG.index("[[mount]]") :],
            "plan.toml:10: mount.2.name: 'front' is used by mount.1 already",
        ),
        (
            "plan.toml",
            "tilt_deg = 15",
            "tilt_deg = 100",
            "plan.toml:8: mount.1.tilt_deg: must be less than or equal to 90 (got 100)",
        ),
        (
            "plan.toml",
            "pan_deg = 0\n",
            "",
            "plan.toml:3: mount.1.pan_deg: missing, and must be given",
        ),
        (
            "plan.toml",
            'name = "front"',
            'name = ""',
            "plan.toml:4: mount.1.name: must not be empty (got '')",
        ),
    ],
)
def test_each_fault_is_reported_in_one_line(
    folder: Path, name: str, old: str, new: str, message: str
) -> None:
    change(folder, name, old, new)
    with pytest.raises(FileError) as caught:
        load_rig(folder / "plan.toml")
    assert faults_of(caught.value, folder) == [message]


def test_faults_of_all_files_are_reported_each_once(folder: Path) -> None:
    change(folder, "robot.toml", "rate_hz = 50", "rate_hz = 0")
    change(folder, "eye.toml", "noise_px = 0.3", "noise_px = 0")
    mount = RIG[RIG.index("[[mount]]") :]
    change(folder, "plan.toml", mount, mount + mount)
    with pytest.raises(FileError) as caught:
        load_rig(folder / "plan.toml")
    assert [fault.split(": ")[0] for fault in faults_of(caught.value, folder)] == [
        "robot.toml:12",
        "eye.toml:11",
        "plan.toml:10",
    ]


def test_there_are_six_plans_that_differ() -> None:
    rigs = [load_rig(path) for path in RIGS]
    assert len({rig.name for rig in rigs}) == 6
    axes = [
        np.array([mount.robot_from_camera.matrix[:3, 2:].T.ravel() for mount in rig.mounts])
        for rig in rigs
    ]
    for place, one in enumerate(axes):
        for other in axes[place + 1 :]:
            assert one.shape != other.shape or np.abs(one - other).max() > 0.1


@pytest.mark.parametrize("path", RIGS, ids=lambda path: path.stem)
def test_the_demo_cameras_stand_where_cameras_can(path: Path) -> None:
    rig = load_rig(path)
    on_mast = path.stem == "all_on_mast"
    for mount in rig.mounts:
        x, y, z = mount.position_in_robot_m
        assert abs(x) <= rig.body.length_m / 2
        assert abs(y) <= rig.body.width_m / 2
        assert z == pytest.approx(0.9) if on_mast else 0.4 <= z <= 0.6


def test_the_demo_cameras_differ_in_their_detector_alone() -> None:
    one, *others = (
        tomllib.loads((ORCHARD / "cameras" / f"wide_mono{end}.toml").read_text(encoding="utf-8"))
        for end in ("_edges", "", "_law")
    )
    own = {key: one.pop(key) for key in ("name", "detector")}
    for other in others:
        assert all(other.pop(key) != value for key, value in own.items())
        for key, value in one.items():
            if isinstance(value, dict):  # the law's file spells out what is off by default
                assert other[key].items() >= value.items()
            else:
                assert other[key] == value


@pytest.mark.parametrize("blur_px", [0.0, 1.5])
@pytest.mark.parametrize("incidence_deg", [0.0, 40.0, 55.0])
@pytest.mark.parametrize("edge_px", [18.0, 25.0, 32.0, 45.0, 60.0])
def test_the_demo_detector_by_law_is_near_the_measured_one(
    edge_px: float, incidence_deg: float, blur_px: float
) -> None:
    cameras = [load_camera(ORCHARD / "cameras" / f"wide_mono{end}.toml") for end in ("", "_law")]
    measured, law = (
        detector_response(
            camera.detector,
            distance_m=camera.lens.focal_px[:1] * 0.15 / edge_px,
            cos_incidence=np.cos(np.radians([incidence_deg])),
            edge_px=np.array([edge_px]),
            blur_px=np.array([blur_px]),
            noise_grey=camera.image.noise_grey,
        )
        for camera in cameras
    )
    assert 1 / 3 < law.std_px[0] / measured.std_px[0] < 3
    assert abs(law.found_probability[0] - measured.found_probability[0]) < 0.35
    assert abs(law.inward_px[0] - measured.inward_px[0] - 0.7 * measured.narrowing_px[0]) < 0.5
