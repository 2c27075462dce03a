"""The responses shipped with the demo's camera: sound, and they foretell tags rendered anew."""

import itertools
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from posefuse.calibration.detector_response import ResponseRecipe, measure_response
from posefuse.fusion.load import load_settings
from posefuse.rendering.detect import DetectorSettings
from posefuse.robot.camera import CornerRefinement
from posefuse.robot.load import load_camera, load_imaging, read_response_table
from posefuse.sensing.detector_law import DetectorResponse, detector_response
from posefuse.simulation.scene import prepare_scene
from posefuse.study.load import load_study

ORCHARD = Path(__file__).parents[3] / "datasets" / "orchard"
EDGES, SUBPIXEL = "wide_mono_edges", "wide_mono"
TAGS = 50
MOST_INWARD_PX, MOST_RMS_PX = 0.02, 0.12

Place = tuple[float, float, float]
"""Edge in px, incidence in degrees, blur in px."""


def fresh(name: str, place: Place, seed: int) -> dict[str, float]:
    """The response to other tags than those of the table, at the camera's noise and defocus."""
    imaging = load_imaging(ORCHARD / "cameras" / f"{name}.toml")
    recipe = ResponseRecipe(
        edges_px=place[:1],
        incidences_deg=place[1:2],
        blurs_px=place[2:],
        noise_factors=(1.0,),
        defocus_factors=(1.0,),
        tags=TAGS,
        second_looks=TAGS // 2,
        seed=seed,
        settings=DetectorSettings(refinement=imaging.refinement),
    )
    return {key: column[0] for key, column in measure_response(imaging, recipe).items()}


def foretold(name: str, place: Place) -> DetectorResponse:
    """What a run draws sightings from."""
    edge_px, incidence_deg, blur_px = place
    return detector_response(
        load_camera(ORCHARD / "cameras" / f"{name}.toml").detector,
        distance_m=np.ones(1),
        cos_incidence=np.cos(np.radians([incidence_deg])),
        edge_px=np.array([edge_px]),
        blur_px=np.array([blur_px]),
        noise_grey=load_imaging(ORCHARD / "cameras" / f"{name}.toml").image.noise_grey,
    )


def at_rest(name: str, *, least_edge_px: float, most_incidence_deg: float) -> dict[str, np.ndarray]:
    """Rows of a table without blur, at the camera's own noise and defocus."""
    image = load_imaging(ORCHARD / "cameras" / f"{name}.toml").image
    table, axes = read_response_table(ORCHARD / "detector" / f"{name}.csv")
    rows = (table["blur_px"] == 0.0) & (table["edge_px"] >= least_edge_px)
    rows &= table["incidence_deg"] <= most_incidence_deg
    for key, axis, own in (
        ("noise_grey", axes[3], image.noise_grey),
        ("defocus_px", axes[4], image.defocus_px),
    ):
        rows &= table[key] == axis[np.argmin(np.abs(axis - own))]
    return {key: column[rows] for key, column in table.items()}


def inward_px(response) -> np.ndarray:
    """How far corners are found inward, with what the narrowing adds along the diagonal."""
    return np.asarray(response["inward_px"] + math.sqrt(0.5) * response["narrowing_px"])


def rms_px(response) -> np.ndarray:
    """Error of a corner per axis, bias and spread together."""
    shift = response["shift_x_px"] ** 2 + response["shift_y_px"] ** 2
    return np.sqrt(response["std_px"] ** 2 + (inward_px(response) ** 2 + shift) / 2.0)


@pytest.mark.parametrize(("name", "slack_px"), [(EDGES, 0.01), (SUBPIXEL, 0.05)])
@pytest.mark.parametrize("seed", [11, 12])
def test_they_foretell_other_tags(name: str, slack_px: float, seed: int) -> None:
    """Between the points of the table."""
    for place in ((19.0, 10.0, 0.0), (34.0, 30.0, 1.0), (50.0, 10.0, 4.0)):
        table, seen = foretold(name, place), fresh(name, place, seed)
        assert seen["found_low"] - 0.05 <= table.found_probability[0] <= seen["found_high"] + 0.05
        inward = table.inward_px[0] + math.sqrt(0.5) * table.narrowing_px[0]
        slack = 5.0 * table.std_px[0] / math.sqrt(4 * TAGS) + slack_px
        assert abs(inward - inward_px(seen)) < slack
        assert seen["std_px"] == pytest.approx(table.std_px[0], rel=0.5)


