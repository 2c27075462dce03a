"""Lines along a tag's sides: their model, their parts, and where none can be fitted."""

import cv2
import numpy as np
import pytest
from scipy.integrate import quad
from scipy.ndimage import gaussian_filter, uniform_filter
from scipy.special import ndtr

from posefuse.rendering.compiled.edge_fit import solve, to_root
from posefuse.rendering.compiled.edge_model import (
    BEYOND,
    BLACK,
    FIT_NUMBERS,
    PARAMETERS,
    SPREAD,
    WHITE,
    WIDTH,
    blurred_step,
    grey_with_slopes,
)
from posefuse.rendering.compiled.edge_pixels import (
    MOST_PIXELS,
    PIXEL_COLUMNS,
    gather_pixels,
    shade_pixels,
    side_of,
    square_to_image,
)
from posefuse.rendering.detect import DetectorSettings, detect_tags
from posefuse.rendering.edges import corners_from_edges, data_rows
from posefuse.rendering.tag_pictures import tag_picture
from posefuse.robot.camera import CornerRefinement
from rendering import EVEN, shot

EDGES = DetectorSettings(refinement=CornerRefinement.EDGES)
OUTLINE_PX = 0.5


def outline_of(corners: np.ndarray) -> np.ndarray:
    """About where an outline lies: half a pixel inside each side of an upright tag."""
    return corners - OUTLINE_PX * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])


def side_and_bounds(corners: np.ndarray, k: int, cells: int = 8):
    homography, bounds = np.empty(8), np.empty(cells + 1)
    square_to_image(corners, homography)
    return side_of(corners, homography, k, bounds), bounds


@pytest.mark.parametrize("width", [1.0, 5.0])
@pytest.mark.parametrize("x", [-9.0, -1.3, -0.2, 0.0, 0.6, 2.4, 8.0])
def test_a_step_is_the_mean_of_the_normal_distribution_over_a_box(x: float, width: float) -> None:
    spread = 0.7
    mean, _ = quad(lambda u: ndtr(u / spread) / width, x - width / 2, x + width / 2, limit=200)
    share, by_x, _ = blurred_step(x, spread, width, False)
    assert share == pytest.approx(mean, abs=3e-5)
    ends = ndtr((x + width / 2) / spread) - ndtr((x - width / 2) / spread)
    assert by_x == pytest.approx(ends / width, abs=3e-5)


@pytest.mark.parametrize(("cell_px", "slack_grey"), [(4, 0.4), (2, 2.0)])
def test_grey_levels_are_those_of_a_tag_blurred_by_filters(cell_px: int, slack_grey: float) -> None:
    # a tag with 19 small pixels in each of a camera's, blurred by scipy, against the model of its
    # top side; of 160 grey levels. The data's second row, left out, shows a little in small cells
    scale, cells, grey = 19, 8, {"black": 20.0, "white": 180.0, "beyond": 60.0}
    per_cell = scale * cell_px
    picture = tag_picture("36h11", 7, cells * per_cell) > 127
    whole = np.full((14 * per_cell, 14 * per_cell), grey["beyond"])
    whole[2 * per_cell : -2 * per_cell, 2 * per_cell : -2 * per_cell] = grey["white"]
    whole[3 * per_cell : -3 * per_cell, 3 * per_cell : -3 * per_cell] = np.where(
        picture, grey["white"], grey["black"]
    )
    small = uniform_filter(gaussian_filter(whole, 0.6 * scale), scale).astype(np.float32)
    first = 3.0 * cell_px
    corners = first + np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * cells * cell_px
    side, bounds = side_and_bounds(corners, 0)
    generator = np.random.default_rng(3)
    pixels = np.zeros((200, PIXEL_COLUMNS))
    pixels[:, 0] = generator.uniform(0.05, 0.95, 200)
    pixels[:, 1] = generator.uniform(-1.0, 1.3, 200) * cell_px
    row = data_rows("36h11", 7)[0]
    normals = np.array([[-1.0, 0.0], [1.0, 0.0]])
    shade_pixels(pixels, side, normals, bounds, row, np.hypot(0.6, np.sqrt(1.0 / 12.0)))
    fit = np.zeros(FIT_NUMBERS)
    fit[[SPREAD, WIDTH, BLACK, WHITE, BEYOND]] = 0.6, 1.0, *grey.values()
    slopes = np.empty((PARAMETERS, 1))
    for pixel in pixels:
        column = (first + pixel[0] * cells * cell_px) * scale - 0.5
        line = (first - pixel[1]) * scale - 0.5
        there = cv2.remap(small, np.float32([[column]]), np.float32([[line]]), cv2.INTER_LINEAR)
        model = grey_with_slopes(pixel, side, fit, slopes, 0)
        assert model == pytest.approx(float(there[0, 0]), abs=slack_grey)


