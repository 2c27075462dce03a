"""A plan may put another camera on all mounts of its rig."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import posefuse as pf
from posefuse.errors import FileError

ROOT = Path(__file__).parents[3]
REFINEMENTS = ROOT / "datasets" / "orchard" / "refinements.toml"
RIVAL = 'camera = "cameras/wide_mono.toml"'


def study_file(folder: Path, old: str, new: str) -> Path:
    """The shipped study with one place changed."""
    text = REFINEMENTS.read_text(encoding="utf-8")
    assert old in text
    text = text.replace(old, new).replace('"../../', f'"{ROOT.as_posix()}/')
    for name in ("courses/", "rigs/", "cameras/", "filter"):
        text = text.replace(f'"{name}', f'"{REFINEMENTS.parent.as_posix()}/{name}')
    path = folder / "study.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_shipped_plans_differ_in_their_cameras_detector_alone() -> None:
    edges, subpixel, trusted_less = pf.load_study(REFINEMENTS).plans
    assert trusted_less.camera_path is None
    assert trusted_less.settings == subpixel.settings != edges.settings
    assert edges.rig_path == subpixel.rig_path
    assert edges.camera_path is None
    assert subpixel.camera_path.name == "wide_mono.toml"
    for one, two in zip(edges.rig.mounts, subpixel.rig.mounts, strict=True):
        np.testing.assert_array_equal(one.robot_from_camera.matrix, two.robot_from_camera.matrix)
        assert (one.name, one.camera.timing) == (two.name, two.camera.timing)
        assert one.camera.detector.refinement.value == "edges"
        assert two.camera.detector.refinement.value == "subpixel"


@pytest.mark.parametrize(
    ("new", "message"),
    [
        ('camera = "cameras/wide_mno.toml"', "study.toml:36: plan.2.camera: no such file (got "),
        ('camera = "rigs/two_cameras.toml"', "two_cameras.toml"),
        ("camera = 3", "study.toml:36: plan.2.camera: must be a text in quotes (got 3)"),
        ('cameras = "a.toml"', "study.toml:36: plan.2.cameras: unknown key; did you mean "),
    ],
)
def test_faults_are_told_by_line(tmp_path: Path, new: str, message: str) -> None:
    path = study_file(tmp_path, RIVAL, new)
    with pytest.raises(FileError) as caught:
        pf.load_study(path)
    assert message in str(caught.value)


def test_a_rig_without_mounts_carries_no_camera(tmp_path: Path) -> None:
    robot = (REFINEMENTS.parent / "robot.toml").as_posix()
    (tmp_path / "bare.toml").write_text(
        f'name = "bare"\nrobot = "{robot}"\n[[ranger]]\nname = "uwb"\nposition_m = [0, 0, 1]\n',
        encoding="utf-8",
    )
    path = study_file(
        tmp_path, f'rig = "rigs/four_corners.toml"\n{RIVAL}', f'rig = "bare.toml"\n{RIVAL}'
    )
    with pytest.raises(
        FileError, match=r"plan\.2\.camera: the rig 'bare' has no mount .* \(got 'wide mono'\)"
    ):
        pf.load_study(path)


def test_corners_without_bias_come_first() -> None:
    study = pf.load_study(REFINEMENTS)
    short = replace(study, courses=tuple(course.first(15.0) for course in study.courses))
    rows = {row.plan: row for row in pf.compare(short, trials=3).ranking}
    rms_m = {name: row.distance_rms_m.value for name, row in rows.items()}
    subpixel = rms_m["OpenCV's sub-pixel"]
    assert rms_m["lines along the sides"] < 0.8 * subpixel
    assert rms_m["lines, trusted less"] < 0.8 * subpixel
    # tags hung by hand: who trusts good corners too much faces the goal less well
    hits = {name: row.hits.per_100.value for name, row in rows.items() if row.hits}
    assert hits["lines, trusted less"] > hits["OpenCV's sub-pixel"] > hits["lines along the sides"]


@pytest.mark.slow
def test_the_readme_says_what_they_reach() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for row in pf.compare(pf.load_study(REFINEMENTS)).ranking:
        value, low, high = (
            100.0 * getattr(row.distance_rms_m, n) for n in ("value", "low", "high")
        )
        assert f"| {row.plan} | {value:.2f} ({low:.2f} to {high:.2f}) |" in readme


def test_the_filters_differ_in_the_spread_of_corners_alone() -> None:
    edges, subpixel = (
        tomllib.loads((REFINEMENTS.parent / f"filter{end}.toml").read_text(encoding="utf-8"))
        for end in ("", "_subpixel")
    )
    assert edges["noise"].pop("pixel_std_px") < 0.1 < subpixel["noise"].pop("pixel_std_px")
    assert edges == subpixel
