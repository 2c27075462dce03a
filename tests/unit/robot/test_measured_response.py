"""Response tables: between their points, at their ends, named by camera files, and every fault."""

import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from posefuse.errors import FileError, InputError
from posefuse.files.table_file import write_table
from posefuse.robot.camera import CornerRefinement, Detector
from posefuse.robot.image_quality import ImageQuality
from posefuse.robot.load import (
    camera_sources,
    load_camera,
    load_imaging,
    load_response,
    rig_sources,
)
from posefuse.robot.measured_response import AXIS_COLUMNS, MeasuredResponse
from posefuse.sensing.detector_law import detector_response

EDGES, ANGLES, BLURS = (10.0, 20.0, 60.0), (0.0, 60.0), (0.0, 8.0)
NOISES, DEFOCUSES = (1.0, 4.0), (0.5, 1.0)
CAMERA = """name = "eye"
width_px = 640
height_px = 400
field_of_view_deg = 75
[timing]
frame_rate_hz = 30
exposure_ms = 5
latency_ms = 40
[detector]
table = "tables/eye.csv"
most_incidence_deg = 70
[image]
gain_factor = 2
defocus_px = 0.8
"""


def linear(edge, angle_deg, blur, noise, defocus) -> dict[str, float]:
    """A response that is linear in each of its axes, so that interpolation is exact."""
    return {
        "found_probability": 0.01 * edge + 0.001 * angle_deg + 0.005 * blur,
        "std_px": 0.1 + 0.01 * blur + 0.05 * noise + 0.02 * defocus,
        "shared_fraction": 0.3 - 0.001 * angle_deg,
        "persistent_fraction": 0.9 - 0.002 * angle_deg,
        "inward_px": 0.5 - 0.005 * edge + 0.1 * defocus,
        "narrowing_px": 0.02 * blur,
        "shift_x_px": 0.01 * noise,
        "shift_y_px": -0.02 * defocus,
    }


def columns() -> dict[str, list[float]]:
    places = list(itertools.product(EDGES, ANGLES, BLURS, NOISES, DEFOCUSES))
    rows = [dict(zip(AXIS_COLUMNS, place, strict=True)) | linear(*place) for place in places]
    return {name: [row[name] for row in rows] for name in rows[0]}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "tables").mkdir()
    write_table(tmp_path / "tables" / "eye.csv", columns())
    (tmp_path / "eye.toml").write_text(CAMERA, encoding="utf-8")
    return tmp_path


def change(folder: Path, old: str, new: str) -> None:
    path = folder / "eye.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_a_camera_file_names_its_table(folder: Path) -> None:
    camera = load_camera(folder / "eye.toml")
    noise, defocus = camera.image.noise_grey, 0.8
    assert noise == pytest.approx(2.7, abs=0.1)
    edge, angle, blur = np.array([10.0, 33.0, 60.0]), np.radians([0.0, 25.0, 60.0]), [0.0, 3.0, 8.0]
    response = detector_response(
        camera.detector,
        distance_m=np.ones(3),
        cos_incidence=np.cos(angle),
        edge_px=edge,
        blur_px=np.array(blur),
        noise_grey=noise,
    )
    expected = [
        linear(*place, noise, defocus) for place in zip(edge, np.degrees(angle), blur, strict=True)
    ]
    for name in (
        "found_probability",
        "std_px",
        "shared_fraction",
        "persistent_fraction",
        "inward_px",
    ):
        np.testing.assert_allclose(getattr(response, name), [row[name] for row in expected])
    shifts = [(row["shift_x_px"], row["shift_y_px"]) for row in expected]
    np.testing.assert_allclose(response.shift_px, shifts)


def test_beyond_the_table_the_response_is_held(folder: Path) -> None:
    detector = load_camera(folder / "eye.toml").detector
    at_ends, beyond = (
        detector_response(
            detector,
            distance_m=np.ones(2),
            cos_incidence=np.cos(np.radians(angles)),
            edge_px=np.array(edges),
            blur_px=np.array(blurs),
            noise_grey=2.0,
        )
        for angles, edges, blurs in (
            ([0.0, 60.0], [10.0, 60.0], [0.0, 8.0]),
            ([0.0, 80.0], [3.0, 500.0], [0.0, 30.0]),
        )
    )
    np.testing.assert_array_equal(at_ends.std_px, beyond.std_px)
    np.testing.assert_array_equal(at_ends.found_probability, beyond.found_probability)