def test_lines_along_sides_have_no_bias_in_the_table() -> None:
    own = at_rest(EDGES, least_edge_px=14, most_incidence_deg=40)
    assert len(own["edge_px"]) == 11 * 3
    assert np.abs(inward_px(own)).max() < MOST_INWARD_PX
    assert rms_px(own).max() < MOST_RMS_PX
    rival = at_rest(SUBPIXEL, least_edge_px=14, most_incidence_deg=40)
    assert inward_px(rival).min() > 5.0 * MOST_INWARD_PX
    assert (rms_px(rival) > MOST_RMS_PX).all()


@pytest.mark.parametrize("place", [(14.0, 0.0, 0.0), (16.0, 30.0, 0.0), (28.0, 40.0, 0.0)])
def test_nor_on_tags_rendered_anew(place: Place) -> None:
    seen = fresh(EDGES, place, seed=21)
    assert seen["found"] >= 20
    assert seen["unfitted"] <= 1
    assert abs(inward_px(seen)) < MOST_INWARD_PX
    assert rms_px(seen) < MOST_RMS_PX


@pytest.mark.parametrize(("edge_px", "incidence_deg", "blur_px"), [(25, 20, 0), (45, 20, 5)])
def test_the_table_is_what_its_recipe_measures(
    edge_px: float, incidence_deg: float, blur_px: float
) -> None:
    """Its own tags again; slack for other processors, whose rounding may lose a tag."""
    made = tomllib.loads((ORCHARD / "detector" / f"{EDGES}.toml").read_text(encoding="utf-8"))
    recipe = ResponseRecipe(
        edges_px=(edge_px,),
        incidences_deg=(incidence_deg,),
        blurs_px=(blur_px,),
        settings=DetectorSettings(refinement=CornerRefinement(made["detector"]["refinement"])),
        **{key: made[key] for key in ("seed", "tags", "second_looks", "family")},
    )
    again = measure_response(load_imaging(ORCHARD / "cameras" / f"{EDGES}.toml"), recipe)
    table, _ = read_response_table(ORCHARD / "detector" / f"{EDGES}.csv")
    rows = table["edge_px"] == edge_px
    rows &= (table["incidence_deg"] == incidence_deg) & (table["blur_px"] == blur_px)
    assert rows.sum() == len(again["found"]) == 9
    for key in ("noise_grey", "defocus_px"):
        np.testing.assert_array_equal(table[key][rows], again[key])
    for key in ("found", "unfitted"):
        np.testing.assert_allclose(table[key][rows], again[key], atol=1.0)
    enough = again["found"] >= 20
    assert enough.sum() >= 6
    for key in ("inward_px", "narrowing_px", "std_px"):
        np.testing.assert_allclose(table[key][rows][enough], again[key][enough], atol=0.005)


@pytest.mark.parametrize(
    ("name", "filter_name", "rms"), [(EDGES, "filter", 0.029), (SUBPIXEL, "filter_subpixel", 0.53)]
)
def test_the_filters_count_twice_what_the_demo_shows(
    name: str, filter_name: str, rms: float
) -> None:
    """Over the tags found on all courses by all plans."""
    study = load_study(ORCHARD / "study.toml")
    camera = load_camera(ORCHARD / "cameras" / f"{name}.toml")
    squares = weights = 0.0
    for plan, course in itertools.product(study.plans, study.courses):
        rig = plan.rig.with_camera(camera)
        views = prepare_scene(arena=study.arena, rig=rig, course=course).views
        inward, narrowing = views.inward_px, views.narrowing_px
        bias = inward**2 + narrowing**2 + math.sqrt(2.0) * inward * narrowing
        square = views.std_px**2 + (bias + (views.shift_px**2).sum(axis=-1)) / 2.0
        squares += float((views.found_probability * square).sum())
        weights += float(views.found_probability.sum())
    assert math.sqrt(squares / weights) == pytest.approx(rms, rel=0.02)
    pixel_std_px = load_settings(ORCHARD / f"{filter_name}.toml").noise.pixel_std_px
    assert pixel_std_px == pytest.approx(2.0 * rms, rel=0.1)


def test_refinements_are_found_alike() -> None:
    """What refines corners finds no tag; the tables' tags differ by chance at most."""
    tables = [read_response_table(ORCHARD / "detector" / f"{n}.csv")[0] for n in (EDGES, SUBPIXEL)]
    edges, subpixel = tables
    for name in ("edge_px", "incidence_deg", "blur_px", "noise_grey", "defocus_px", "rendered"):
        np.testing.assert_array_equal(edges[name], subpixel[name])
    seen = edges["found"] + edges["unfitted"]
    assert seen.sum() == pytest.approx(subpixel["found"].sum(), rel=0.002)
    assert np.abs(seen - subpixel["found"]).max() <= 10
    assert not subpixel["unfitted"].any()  # no line is fitted there
    assert 0 < edges["unfitted"].sum() < 0.01 * edges["found"].sum()
