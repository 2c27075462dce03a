"""What lies on the axes is what was given, in the unit asked for."""

import math

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.contour import ContourSet
from matplotlib.patches import Rectangle
from matplotlib.path import Path as Outline
from scipy import stats

from posefuse.arena.arena import Arena
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.fusion.settings import FilterSettings
from posefuse.geometry.plane import PlanePose
from posefuse.plots.boxes import box_legend_handles, draw_error_boxes, error_span_m
from posefuse.plots.consistency import draw_nees, draw_nis
from posefuse.plots.court import draw_court
from posefuse.plots.drive import draw_path, draw_shots, ellipse_outlines_m, exaggeration_of
from posefuse.plots.floor import (
    add_error_bar,
    add_hit_bar,
    add_hit_difference_bar,
    add_tags_bar,
    draw_expected_error,
    draw_hit_chance,
    draw_hit_difference,
    draw_tags_seen,
)
from posefuse.plots.rig import (
    draw_rig_from_above,
    draw_rig_from_side,
    draw_robot,
    rig_legend_handles,
)
from posefuse.plots.style import CAMERA_COLOURS, PLAN_COLOURS, Axes, new_figure, svg_text
from posefuse.plots.timeline import draw_distance_error, draw_sightings, tags_per_bin
from posefuse.statistics.intervals import Interval
from posefuse.study.floor_map import FloorMap, floor_map
from posefuse.study.hit_map import HitMap, hit_map
from small_court import SHOOTER, small_arena, small_rig


def axes() -> Axes:
    return new_figure(5.0, 4.0).subplots()


def texts(ax: Axes) -> list[str]:
    return [text.get_text() for text in ax.texts]


@pytest.mark.parametrize(("unit", "length"), [("cm", 9.0), ("in", 9.0 / 0.0254)])
def test_court_is_to_scale_and_names_tags_and_goals(unit: str, length: float) -> None:
    ax = draw_court(axes(), small_arena(), length_unit=unit)
    assert ax.get_aspect() == 1.0
    assert ax.patches[0].get_width() == pytest.approx(length)
    assert {"1", "2", "3", "4", "5", "<east> & crate"} <= set(texts(ax))
    assert ax.get_xlabel() == ("x (inch)" if unit == "in" else "x (m)")
    assert max(ax.get_xticks()) <= length


def test_tags_around_a_post_share_a_label() -> None:
    arena = small_arena()
    first, *rest = arena.tags
    near = type(first)(
        id=9, family=first.family, edge_m=first.edge_m, world_from_tag=first.world_from_tag
    )
    both = type(arena)(
        name=arena.name, length_m=9.0, width_m=5.0, tags=(first, near, *rest), goals=arena.goals
    )
    assert "1,9" in texts(draw_court(axes(), both))


def test_ellipse_holds_its_share() -> None:
    """The share of normal draws inside, against the 95 % asked for."""
    cov = np.array([[4.0, 1.5], [1.5, 1.0]])
    draws = np.random.default_rng(5).multivariate_normal([0.0, 0.0], cov, size=40_000)
    (outline,) = ellipse_outlines_m(cov[None], points=400)
    inside = Outline(outline).contains_points(draws).mean()
    assert inside == pytest.approx(0.95, abs=0.004)
    # the radius along each point is the chi-square quantile: SciPy
    squared = np.einsum("ni,ij,nj->n", outline, np.linalg.inv(cov), outline)
    np.testing.assert_allclose(squared, stats.chi2(2).ppf(0.95), rtol=1e-9)


def test_errors_are_exaggerated_until_they_can_be_seen() -> None:
    covs = np.tile(np.diag([0.01**2, 0.005**2]), (5, 1, 1))
    assert exaggeration_of(covs, np.zeros((5, 2)), wanted_m=0.35) == 10
    assert exaggeration_of(1e4 * covs, np.zeros((5, 2)), wanted_m=0.35) == 1
    assert exaggeration_of(covs[:0], np.zeros((0, 2)), wanted_m=0.35) == 1


def test_shots_are_drawn_about_their_true_places() -> None:
    ax = axes()
    true_xy = np.array([[1.0, 2.0], [3.0, 1.0]])
    off = np.array([[0.01, 0.0], [0.0, -0.02]])
    covs = np.tile(np.eye(2) * 1e-4, (2, 1, 1))
    draw_shots(ax, true_xy_m=true_xy, estimated_xy_m=true_xy + off, covs_m2=covs, exaggeration=10.0)
    ellipses, errors = ax.collections
    middle = ellipses.get_paths()[1].vertices[:-1].mean(axis=0)
    np.testing.assert_allclose(middle, [3.0, 0.8], atol=1e-9)
    np.testing.assert_allclose(errors.get_segments()[0], [[1.0, 2.0], [1.1, 2.0]])
    assert "10× its size" in ellipses.get_label()


