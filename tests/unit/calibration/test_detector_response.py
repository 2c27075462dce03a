"""The measured response: shots are as wanted, figures come out of made-up errors, tables hold."""

import math
import tomllib
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from posefuse.calibration.conditions import Conditions, quality_with
from posefuse.calibration.corner_errors import corner_errors
from posefuse.calibration.detector_response import ResponseRecipe, measure_response
from posefuse.calibration.detector_shots import TagShot, TagShots
from posefuse.calibration.response_file import write_response
from posefuse.errors import FileError, InputError
from posefuse.rendering.detect import DetectorSettings
from posefuse.robot.camera import CornerRefinement
from posefuse.robot.image_quality import ImageQuality
from posefuse.robot.load import load_imaging, load_response

ROOT = Path(__file__).parents[3]
CAMERA = ROOT / "datasets" / "orchard" / "cameras" / "wide_mono.toml"
SMALL = ResponseRecipe(
    edges_px=(14, 40),
    incidences_deg=(0, 40),
    blurs_px=(0, 4),
    noise_factors=(1.0,),
    defocus_factors=(1.0,),
    tags=12,
)


@pytest.fixture(scope="module")
def camera():
    return load_imaging(CAMERA)


@pytest.fixture(scope="module")
def shots(camera) -> TagShots:
    return TagShots(camera, family="36h11", seed=3)


def conditions(**changes) -> Conditions:
    given = {"edge_px": 40, "incidence_deg": 30, "blur_px": 0, "noise_grey": 4, "defocus_px": 0.6}
    return Conditions(**given | changes)


def size_of(corners_px: np.ndarray) -> tuple[float, float]:
    """Root of the area, and how wide beside tall."""
    (dx, dy), (ex, ey) = corners_px[2] - corners_px[0], corners_px[3] - corners_px[1]
    sides = np.linalg.norm(corners_px - np.roll(corners_px, -1, axis=0), axis=1)
    return math.sqrt(0.5 * abs(dx * ey - ex * dy)), sides[[0, 2]].mean() / sides[[1, 3]].mean()


@pytest.mark.parametrize("edge_px", [12.0, 40.0, 90.0])
def test_a_shot_has_the_wanted_size(shots: TagShots, edge_px: float) -> None:
    for number in range(4):
        edges, ratios = zip(
            *(
                size_of(shots.shot(number, conditions(edge_px=edge_px, incidence_deg=a)).corners_px)
                for a in (0.0, 50.0)
            ),
            strict=True,
        )
        np.testing.assert_allclose(edges, edge_px, rtol=1e-4)
        # seen from aside mostly: cos(50 deg) as wide beside tall
        assert ratios[1] / ratios[0] == pytest.approx(math.cos(math.radians(50.0)), abs=0.1)


def test_noise_and_blur_are_the_wanted_ones(shots: TagShots, camera) -> None:
    quality = quality_with(camera.image, noise_grey=2.5, defocus_px=1.1)
    assert quality.noise_grey == pytest.approx(2.5)
    bare = quality_with(ImageQuality(read_noise_electrons=0.0), noise_grey=3.0, defocus_px=0.5)
    assert bare.noise_grey == pytest.approx(3.0)
    still, moved = (shots.shot(2, conditions(edge_px=80, blur_px=blur)) for blur in (0.0, 8.0))
    np.testing.assert_allclose(np.hypot(*moved.blur_way), 1.0)
    assert abs(moved.blur_way[0]) > 0.9  # to the side
    assert np.ptp(moved.image.astype(float)) < np.ptp(still.image.astype(float)) + 20


def test_luck_belongs_to_the_number(shots: TagShots) -> None:
    first, again, other = (shots.shot(number, conditions()) for number in (5, 5, 6))
    np.testing.assert_array_equal(first.image, again.image)
    assert first.id == shots.shot(5, conditions(edge_px=60)).id
    assert first.id != other.id