def test_cholesky_solves_as_numpy_does() -> None:
    generator = np.random.default_rng(5)
    half = generator.normal(size=(8, 8))
    matrix, right = half @ half.T + np.eye(8), generator.normal(size=8)
    root, found = np.tril(matrix), right.copy()
    to_root(root)
    solve(root, found)
    np.testing.assert_allclose(np.tril(root), np.linalg.cholesky(matrix), rtol=1e-9)
    np.testing.assert_allclose(found, np.linalg.solve(matrix, right), rtol=1e-9)


def test_the_homography_is_that_of_opencv() -> None:
    corners = np.array([[10.0, 12.0], [40.0, 8.0], [43.0, 44.0], [7.0, 37.0]])
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=np.float32)
    wanted = cv2.getPerspectiveTransform(square, corners.astype(np.float32))
    found = np.empty(8)
    square_to_image(corners, found)
    np.testing.assert_allclose(np.append(found, 1.0).reshape(3, 3), wanted, atol=1e-4)


def test_a_side_of_a_square() -> None:
    corners = np.array([[10.0, 20.0], [26.0, 20.0], [26.0, 36.0], [10.0, 36.0]])
    for k, (x, y, along) in enumerate(
        [(10, 20, (1, 0)), (26, 20, (0, 1)), (26, 36, (-1, 0)), (10, 36, (0, -1))]
    ):
        side, bounds = side_and_bounds(corners, k)
        assert (side.x, side.y) == (x, y)
        assert (side.along_x, side.along_y) == pytest.approx(along)
        widths = side.outer_first, side.outer_last, side.inner_first, side.inner_last
        assert widths == pytest.approx((2.0, 2.0, 2.0, 2.0))
        np.testing.assert_allclose(bounds, 2.0 * np.arange(9.0), atol=1e-9)
        assert (side.begin, side.end) == pytest.approx((0.5, 15.5))


def test_pixels_along_a_side_know_where_they_are() -> None:
    image = np.arange(60 * 70, dtype=np.int64).reshape(60, 70).astype(np.uint8)
    corners = np.array([[12.0, 11.0], [50.0, 15.0], [46.0, 52.0], [10.0, 45.0]])
    pixels = np.empty((MOST_PIXELS, PIXEL_COLUMNS))
    for k in range(4):
        side, _ = side_and_bounds(corners, k)
        count = gather_pixels(image, side, 3.0, pixels)
        assert 100 < count < MOST_PIXELS
        t, out = pixels[:count, 0] * side.length, pixels[:count, 1]
        x = side.x + t * side.along_x + out * side.along_y
        y = side.y + t * side.along_y - out * side.along_x
        columns, lines = np.rint(x).astype(int), np.rint(y).astype(int)
        np.testing.assert_allclose(x, columns, atol=1e-9)
        np.testing.assert_allclose(y, lines, atol=1e-9)
        np.testing.assert_array_equal(pixels[:count, 2], image[lines, columns])
        assert np.abs(out).max() <= 3.0 + 1e-9
        assert len({*zip(columns, lines, strict=True)}) == count
        # outward is away from the middle
        middle = corners.mean(axis=0) - (side.x, side.y)
        assert middle[0] * side.along_y - middle[1] * side.along_x < 0.0


def test_rows_of_data_are_those_of_the_picture() -> None:
    picture = tag_picture("25h9", 11, 7 * 10) > 127
    corner = np.array([(0, 0), (70, 0), (70, 70), (0, 70)])
    for k, row in enumerate(data_rows("25h9", 11)):
        along = (corner[(k + 1) % 4] - corner[k]) // 7
        inward = np.array([-along[1], along[0]])
        for j, cell in enumerate(row):
            x, y = corner[k] + along * j + along // 2 + inward + inward // 2
            assert picture[min(y, 69), min(x, 69)] == cell


def test_corners_of_a_tag_whose_outline_is_known() -> None:
    case = shot((0.1, 0.05, 2.0), (20.0, 10.0, 4.0), id=9)
    image = case.image(EVEN)
    image.setflags(write=False)
    outline = outline_of(case.corners_px)
    corners = corners_from_edges(image, outline, family="36h11", id=9)
    np.testing.assert_allclose(corners, case.corners_px, atol=0.06)
    again = corners_from_edges(image.copy(), outline, family="36h11", id=9)
    np.testing.assert_array_equal(corners, again)


def test_corners_do_not_hang_on_where_the_outline_begins() -> None:
    case = shot((0.1, 0.05, 2.0), (20.0, 10.0, 4.0), id=9)
    image, generator = case.image(EVEN), np.random.default_rng(2)
    first = corners_from_edges(image, outline_of(case.corners_px), family="36h11", id=9)
    for _ in range(10):
        outline = outline_of(case.corners_px) + generator.normal(0.0, 0.5, (4, 2))
        corners = corners_from_edges(image, outline, family="36h11", id=9)
        np.testing.assert_allclose(corners, first, atol=0.01)