def test_without_a_truth_no_error_is_drawn() -> None:
    ax = axes()
    xy, covs = np.ones((1, 2)), np.eye(2)[None] * 1e-4
    draw_shots(ax, true_xy_m=xy, estimated_xy_m=xy, covs_m2=covs, exaggeration=1.0, is_true=False)
    assert len(ax.collections) == 1


def test_robot_stands_at_its_pose_with_its_views_inside_the_walls() -> None:
    ax = axes()
    draw_robot(ax, small_rig(), PlanePose([1.0, 2.0, math.pi / 2]), arena=small_arena())
    *views, body = ax.patches
    np.testing.assert_allclose(body.get_xy()[:-1].mean(axis=0), [1.0, 2.0], atol=1e-12)
    # forward of the robot is up the page: half the length above its middle
    assert body.get_xy()[:, 1].max() == pytest.approx(2.0 + 0.35)
    assert len(views) == 2
    walls = ax.transData.inverted().transform_bbox(views[0].get_clip_box())
    np.testing.assert_allclose(walls.extents, [0.0, 0.0, 9.0, 5.0], atol=1e-9)
    ahead = views[0].get_xy()
    assert ahead[:, 1].max() == pytest.approx(2.0 + 0.34 + 2.5, abs=0.01)


def test_rig_sketches_show_tilts_and_keep_to_scale() -> None:
    above = draw_rig_from_above(axes(), small_rig(), length_unit="in")
    assert {"front\n+15°", "left\n0°", "front →"} <= set(texts(above))
    assert above.patches[0].get_xy()[:, 0].max() == pytest.approx(0.35 / 0.0254)
    side = draw_rig_from_side(axes(), small_rig())
    assert side.get_ylim()[1] > 120.0
    assert side.get_aspect() == above.get_aspect() == 1.0


def test_a_lift_is_drawn_as_far_up_as_it_goes() -> None:
    plain = draw_rig_from_side(axes(), small_rig())
    ax = draw_rig_from_side(axes(), small_rig(), lift_travel_m={"mast": 0.35, "arm": 9.0})
    (raised,) = [patch for patch in ax.patches if isinstance(patch, Rectangle)]
    assert raised.get_bbox().extents == pytest.approx([-5.0, 35.0, 5.0, 155.0])
    assert " lift 35 cm" in texts(ax)
    assert ax.get_ylim()[1] == pytest.approx(plain.get_ylim()[1] + 35.0)
    assert not any(isinstance(patch, Rectangle) for patch in plain.patches)
    labels = [handle.get_label() for handle in rig_legend_handles(has_lift=True)]
    assert labels[-1] == "box, lift up"
    assert "box, lift up" not in [h.get_label() for h in rig_legend_handles(has_lift=False)]


def test_cameras_are_named_and_have_no_plans_colour() -> None:
    assert not set(CAMERA_COLOURS) & set(PLAN_COLOURS)
    ax = axes()
    draw_robot(ax, small_rig(), PlanePose([4.0, 2.0, 0.0]), arena=small_arena())
    assert {"front", "left"} <= set(texts(ax))
    assert [to_hex(view.get_facecolor()) for view in ax.patches[:-1]] == list(CAMERA_COLOURS[:2])


def test_no_peak_of_the_error_is_lost() -> None:
    t_s = np.arange(0.0, 150.0, 0.02)
    error = 0.001 * np.sin(t_s)
    error[4321] = 0.031
    ax = axes()
    shots = np.array([10.0, 20.0])
    draw_distance_error(
        ax,
        t_s=t_s,
        error_m=error,
        std_m=np.full(len(t_s), 0.01),
        shots_t_s=shots,
        shot_errors_m=np.interp(shots, t_s, error),
    )
    line = next(line for line in ax.lines if line.get_label() == "error")
    assert len(line.get_xdata()) < 2_000
    assert line.get_ydata().max() == pytest.approx(3.1)
    assert line.get_xdata()[np.argmax(line.get_ydata())] == t_s[4321]
    assert ax.get_ylabel() == "distance error (cm)"