def test_a_table_of_one_point(tmp_path: Path) -> None:
    one = {name: values[:1] for name, values in columns().items()}
    write_table(tmp_path / "one.csv", one)
    measured = load_response(tmp_path / "one.csv", noise_grey=1.0, defocus_px=0.5)
    assert measured.std_px.shape == (1, 1, 1)
    response = detector_response(
        Detector(measured=measured),
        distance_m=np.ones(1),
        cos_incidence=np.ones(1),
        edge_px=np.array([33.0]),
        blur_px=np.zeros(1),
        noise_grey=2.0,
    )
    assert response.std_px[0] == one["std_px"][0]


def test_sources_of_a_rig_hold_the_table(folder: Path) -> None:
    robot = folder / "robot.toml"
    robot.write_text(
        'name = "box"\nlength_m = 1\nwidth_m = 1\n[drivetrain]\nkind = "differential"\n'
        "wheels_m = [[0, 0.3], [0, -0.3]]\nwheel_radius_m = 0.1\nrate_hz = 50\n"
        "speed_m_per_s = 3\nacceleration_m_per_s2 = 4\nturn_rate_deg_per_s = 360\n",
        encoding="utf-8",
    )
    rig = folder / "rig.toml"
    rig.write_text(
        'name = "rig"\nrobot = "robot.toml"\n[[mount]]\nname = "front"\ncamera = "eye.toml"\n'
        "position_m = [0.3, 0, 0.5]\npan_deg = 0\ntilt_deg = 0\n",
        encoding="utf-8",
    )
    names = [path.relative_to(folder).as_posix() for path in rig_sources(rig)]
    assert names == ["rig.toml", "robot.toml", "eye.toml", "tables/eye.csv"]


def with_recipe(folder: Path, text: str) -> None:
    (folder / "tables" / "eye.toml").write_text(text, encoding="utf-8")


@pytest.mark.parametrize("refinement", list(CornerRefinement))
def test_the_refinement_is_that_of_the_recipe(folder: Path, refinement: CornerRefinement) -> None:
    with_recipe(folder, f'[detector]\nrefinement = "{refinement.value}"\n')
    if refinement is not CornerRefinement.SUBPIXEL:  # what a camera file says that says nothing
        with pytest.raises(FileError) as caught:
            load_camera(folder / "eye.toml")
        assert str(caught.value).endswith(
            f"eye.toml:9: detector.refinement: must be {refinement.value!r}, with which eye.csv "
            "was measured by the recipe beside it (got 'subpixel')"
        )
    change(folder, "most_incidence_deg = 70", f'refinement = "{refinement.value}"')
    assert load_camera(folder / "eye.toml").detector.refinement is refinement
    assert load_imaging(folder / "eye.toml").refinement is refinement
    others = [other for other in CornerRefinement if other is not refinement]
    change(folder, f'refinement = "{refinement.value}"', f'refinement = "{others[0].value}"')
    with pytest.raises(FileError, match=r"eye\.toml:11: detector\.refinement: must be"):
        load_camera(folder / "eye.toml")


@pytest.mark.parametrize("text", ["seed = 1\n", "detector = 3\n", "[detector]\n"])
def test_a_recipe_need_not_tell_the_refinement(folder: Path, text: str) -> None:
    with_recipe(folder, text)
    change(folder, "most_incidence_deg = 70", 'refinement = "edges"')
    assert load_camera(folder / "eye.toml").detector.refinement is CornerRefinement.EDGES


def test_sources_of_a_camera_hold_the_recipe(folder: Path) -> None:
    with_recipe(folder, "seed = 1\n")
    names = [path.relative_to(folder).as_posix() for path in camera_sources(folder / "eye.toml")]
    assert names == ["eye.toml", "tables/eye.csv", "tables/eye.toml"]


