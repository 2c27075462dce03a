"""Every key of robot, camera and rig files reaches the field it names, in that field's unit."""

import math
from dataclasses import fields
from pathlib import Path

import pytest
from numpy.testing import assert_allclose

from posefuse.errors import FileError
from posefuse.robot.camera import Camera, CornerRefinement, Timing
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind, Gyro
from posefuse.robot.image_quality import Defocus, ImageQuality
from posefuse.robot.load import load_camera, load_rig, load_robot
from posefuse.robot.rig import mount_pose

ROBOT = """name = "cart"
length_m = 0.8
width_m = 0.7
lean_deg_per_m_per_s2 = 0.3
[[box]]
name = "mast"
centre_m = [0.1, 0.2, 0.5]
size_m = [0.3, 0.4, 1]
[drivetrain]
kind = "swerve"
wheels_m = [[0.3, 0.2], [-0.3, -0.2]]
wheel_radius_m = 0.05
rate_hz = 50
encoder_counts_per_turn = 4096
steering_std_deg = 0.5
slip_per_m_per_s2 = 0.01
travel_std_m_per_sqrt_m = 0.02
speed_m_per_s = 3
acceleration_m_per_s2 = 4
turn_rate_deg_per_s = 350
[gyro]
bias_deg_per_s = 0.1
drift_deg_per_s_per_sqrt_s = 0.2
noise_deg_per_sqrt_s = 0.3
scale_fraction = 0.004
"""
CAMERA = """name = "eye"
width_px = 1280
height_px = 800
row_time_s = 1e-5
focal_px = [910, 905]
centre_px = [650, 390]
distortion = [1, 2, 3, 4, 5, 6, 7, 8]
[timing]
frame_rate_hz = 30
exposure_s = 0.005
latency_s = 0.04
latency_jitter_s = 0.01
drop_rate = 0.06
outages_per_minute = 0.7
outage_s = 1.5
[detector]
noise_px = 0.31
noise_px_per_m = 0.32
grazing_noise_px = 0.33
blur_noise = 0.34
noise_px_per_grey = 0.36
shared_fraction = 0.35
inward_px = 0.37
shift_px = [0.38, 0.39]
half_found_edge_px = 12
found_edge_width_px = 3
miss_rate = 0.02
least_edge_px = 9
most_incidence_deg = 70
false_id_rate = 0.01
wrong_corners_rate = 0.03
wrong_corners_px = 15
refinement = "contour"
[image]
defocus = "disc"
defocus_px = 0.7
vignetting_share = 0.1
lamp_share = 0.2
glare_share = 0.3
white_share = 0.9
black_grey = 5
full_well_electrons = 8000
gain_factor = 2
read_noise_electrons = 6
"""
RIG = """name = "plan"
robot = "robot.toml"
[[mount]]
name = "front"
camera = "eye.toml"
position_m = [0.3, 0.1, 0.5]
pan_deg = 10
tilt_deg = 20
roll_deg = 30
[[ranger]]
name = "uwb"
position_m = [0.1, 0.2, 1]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, text in (("robot", ROBOT), ("eye", CAMERA), ("plan", RIG)):
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    return tmp_path


def figures(thing: object, names: set[str]) -> dict[str, object]:
    return {name: getattr(thing, name) for name in names}


def names_of(kind: type, *, less: set[str] = frozenset()) -> set[str]:
    """The fields of a dataclass: one that is added later must be added to these tests too."""
    return {field.name for field in fields(kind)} - less


def test_the_body(folder: Path) -> None:
    body, _ = load_robot(folder / "robot.toml")
    assert (body.length_m, body.width_m) == (0.8, 0.7)
    assert body.lean_rad_per_m_per_s2 == pytest.approx(math.radians(0.3))
    (box,) = body.boxes
    assert box.name == "mast"
    assert_allclose(box.centre_in_robot_m, [0.1, 0.2, 0.5])
    assert_allclose(box.size_m, [0.3, 0.4, 1.0])


def test_the_drivetrain(folder: Path) -> None:
    _, drivetrain = load_robot(folder / "robot.toml")
    assert_allclose([w.position_in_robot_m for w in drivetrain.wheels], [[0.3, 0.2], [-0.3, -0.2]])
    assert figures(drivetrain, names_of(Drivetrain, less={"wheels", "gyro"})) == {
        "kind": DrivetrainKind.SWERVE,
        "wheel_radius_m": 0.05,
        "rate_hz": 50.0,
        "encoder_counts_per_turn": 4096,
        "steering_std_rad": math.radians(0.5),
        "slip_per_m_per_s2": 0.01,
        "travel_std_m_per_sqrt_m": 0.02,
        "speed_m_per_s": 3.0,
        "acceleration_m_per_s2": 4.0,
        "turn_rate_rad_per_s": math.radians(350.0),
    }
    assert drivetrain.gyro == Gyro(
        bias_rad_per_s=math.radians(0.1),
        drift_rad_per_s_per_sqrt_s=math.radians(0.2),
        noise_rad_per_sqrt_s=math.radians(0.3),
        scale_fraction=0.004,
    )


def test_the_camera(folder: Path) -> None:
    camera = load_camera(folder / "eye.toml")
    sensor, lens = camera.sensor, camera.lens
    assert (sensor.width_px, sensor.height_px, sensor.row_time_s) == (1280, 800, 1e-5)
    assert_allclose(lens.focal_px, [910.0, 905.0])
    assert_allclose(lens.centre_px, [650.0, 390.0])
    assert_allclose(lens.distortion, [1, 2, 3, 4, 5, 6, 7, 8])
    assert camera.timing == Timing(
        frame_rate_hz=30.0,
        exposure_s=0.005,
        latency_s=0.04,
        latency_jitter_s=0.01,
        drop_rate=0.06,
        outages_per_minute=0.7,
        outage_s=1.5,
    )
    assert camera.image == ImageQuality(
        defocus=Defocus.DISC,
        defocus_px=0.7,
        vignetting_share=0.1,
        lamp_share=0.2,
        glare_share=0.3,
        white_share=0.9,
        black_grey=5.0,
        full_well_electrons=8000.0,
        gain_factor=2.0,
        read_noise_electrons=6.0,
    )


def test_the_detector(folder: Path) -> None:
    detector = load_camera(folder / "eye.toml").detector
    assert_allclose(detector.shift_px, [0.38, 0.39])
    expected = {
        "noise_px": 0.31,
        "noise_px_per_m": 0.32,
        "grazing_noise_px": 0.33,
        "blur_noise": 0.34,
        "noise_px_per_grey": 0.36,
        "shared_fraction": 0.35,
        "inward_px": 0.37,
        "half_found_edge_px": 12.0,
        "found_edge_width_px": 3.0,
        "miss_rate": 0.02,
        "least_edge_px": 9.0,
        "most_incidence_rad": math.radians(70.0),
        "false_id_rate": 0.01,
        "wrong_corners_rate": 0.03,
        "wrong_corners_px": 15.0,
        "refinement": CornerRefinement.CONTOUR,
    }
    assert figures(detector, set(expected)) == expected


def with_exposure(folder: Path, exposure_s: float, gain: str) -> Camera:
    text = CAMERA.replace("exposure_s = 0.005", f"exposure_s = {exposure_s}")
    text = text.replace("gain_factor = 2", gain)
    (folder / "eye.toml").write_text(text, encoding="utf-8")
    return load_camera(folder / "eye.toml")


def test_a_shorter_exposure_takes_gain_and_the_gain_shows_the_noise(folder: Path) -> None:
    """EMVA 1288: grey = K e, e of Poisson's law, read noise d: std = sqrt(K grey + K^2 d^2).

    White is 229.5 grey, half of it 114.75; K = 255 / 8000 grey an electron at gain 1.
    """
    for exposure_s, unit_s, gain in ((0.005, 0.01, 2.0), (0.0025, 0.01, 4.0), (0.005, 0.02, 4.0)):
        camera = with_exposure(folder, exposure_s, f"unit_gain_exposure_s = {unit_s}")
        grey_an_electron = gain * 255.0 / 8000.0
        noise = math.hypot(math.sqrt(grey_an_electron * 114.75), 6.0 * grey_an_electron)
        assert camera.image.gain_factor == pytest.approx(gain)
        assert camera.image.noise_grey == pytest.approx(noise)
    by_hand = with_exposure(folder, 0.005, "gain_factor = 2")
    (folder / "eye.toml").write_text(CAMERA, encoding="utf-8")
    assert by_hand.image.gain_factor == 2.0


@pytest.mark.parametrize(
    ("exposure_s", "gain", "message"),
    [
        (0.005, "gain_factor = 2\nunit_gain_exposure_s = 0.01", "keep one of the two"),
        (0.02, "unit_gain_exposure_s = 0.01", r"must be 0\.02 \(exposure_s\) or more"),
        (0.0, "unit_gain_exposure_s = 0.01", r"exposure_s: must be greater than 0"),
        (0.005, "unit_gain_exposure_s = 0", r"unit_gain_exposure_s: must be greater than 0"),
    ],
)
def test_gains_that_cannot_be_are_refused(
    folder: Path, exposure_s: float, gain: str, message: str
) -> None:
    with pytest.raises(FileError, match=rf"eye\.toml.*{message}"):
        with_exposure(folder, exposure_s, gain)


def test_the_mounts_and_rangers(folder: Path) -> None:
    rig = load_rig(folder / "plan.toml")
    (mount,), (ranger,) = rig.mounts, rig.rangers
    assert (mount.name, mount.camera.name, ranger.name) == ("front", "eye", "uwb")
    angles = [math.radians(angle) for angle in (10.0, 20.0, 30.0)]
    assert [mount.pan_rad, mount.tilt_rad, mount.roll_rad] == angles
    assert_allclose(mount.position_in_robot_m, [0.3, 0.1, 0.5])
    pose = mount_pose(
        mount.position_in_robot_m, pan_rad=angles[0], tilt_rad=angles[1], roll_rad=angles[2]
    )
    assert_allclose(mount.robot_from_camera.matrix, pose.matrix)
    assert_allclose(ranger.position_in_robot_m, [0.1, 0.2, 1.0])