def test_a_tag_larger_than_the_image_is_refused(shots: TagShots) -> None:
    with pytest.raises(InputError, match="edge_px: a tag of 900 px, seen at 0 deg, does not fit"):
        shots.shot(0, conditions(edge_px=900, incidence_deg=0))


def test_figures_come_out_of_errors_made_up() -> None:
    generator = np.random.default_rng(8)
    count, std, shared = 4000, 0.3, 0.4
    square = 20.0 * np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])
    truth = np.broadcast_to(square, (count, 4, 2)) + generator.uniform(100, 200, (count, 1, 2))
    sides = np.array([-1.0, 1.0, 1.0, -1.0])
    bias = -0.2 * square / np.linalg.norm(square, axis=1, keepdims=True) + (0.05, -0.1)
    bias[:, 0] -= 0.15 * sides
    common = generator.normal(0.0, std * math.sqrt(shared), (count, 1, 2))
    own = generator.normal(0.0, std * math.sqrt(1.0 - shared), (count, 4, 2))
    ways = np.tile([1.0, 0.0], (count, 1))
    figures = corner_errors(truth + bias + common + own, truth, ways)
    slack = 4.0 * std / math.sqrt(count)
    assert figures.inward_px == pytest.approx(0.2, abs=slack)
    assert figures.narrowing_px == pytest.approx(0.15, abs=slack)
    assert figures.shift_x_px == pytest.approx(0.05, abs=slack)
    assert figures.shift_y_px == pytest.approx(-0.1, abs=slack)
    assert figures.std_px == pytest.approx(std, rel=0.03)
    assert figures.shared_fraction == pytest.approx(shared, abs=0.03)
    assert figures.correlation_beside == pytest.approx(shared, abs=0.05)
    assert figures.correlation_opposite == pytest.approx(shared, abs=0.05)
    assert figures.std_along_px == pytest.approx(std, rel=0.03)
    assert figures.std_across_px == pytest.approx(std, rel=0.03)
    assert figures.bias_rest_px < slack


def test_what_persists_is_what_a_second_look_finds_again(
    camera, monkeypatch: pytest.MonkeyPatch
) -> None:
    std_px, persistent, tags = 0.3, 0.7, 200
    corners_px = 50.0 + 20.0 * np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])

    def drawn(_self, number: int, _conditions: Conditions) -> SimpleNamespace:
        way = np.array([1.0, 0.0])
        return SimpleNamespace(number=number, corners_px=corners_px, blur_way=way)

    def taken(_self, tag: SimpleNamespace, _conditions: Conditions, *, look: int = 0) -> TagShot:
        image = np.array([[tag.number, look]], dtype=np.uint8)
        return TagShot(id=7, image=image, corners_px=corners_px, blur_way=tag.blur_way)

    def found(image: np.ndarray, **_settings) -> SimpleNamespace:
        number, look = image[0].tolist()
        lasts = np.random.default_rng([1, number]).normal(size=(4, 2)) * math.sqrt(persistent)
        passes = np.random.default_rng([2, number, look]).normal(size=(4, 2))
        error = std_px * (lasts + math.sqrt(1.0 - persistent) * passes)
        return SimpleNamespace(
            ids=np.array([7]), corners_px=(corners_px + error)[None], unfitted=()
        )

    monkeypatch.setattr(TagShots, "drawn", drawn)
    monkeypatch.setattr(TagShots, "taken", taken)
    monkeypatch.setattr("posefuse.calibration.detector_response.detect_tags", found)
    one = {"edges_px": (40,), "incidences_deg": (0,), "blurs_px": (0,)}
    recipe = replace(SMALL, **one, tags=tags, second_looks=tags)
    table = measure_response(camera, recipe)
    assert table["std_px"] == pytest.approx(std_px, rel=0.05)
    # a variance over 1600 numbers is known to 3.5 % (one standard error)
    assert table["persistent_fraction"] == pytest.approx(persistent, abs=4 * 0.035 * 0.3)