def test_no_line_where_there_is_no_contrast_or_another_tag_or_no_image() -> None:
    case = shot((0.0, 0.0, 2.0), id=9)
    image, outline = case.image(EVEN), outline_of(case.corners_px)
    assert corners_from_edges(image, outline, family="36h11", id=9) is not None
    flat = np.full_like(image, 90)
    faint = (90 + image // 25).astype(np.uint8)
    beside = image[:, : int(outline[1, 0]) - 6].copy()  # its right side is cut off
    inverted = 255 - image
    for none in (flat, faint, beside, inverted):
        assert corners_from_edges(none, outline, family="36h11", id=9) is None


@pytest.mark.parametrize("grey", [15, 120, 230])
def test_a_side_that_something_small_hides_in_part(grey: int) -> None:
    case = shot((0.0, 0.0, 2.0), (15.0, 5.0, 3.0), id=9)  # about 60 px
    image = case.image(EVEN).copy()
    middle = 0.7 * case.corners_px[0] + 0.3 * case.corners_px[1]
    x, y = np.meshgrid(np.arange(image.shape[1]), np.arange(image.shape[0]))
    image[np.hypot(x - middle[0], y - middle[1]) < 5.0] = grey
    corners = corners_from_edges(image, outline_of(case.corners_px), family="36h11", id=9)
    np.testing.assert_allclose(corners, case.corners_px, atol=0.15)


@pytest.mark.parametrize("light", [0.8, 0.4])
def test_a_side_much_fainter_than_the_others_is_another_edge(light: float) -> None:
    case = shot((0.0, 0.0, 1.0), id=9)
    image, left = case.image(EVEN), case.corners_px[[0, 3], 0].mean()
    cell = (case.corners_px[1, 0] - case.corners_px[0, 0]) / 8.0
    shaded = image.copy()
    part = slice(0, round(left + 1.5 * cell))
    shaded[:, part] = np.rint(light * shaded[:, part])
    corners = corners_from_edges(shaded, outline_of(case.corners_px), family="36h11", id=9)
    assert (corners is not None) == (light > 0.6)
    if corners is not None:  # the shadow's edge across two other sides moves these a little
        np.testing.assert_allclose(corners, case.corners_px, atol=0.3)


@pytest.mark.parametrize("blurred", ["all", "right"])
def test_opposite_sides_that_seem_to_move_unlike_are_other_edges(blurred: str) -> None:
    case = shot((0.0, 0.0, 1.0), id=9)
    image, middle = case.image(EVEN), round(case.corners_px[:, 0].mean())
    moved = cv2.blur(image, (9, 1))
    if blurred == "right":
        moved[:, :middle] = image[:, :middle]
    corners = corners_from_edges(moved, outline_of(case.corners_px), family="36h11", id=9)
    assert (corners is not None) == (blurred == "all")
    if corners is not None:
        np.testing.assert_allclose(corners, case.corners_px, atol=0.15)


@pytest.mark.parametrize(
    "outline",
    [
        np.full((4, 2), np.nan),
        np.zeros((4, 2)),
        np.array([[0.0, 0.0], [30.0, 0.0], [60.0, 0.0], [90.0, 0.0]]),
        np.array([[1e9, 0.0], [1e9, 1e9], [-1e9, 1e9], [-1e9, -1e9]]),
        np.array([[0.0, np.inf], [30.0, 0.0], [30.0, 30.0], [0.0, 30.0]]),
    ],
)
def test_outlines_that_are_none(outline: np.ndarray) -> None:
    image = np.random.default_rng(1).integers(0, 255, (60, 80)).astype(np.uint8)
    assert corners_from_edges(image, outline, family="36h11", id=9) is None


def test_tags_without_lines_are_left_out_and_named(monkeypatch: pytest.MonkeyPatch) -> None:
    first, second = (shot((0.0, 0.0, 1.0), id=id).image(EVEN) for id in (4, 12))
    both = np.hstack([first, second])
    seen = detect_tags(both, families=["36h11"], settings=EDGES)
    assert (seen.ids.tolist(), seen.unfitted) == ([4, 12], ())

    def none_of_the_fourth(image, outline_px, *, family, id):
        return None if id == 4 else corners_from_edges(image, outline_px, family=family, id=id)

    monkeypatch.setattr("posefuse.rendering.detect.corners_from_edges", none_of_the_fourth)
    less = detect_tags(both, families=["36h11"], settings=EDGES)
    assert (less.families, less.ids.tolist()) == (("36h11",), [12])
    assert less.unfitted == (("36h11", 4),)
    np.testing.assert_array_equal(less.corners_px, seen.corners_px[1:])
