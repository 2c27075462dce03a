"""Camera files with a measured lens, new and replaced."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from posefuse.calibration.camera_file import BaseCamera, camera_text
from posefuse.calibration.lens import LensCalibration, calibrate_lens
from posefuse.calibration.load import load_base_camera
from posefuse.errors import FileError
from posefuse.robot.load import load_camera
from rendered_board import (
    CHARUCO,
    known_camera,
    noisy_view,
    random_lens,
    survey_of,
    varied_poses,
)

ROOT = Path(__file__).parents[3]
WIDE = ROOT / "datasets" / "orchard" / "cameras" / "wide_mono_law.toml"


@pytest.fixture(scope="module")
def calibration() -> LensCalibration:
    rng = np.random.default_rng(31)
    camera = known_camera(random_lens(rng), samples=1)
    poses = varied_poses(camera, CHARUCO, count=12, rng=rng)
    views = (
        noisy_view(camera, CHARUCO, pose, name=f"{index}.png", std_px=0.1, rng=rng)
        for index, pose in enumerate(poses)
    )
    return calibrate_lens(survey_of(camera, views), CHARUCO)


def _base(tmp_path: Path) -> Path:
    """The shipped camera at the size of the pictures."""
    text = WIDE.read_text(encoding="utf-8")
    path = tmp_path / "base.toml"
    path.write_text(text.replace("1280", "640").replace("800", "400"), encoding="utf-8")
    return path


def test_a_replaced_lens_reads_back_and_the_rest_is_kept(
    tmp_path: Path, calibration: LensCalibration
) -> None:
    base = _base(tmp_path)
    path = tmp_path / "new.toml"
    path.write_text(
        camera_text(calibration, path=path, base=load_base_camera(base)), encoding="utf-8"
    )
    old, new = load_camera(base), load_camera(path)
    np.testing.assert_allclose(new.lens.focal_px, calibration.lens.focal_px, rtol=1e-9)
    np.testing.assert_allclose(new.lens.centre_px, calibration.lens.centre_px, rtol=1e-9)
    np.testing.assert_allclose(new.lens.distortion, calibration.lens.distortion, rtol=1e-9)
    assert (new.name, new.sensor, new.timing) == (old.name, old.sensor, old.timing)
    assert new.detector.noise_px == old.detector.noise_px
    kept = [line for line in base.read_text(encoding="utf-8").split("\n") if "latency" in line]
    assert set(kept) <= set(path.read_text(encoding="utf-8").split("\n"))


def test_measuring_again_leaves_one_note(tmp_path: Path, calibration: LensCalibration) -> None:
    path = tmp_path / "new.toml"
    once = camera_text(calibration, path=path, base=load_base_camera(_base(tmp_path)))
    path.write_text(once, encoding="utf-8")
    assert camera_text(calibration, path=path, base=load_base_camera(path)) == once
    assert once.count("measured in 12 pictures") == 1


def test_a_file_of_its_own_says_what_is_left_to_fill_in(
    tmp_path: Path, calibration: LensCalibration
) -> None:
    path = tmp_path / "front.toml"
    text = camera_text(calibration, path=path)
    assert tomllib.loads(text)["name"] == "front"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileError) as caught:
        load_camera(path)
    assert [fault.key for fault in caught.value.faults] == ["timing", "detector"]
    filled = text.replace("# [", "[")
    for key in ("frame_rate_hz", "exposure_s", "latency_s", "noise_px"):
        filled = filled.replace(f"# {key} =", f"{key} = 0.5")
    path.write_text(filled, encoding="utf-8")
    assert load_camera(path).timing.frame_rate_hz == 0.5


def test_deviations_stand_beside_the_numbers(calibration: LensCalibration) -> None:
    text = camera_text(calibration, path=Path("front.toml"))
    k2 = next(line for line in text.split("\n") if "# k2" in line)
    assert k2.endswith(f"standard deviation {calibration.distortion_std[1]:.2g}")
    fx, fy = calibration.focal_std_px
    assert f"standard deviations {fx:.2g} and {fy:.2g} px; measured in 12 pictures, " in text


def test_a_base_of_another_size_is_refused(calibration: LensCalibration) -> None:
    with pytest.raises(FileError) as caught:
        camera_text(calibration, path=Path("a.toml"), base=load_base_camera(WIDE))
    assert str(caught.value) == (
        f"{WIDE}: width_px, height_px: 1280 x 800 px, the pictures are 640 x 400 px"
    )


def test_a_table_that_the_base_names_is_named_from_the_new_place(
    tmp_path: Path, calibration: LensCalibration
) -> None:
    text = 'name = "a"\n[detector]\ntable = "tables/response.csv" # measured\n'
    base = BaseCamera(path=tmp_path / "old" / "a.toml", text=text, width_px=640, height_px=400)
    for place, seen in (
        (tmp_path / "old" / "b.toml", "tables/response.csv"),
        (tmp_path / "new" / "deep" / "b.toml", "../../old/tables/response.csv"),
    ):
        text = camera_text(calibration, path=place, base=base)
        assert f'table = "{seen}" # measured\n' in text
