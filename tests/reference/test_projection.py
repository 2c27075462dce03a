"""Projection, undistortion and fields of view against OpenCV and against printed formulas."""

import math

import cv2
import numpy as np
import pytest

from posefuse.robot.camera import Lens
from posefuse.sensing.compiled.projection import project_with_slopes
from posefuse.sensing.projection import WIDEST_RADIUS, lens_row, project, undistort, valid_radius

FOCAL, CENTRE = np.array([912.0, 905.0]), np.array([651.5, 393.25])
DISTORTIONS = {
    "none": np.zeros(8),
    "barrel": np.array([-0.30, 0.10, 5e-4, -3e-4, -0.015, 0.0, 0.0, 0.0]),
    "pincushion": np.array([0.20, 0.02, 0.0, 1e-3, 0.0, 0.0, 0.0, 0.0]),
    "rational": np.array([8.2, 4.1, 1e-4, 2e-4, 0.2, 8.5, 6.7, 1.0]),
    "worked case": np.array([0.1, -0.05, 0.001, -0.002, 0.02, 0.03, -0.01, 0.004]),
}


def lens_with(distortion: np.ndarray) -> Lens:
    return Lens(focal_px=FOCAL, centre_px=CENTRE, distortion=distortion)


def by_cv2(points: np.ndarray, lens: Lens) -> tuple[np.ndarray, np.ndarray]:
    """cv2.projectPoints: pixels (n, 2) and their derivatives (n, 2, 3) by the translation."""
    zero = np.zeros(3)
    pixels, jacobian = cv2.projectPoints(points, zero, zero, lens.matrix, lens.distortion)
    return pixels.reshape(-1, 2), jacobian.reshape(-1, 2, jacobian.shape[1])[:, :, 3:6]


@pytest.fixture
def points() -> np.ndarray:
    rng = np.random.default_rng(3)
    plane = rng.uniform(-0.8, 0.8, (500, 2))
    return np.column_stack([plane, np.ones(500)]) * rng.uniform(0.4, 9.0, (500, 1))


@pytest.mark.parametrize(
    ("distortion", "pixel"),
    [
        ([0.1, -0.05, 0.001, -0.002, 0.02, 0.0, 0.0, 0.0], (880.7863442993, 279.4867644787)),
        ([0.1, -0.05, 0.001, -0.002, 0.02, 0.03, -0.01, 0.004], (880.2627312108, 279.7465615429)),
    ],
)
def test_worked_case(distortion: list[float], pixel: tuple[float, float]) -> None:
    # computed once with cv2.projectPoints of OpenCV 5.0
    lens = lens_with(np.array(distortion))
    np.testing.assert_allclose(project([0.5, -0.25, 2.0], lens), pixel, rtol=0, atol=1e-10)
    np.testing.assert_allclose(undistort(pixel, lens), (0.25, -0.125), rtol=0, atol=1e-12)


@pytest.mark.parametrize("name", DISTORTIONS)
def test_projection_is_opencvs(name: str, points: np.ndarray) -> None:
    lens = lens_with(DISTORTIONS[name])
    np.testing.assert_allclose(project(points, lens), by_cv2(points, lens)[0], rtol=0, atol=1e-9)


@pytest.mark.parametrize("name", DISTORTIONS)
def test_slopes_are_opencvs(name: str, points: np.ndarray) -> None:
    lens = lens_with(DISTORTIONS[name])
    row = lens_row(lens)
    ours = np.array([project_with_slopes(*point, row) for point in points])
    pixels, slopes = by_cv2(points, lens)
    np.testing.assert_allclose(ours[:, :2], pixels, rtol=0, atol=1e-9)
    np.testing.assert_allclose(ours[:, 2:].reshape(-1, 2, 3), slopes, rtol=1e-9, atol=1e-8)


@pytest.mark.parametrize("name", DISTORTIONS)
def test_undistortion_undoes_opencvs_projection(name: str, points: np.ndarray) -> None:
    lens = lens_with(DISTORTIONS[name])
    pixels, _ = by_cv2(points, lens)
    np.testing.assert_allclose(
        undistort(pixels, lens), points[:, :2] / points[:, 2:], rtol=0, atol=1e-12
    )


def test_undistortion_is_opencvs(points: np.ndarray) -> None:
    lens = lens_with(DISTORTIONS["worked case"])
    near = points[np.hypot(points[:, 0], points[:, 1]) < 0.4 * points[:, 2]]
    pixels, _ = by_cv2(near, lens)
    theirs = cv2.undistortPoints(pixels.reshape(-1, 1, 2), lens.matrix, lens.distortion)
    # OpenCV stops its fixed-point steps early
    np.testing.assert_allclose(undistort(pixels, lens), theirs.reshape(-1, 2), rtol=0, atol=1e-5)


@pytest.mark.parametrize(
    ("view_deg", "focal_px"),
    [(90.0, 640.0), (60.0, 1108.512517), (70.0, 914.014724), (100.0, 537.023764)],
)
def test_focal_length_of_a_field_of_view(view_deg: float, focal_px: float) -> None:
    # HFOV = 2 atan(W / 2f)
    lens = Lens.from_width(field_of_view_rad=math.radians(view_deg), width_px=1280, height_px=800)
    assert lens.focal_px == pytest.approx([focal_px, focal_px], abs=1e-6)
    from_edge = lens.matrix + np.array([[0, 0, 0.5], [0, 0, 0.5], [0, 0, 0]])
    seen, *_ = cv2.calibrationMatrixValues(from_edge, (1280, 800), 3.84, 2.4)
    assert seen == pytest.approx(view_deg, abs=1e-9)