def test_imaging_does_not_need_the_table(folder: Path) -> None:
    (folder / "tables" / "eye.csv").unlink()
    imaging = load_imaging(folder / "eye.toml")
    assert imaging.image.gain_factor == 2.0
    assert imaging.sensor.width_px == 640


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("eye.csv", "ear.csv", "eye.toml:10: detector.table: no such file (got 'tables/ear.csv')"),
        (
            "most_incidence_deg = 70",
            "noise_px = 0.3",
            "eye.toml:11: detector.noise_px: the table holds this already: keep one of the two "
            "(got 0.3)",
        ),
        (
            "defocus_px = 0.8",
            "defocus_px = 3",
            "tables/eye.csv: was measured for defocus_px 0.5 to 1; the camera's [image] gives 3",
        ),
        (
            "gain_factor = 2",
            "gain_factor = 16",
            "tables/eye.csv: was measured for noise_grey 1 to 4; the camera's [image] gives 8.24",
        ),
        ("gain_factor = 2", "gain_factor = 0", "eye.toml:13: image.gain_factor: must be greater"),
        ("gain_factor = 2", "gain = 2", "eye.toml:13: image.gain: unknown key; "),
        ("defocus_px = 0.8", 'defocus = "star"', "eye.toml:14: image.defocus: must be one of "),
        (
            'table = "tables/eye.csv"',
            'noise_px = 0.3\nrefinement = "magic"',
            "eye.toml:11: detector.refinement: must be one of 'none', 'subpixel', 'contour', "
            "'edges'",
        ),
    ],
)
def test_faults_of_the_camera_file(folder: Path, old: str, new: str, message: str) -> None:
    change(folder, old, new)
    with pytest.raises(FileError) as caught:
        load_camera(folder / "eye.toml")
    assert str(caught.value).replace(str(folder), "").lstrip("/\\").startswith(message)


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (
            lambda t: {n: v[:-1] for n, v in t.items()},
            "no row for edge_px = 60, incidence_deg = 60",
        ),
        (lambda t: {n: [*v, v[0]] for n, v in t.items()}, "edge_px = 10, .* appears twice"),
        (lambda t: {n: [] for n in t}, "holds no rows"),
        (lambda t: t | {"std_px": [0.0] * len(t["std_px"])}, "std_px: must be greater than 0"),
        (
            lambda t: t | {"found_probability": [1.5] * len(t["std_px"])},
            "found_probability: must be between 0 and 1",
        ),
        (
            lambda t: {n: v for n, v in t.items() if n != "inward_px"},
            "missing column: inward_px",
        ),
        (
            lambda t: t | {"std_pxx": t["std_px"]},
            "table.csv:1: unknown column 'std_pxx'; did you mean 'std_px'",
        ),
        (
            lambda t: {f"a{n}": v for n, v in t.items()},
            "table.csv:1: must name the columns: the columns are edge_px, ",
        ),
        (
            lambda t: t | {"std_px": ["wide", *t["std_px"][1:]]},
            "table.csv:2: std_px: must be a finite number",
        ),
    ],
)
def test_faults_of_the_table(tmp_path: Path, spoil, message: str) -> None:
    path = tmp_path / "table.csv"
    write_table(path, spoil(columns()))
    (tmp_path / "eye.toml").write_text(CAMERA.replace("tables/eye", "table"), encoding="utf-8")
    with pytest.raises(FileError, match=message) as caught:
        load_camera(tmp_path / "eye.toml")
    assert str(caught.value).startswith(str(path))
    assert "\n" not in str(caught.value)


def test_a_detector_needs_noise_or_a_table() -> None:
    with pytest.raises(InputError, match="noise_px: must be greater than 0"):
        Detector()


def test_axes_must_rise(folder: Path) -> None:
    measured = load_response(folder / "tables" / "eye.csv", noise_grey=2.0, defocus_px=0.7)
    fields = {name: getattr(measured, name) for name in MeasuredResponse.__dataclass_fields__}
    with pytest.raises(InputError, match="blurs_px: the stamp goes back"):
        MeasuredResponse(**fields | {"blurs_px": np.array([8.0, 0.0])})


def test_noise_of_an_image_quality() -> None:
    # 0.5 x 0.8 x 255 = 102 grey levels are 102 x 7000 / (255 x 4) = 700 electrons: sd 26.46
    quality = ImageQuality(gain_factor=4.0, full_well_electrons=7000.0, read_noise_electrons=5.0)
    per_grey = 7000.0 / (255.0 * 4.0)
    assert quality.noise_grey == pytest.approx(math.hypot(math.sqrt(700.0), 5.0) / per_grey)