def test_the_error_is_broken_where_the_truth_is_not_known() -> None:
    t_s = np.arange(0.0, 10.0, 0.1)
    error = np.where((t_s > 3.0) & (t_s < 6.0), np.nan, 0.01)
    ax = draw_distance_error(
        axes(),
        t_s=t_s,
        error_m=error,
        std_m=np.full(len(t_s), 0.01),
        shots_t_s=np.zeros(0),
        shot_errors_m=np.zeros(0),
    )
    line = next(line for line in ax.lines if line.get_label() == "error")
    assert np.isnan(line.get_ydata()).any()
    nothing = draw_distance_error(
        axes(),
        t_s=t_s,
        error_m=np.full(len(t_s), np.nan),
        std_m=np.full(len(t_s), 0.01),
        shots_t_s=np.array([2.0]),
        shot_errors_m=np.array([np.nan]),
    )
    assert "error" not in [line.get_label() for line in nothing.lines]
    assert np.isfinite(nothing.get_ylim()).all()


def test_tags_are_counted_per_camera_and_stretch_of_time() -> None:
    tags = tags_per_bin(
        captured_at_s=np.array([0.0, 0.5, 1.5, 4.0, 4.0]),
        sensor=np.array([0, 0, 1, 0, 1]),
        tag_counts=np.array([1, 2, 3, 4, 0]),
        sensor_count=2,
        span_s=(0.0, 4.0),
        bins=4,
    )
    expected = [[1.5, np.nan, np.nan, 4.0], [np.nan, 3.0, np.nan, 0.0]]
    np.testing.assert_array_equal(tags, expected)
    ax = draw_sightings(axes(), tags=tags, sensor_names=["a", "b"], span_s=(0.0, 4.0))
    assert [label.get_text() for label in ax.get_yticklabels()] == ["a", "b"]
    assert ax.get_xlim() == (0.0, 4.0)


def test_boxes_show_quantiles_rms_and_bound() -> None:
    errors = [np.random.default_rng(1).normal(0.0, 0.01, 500), np.zeros(0)]
    ax = draw_error_boxes(
        axes(),
        plans=["seen", "empty"],
        errors_m=errors,
        attainable_m=[0.008, math.nan],
        colours=[0, 1],
        span_m=error_span_m(errors),
    )
    marks = {line.get_marker(): line for line in ax.lines if line.get_marker() in "oD"}
    assert marks["o"].get_xdata()[0] == pytest.approx(100 * np.sqrt(np.mean(errors[0] ** 2)))
    assert marks["D"].get_xdata()[0] == pytest.approx(0.8)
    sizes = 100.0 * np.abs(errors[0])
    xs = np.concatenate([line.get_xdata() for line in ax.lines])
    for quantile in (0.05, 0.25, 0.5, 0.75, 0.95):
        # boxes are patches: their ends come with the whiskers
        assert np.isclose(xs, np.quantile(sizes, quantile)).any()
    assert ax.get_xlim()[0] == 0.0


def test_unlike_plans_get_a_logarithmic_axis() -> None:
    near, far = np.full(9, 0.01), np.full(9, 0.5)
    low, high = error_span_m([near, far])
    assert 0.0 < low < 0.01
    assert high > 0.5
    assert error_span_m([near, 2.0 * near])[0] == 0.0
    assert error_span_m([near[:0]]) == (0.0, 1.0)
    ax = draw_error_boxes(
        axes(),
        plans=["a", "b"],
        errors_m=[near, far],
        attainable_m=[math.nan, math.nan],
        colours=[0, 1],
        span_m=(low, high),
    )
    assert ax.get_xscale() == "log"
    with_mark, without = (box_legend_handles(has_attainable=is_known) for is_known in (True, False))
    assert len(with_mark) == len(without) + 1


def test_nees_lies_beside_its_region() -> None:
    nees = [np.array([2.5, 3.0, np.nan, 4.0]), np.array([30.0, 40.0, 35.0])]
    known = Interval(value=3.2, low=2.1, high=5.5)
    unknown = Interval(value=35.0, low=math.nan, high=math.nan)
    ax = draw_nees(
        axes(),
        plans=["a", "b"],
        nees=nees,
        means=[known, unknown],
        region=(2.0, 4.2),
        colours=[0, 1],
    )
    band = ax.patches[0]
    assert band.get_x() == pytest.approx(2.0)
    assert band.get_x() + band.get_width() == pytest.approx(4.2)
    dots = [line.get_xdata().tolist() for line in ax.lines if line.get_marker() == "o"]
    assert dots == [[2.5, 3.0, 4.0], [30.0, 40.0, 35.0]]
    means = [line.get_xdata()[0] for line in ax.lines if line.get_marker() == "|"]
    assert means == [3.2, 35.0]
    (whisker,) = (line for line in ax.lines if list(line.get_ydata()) == [0, 0])
    assert list(whisker.get_xdata()) == [2.1, 5.5]