def test_a_point_on_the_edge_of_the_view_lands_on_the_edge_of_the_image() -> None:
    lens = Lens.from_width(field_of_view_rad=math.radians(90.0), width_px=1280, height_px=800)
    up = math.tan(math.radians(64.010766 / 2.0))  # VFOV of cv2.calibrationMatrixValues
    pixels = project([[1.0, 0.0, 1.0], [-1.0, 0.0, 1.0], [0.0, up, 1.0], [0.0, -up, 1.0]], lens)
    # the image spans -0.5 .. W - 0.5 when pixel centres are at integers
    edges = [[1279.5, 399.5], [-0.5, 399.5], [639.5, 799.5], [639.5, -0.5]]
    np.testing.assert_allclose(pixels, edges, atol=1e-5)


@pytest.mark.parametrize(
    ("lens_mm", "focal_px", "view_deg"), [(2.1, 700.0, 84.87), (2.8, 933.3, 68.88)]
)
def test_field_of_view_of_a_quarter_inch_sensor(
    lens_mm: float, focal_px: float, view_deg: float
) -> None:
    # 1280 pixels of 3 um: OV9282 data as given by docs.luxonis.com
    lens = Lens.from_width(field_of_view_rad=math.radians(view_deg), width_px=1280, height_px=800)
    assert lens.focal_px[0] == pytest.approx(focal_px, abs=0.1)
    assert lens.focal_px[0] * 0.003 == pytest.approx(lens_mm, abs=0.001)


def test_points_past_the_fold_are_not_seen_though_opencv_gives_them_a_pixel() -> None:
    lens = lens_with(np.array([-0.3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]))
    limit = 1.0 / math.sqrt(3 * 0.3)  # d(r - 0.3 r^3)/dr = 0
    assert valid_radius(lens) == pytest.approx(limit, rel=1e-12)
    points = np.array([[0.99 * limit, 0.0, 1.0], [1.01 * limit, 0.0, 1.0], [1.7, 0.0, 1.0]])
    theirs, _ = by_cv2(points, lens)
    assert (theirs[:, 0] < theirs[0, 0] + 1.0).all()  # folded back into the image
    np.testing.assert_array_equal(
        np.isnan(project(points, lens)), [[False] * 2, [True] * 2, [True] * 2]
    )


def test_a_pole_of_the_rational_model_ends_the_lens_too() -> None:
    # 1 - r^2 in the denominator: the pole is at 1, before any fold
    lens = lens_with(np.array([0.0, 0.0, 0.0, 0.0, 0.0, -1.0, 0.0, 0.0]))
    assert valid_radius(lens) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize("name", ["none", "pincushion"])
def test_lenses_that_never_fold(name: str) -> None:
    assert valid_radius(lens_with(DISTORTIONS[name])) == WIDEST_RADIUS


def test_a_weak_lens_folds_far_out() -> None:
    lens = lens_with(np.array([-1e-3, 0, 0, 0, 0, 0, 0, 1e-300]))
    assert valid_radius(lens) == pytest.approx(1.0 / math.sqrt(3e-3), rel=1e-9)


def test_the_fold_is_where_the_radial_curve_first_turns() -> None:
    for distortion in ([-0.35, 0.15, 0, 0, -0.03, 0, 0, 0], [0.5, -0.4, 0, 0, 0, 0.1, 0.2, 0.0]):
        k1, k2, _, _, k3, k4, k5, k6 = distortion
        r = np.linspace(0.0, 5.0, 500_001)
        s = r**2
        curve = r * (1 + k1 * s + k2 * s**2 + k3 * s**3) / (1 + k4 * s + k5 * s**2 + k6 * s**3)
        first = r[np.argmax(np.diff(curve) <= 0.0)]
        assert valid_radius(lens_with(np.array(distortion))) == pytest.approx(first, abs=3e-5)


def test_no_point_leads_to_a_pixel_beyond_the_fold() -> None:
    lens = lens_with(np.array([-0.3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]))
    furthest = 2.0 / 3.0 / math.sqrt(3 * 0.3)  # r - 0.3 r^3 at its top
    at = CENTRE[0] + FOCAL[0] * furthest
    pixels = [[at - 1.0, CENTRE[1]], [at + 1.0, CENTRE[1]], [at + 500.0, CENTRE[1]]]
    assert np.isnan(undistort(pixels, lens)).tolist() == [[False] * 2, [True] * 2, [True] * 2]


def test_points_behind_the_camera_are_not_seen() -> None:
    lens = lens_with(np.zeros(8))
    assert np.isnan(project([[0.0, 0.0, -1.0], [0.0, 0.0, 0.0]], lens)).all()


def test_shapes() -> None:
    lens = lens_with(np.zeros(8))
    assert project(np.ones((3, 4, 3)), lens).shape == (3, 4, 2)
    assert undistort(np.ones((5, 2)), lens).shape == (5, 2)
    with pytest.raises(ValueError, match=r"points_in_camera_m: shape \(4, 2\) given"):
        project(np.ones((4, 2)), lens)
    with pytest.raises(ValueError, match=r"pixels_px: shape \(\) given"):
        undistort(1.0, lens)
