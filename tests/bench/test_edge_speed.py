"""Lines along the sides of one tag, beside the search of its image by OpenCV's detector.

On one thread, in processor time. Wanted: at most 0.2 ms a tag that is not blurred.
"""

import time

import cv2
import numpy as np
import pytest

from posefuse.rendering.detect import DetectorSettings, detect_tags
from posefuse.rendering.edges import corners_from_edges
from posefuse.robot.camera import CornerRefinement
from rendering import EVEN, STRAIGHT, drifting, shot

pytestmark = [pytest.mark.bench, pytest.mark.benchmark(timer=time.thread_time)]

EDGE_M, EXPOSURE_S = 0.15, 0.01
NONE = DetectorSettings(refinement=CornerRefinement.NONE)


@pytest.mark.parametrize(("edge_px", "blur_px"), [(18, 0), (32, 0), (60, 0), (120, 0), (60, 6)])
def test_lines_along_the_sides_of_a_tag(benchmark, tell, edge_px: int, blur_px: float) -> None:
    depth = STRAIGHT.focal_px[0] * EDGE_M / edge_px
    case = shot((0.1 * depth, 0.0, depth), (20.0, 5.0, 3.0), id=7, edge_m=EDGE_M)
    speed_m_per_s = blur_px * depth / STRAIGHT.focal_px[0] / EXPOSURE_S
    image = case.image(EVEN, drifting(speed_m_per_s, EXPOSURE_S), EXPOSURE_S)
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    begun = time.thread_time()
    found = detect_tags(image, families=["36h11"], settings=NONE)
    detect_s = time.thread_time() - begun
    cv2.setNumThreads(before)
    assert found.ids.tolist() == [7]

    def fit() -> np.ndarray | None:
        return corners_from_edges(image, found.corners_px[0], family="36h11", id=7)

    corners = benchmark(fit)
    assert np.abs(corners - case.corners_px).max() < 0.3
    tell(
        f"a tag of {edge_px} px, blurred by {blur_px:g} px: lines along its sides "
        f"{1e3 * benchmark.stats.stats.median:.3f} ms, search of its image {1e3 * detect_s:.1f} ms"
    )