def test_a_table_is_measured_written_and_read(tmp_path: Path, camera) -> None:
    calls: list[tuple[int, int]] = []
    table = measure_response(camera, SMALL, progress=lambda *done: calls.append(done))
    assert calls[-1] == (8, 8)
    two = measure_response(camera, SMALL, workers=2)
    for name, column in table.items():
        np.testing.assert_array_equal(column, two[name])
    assert set(table["rendered"]) == {12}
    assert set(table["unfitted"]) == {0}
    assert (table["found_low"] <= table["found_probability"]).all()
    assert (table["found_probability"] <= table["found_high"]).all()
    large = (table["edge_px"] == 40) & (table["blur_px"] == 0)
    assert (table["found"][large] == 12).all()
    assert (table["found"][(table["edge_px"] == 14) & (table["blur_px"] == 4)] == 0).all()
    assert ((table["inward_px"][large] > 0.1) & (table["inward_px"][large] < 0.35)).all()
    path = tmp_path / "response.csv"
    write_response(path, table, camera=camera, recipe=SMALL)
    image = camera.image
    measured = load_response(path, noise_grey=image.noise_grey, defocus_px=image.defocus_px)
    assert measured.found_probability.shape == (2, 2, 2)
    recipe = tomllib.loads(path.with_suffix(".toml").read_text(encoding="utf-8"))
    assert recipe["seed"] == 1
    assert recipe["detector"]["refinement"] == "subpixel"
    assert set(recipe["columns"]) == set(table)
    with pytest.raises(FileError, match="a file of that name exists"):
        write_response(path, table, camera=camera, recipe=SMALL)


def test_lines_along_sides_have_no_bias(camera) -> None:
    recipe = replace(SMALL, settings=DetectorSettings(refinement=CornerRefinement.EDGES))
    table, plain = measure_response(camera, recipe), measure_response(camera, SMALL)
    np.testing.assert_array_equal(table["found"] + table["unfitted"], plain["found"])
    assert (np.abs(table["inward_px"]) < 0.03).all()
    assert (table["std_px"] < 0.12).all()
    assert plain["inward_px"].mean() > 0.1


def test_tags_without_lines_are_not_found_and_counted(
    camera, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none_of_the_odd(image, outline_px, *, family, id):
        return outline_px if id % 2 == 0 else None

    monkeypatch.setattr("posefuse.rendering.detect.corners_from_edges", none_of_the_odd)
    settings = DetectorSettings(refinement=CornerRefinement.EDGES)
    recipe = replace(SMALL, edges_px=(40,), incidences_deg=(0,), blurs_px=(0,), settings=settings)
    table = measure_response(camera, replace(recipe, tags=30))
    shots = TagShots(camera, family="36h11", seed=recipe.seed)
    even = sum(shots.shot(number, conditions()).id % 2 == 0 for number in range(30))
    assert table["found"].tolist() == [even]
    assert table["unfitted"].tolist() == [30 - even]


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"edges_px": (6, 20)}, r"edges_px: must be 8 or more, a pixel for each cell of the tag"),
        ({"edges_px": (30, 20)}, r"edges_px: must rise"),
        ({"blurs_px": ()}, r"blurs_px: must rise"),
        ({"incidences_deg": (0, 88)}, r"incidences_deg: must be 85 or less \(got 88\)"),
        ({"tags": 0}, r"tags: must be 1 or more"),
        ({"second_looks": 2}, r"second_looks: must be 3 or more \(got 2\)"),
    ],
)
def test_recipes_that_are_refused(given: dict, message: str) -> None:
    with pytest.raises(InputError, match=message):
        replace(SMALL, **given)


def test_an_unknown_family_is_refused(camera) -> None:
    with pytest.raises(InputError, match=r"family: must be one of 36h11, .* \(got '99h1'\)"):
        measure_response(camera, replace(SMALL, family="99h1"))