def test_nis_bars_and_line_are_densities() -> None:
    """The line against SciPy's chi-square density; the bars add up to one."""
    nis = np.append(stats.chi2(3).rvs(5000, random_state=3), [500.0, 900.0])
    ax = draw_nis(axes(), nis=nis, dof=3)
    line = next(line for line in ax.lines if line.get_label() == "consistent filter")
    np.testing.assert_allclose(line.get_ydata(), stats.chi2(3).pdf(line.get_xdata()), rtol=1e-12)
    assert sum(bar.get_height() * bar.get_width() for bar in ax.patches) == pytest.approx(1.0)
    assert ax.patches[-1].get_height() > 0.0


def floor_of(arena: Arena, *mounts: str, cell_m: float) -> FloorMap:
    return floor_map(
        arena=arena,
        rig=small_rig(*mounts),
        goal=arena.goals[0],
        settings=FilterSettings(),
        spreads=BuildSpreads.of(mount_angle_rad=0.02, tag_position_m=0.05),
        cell_m=cell_m,
    )


def test_floor_maps_show_the_numbers_in_place() -> None:
    arena = small_arena()
    made = floor_of(arena, cell_m=0.5)
    left, right = new_figure(6.0, 3.0).subplots(1, 2)
    tags = draw_tags_seen(left, made, arena, most=4.0)
    error = draw_expected_error(right, made, arena, span_m=(0.001, 0.1), length_unit="mm")
    add_tags_bar([left], tags)
    add_error_bar([right], error, length_unit="mm")
    np.testing.assert_array_equal(tags.get_array().filled(np.nan), made.tags_seen)
    np.testing.assert_allclose(
        error.get_array().filled(np.nan), 1000.0 * made.distance_rms_m, rtol=1e-12
    )
    assert tags.get_extent() == pytest.approx([0.0, 9.0, 0.0, 5.0])
    assert error.norm.vmax == pytest.approx(100.0)
    assert "image" in svg_text(left.figure)  # a bitmap, not one shape a cell


def test_path_is_drawn_in_the_floors_unit() -> None:
    ax = draw_path(axes(), np.array([[0.0254, 0.0], [0.0508, 1.0]]), length_unit="in")
    np.testing.assert_allclose(ax.lines[0].get_xdata(), [1.0, 2.0])


def test_a_hit_map_shows_hits_in_100() -> None:
    arena = small_arena()
    floor = floor_of(arena, "front", cell_m=1.0)
    made = hit_map(floor, shooter=SHOOTER)
    ax = axes()
    image = draw_hit_chance(ax, made, arena)
    shown = image.get_array()
    assert shown.mask.tolist() == np.isnan(made.shares).tolist()
    assert shown.compressed() == pytest.approx(100.0 * made.shares[floor.is_standable])
    assert image.get_clim() == (0.0, 100.0)
    (line,) = [c for c in ax.collections if isinstance(c, ContourSet)]
    assert line.levels == pytest.approx([0.9])
    add_hit_bar([ax], image)
    svg_text(ax.figure)


def test_a_map_of_differences_has_its_middle_at_none() -> None:
    arena = small_arena()
    floor = floor_of(arena, "front", cell_m=1.0)
    difference = np.where(
        floor.is_standable,
        np.linspace(-3.0, 2.0, floor.is_standable.size).reshape(floor.is_standable.shape),
        np.nan,
    )
    ax, spare = new_figure(6.0, 3.0).subplots(1, 2)
    image = draw_hit_difference(ax, floor, difference, arena, most=5.0)
    np.testing.assert_array_equal(image.get_array().filled(np.nan), difference)
    assert image.get_clim() == (-5.0, 5.0)
    add_hit_difference_bar([ax], image, spare=spare)
    svg = svg_text(ax.figure)
    assert not spare.axison  # the bar lies where a map would have been
    assert "hits in 100 more (+) or fewer (−)" in svg
    assert "−4" in svg
    assert "+4" in svg


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_a_hit_map_that_is_all_alike_has_no_line(share: float) -> None:
    arena = small_arena()
    floor = floor_of(arena, "front", cell_m=1.0)
    made = HitMap(floor=floor, shares=np.full(floor.distance_rms_m.shape, share))
    ax = axes()
    draw_hit_chance(ax, made, arena)
    assert not any(isinstance(c, ContourSet) for c in ax.collections)
