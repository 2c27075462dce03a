"""How often in a row a tag is seen in one place."""

import numpy as np

from posefuse.solving.repeats import count_repeats


def test_a_row_ends_where_the_corners_leave_their_pixels() -> None:
    at_px = np.array([0.0, 0.3, -0.3, 0.4, 0.6, 0.9, 1.2, 50.0])
    corners = 100.0 + np.repeat(at_px[:, None], 8, axis=1) / np.sqrt(2.0)
    counts = count_repeats(corners, camera=np.zeros(8, np.int64), tag=np.zeros(8, np.int64))
    assert counts.tolist() == [1, 2, 3, 4, 1, 2, 1, 1]


def test_cameras_and_tags_are_counted_apart() -> None:
    corners = np.full((6, 8), 30.0)
    counts = count_repeats(
        corners, camera=np.array([0, 1, 0, 1, 0, 1]), tag=np.array([2, 2, 0, 2, 2, 0])
    )
    assert counts.tolist() == [1, 1, 1, 2, 2, 1]


def test_nothing_seen_is_nothing_counted() -> None:
    empty = np.empty(0, np.int64)
    assert len(count_repeats(np.empty((0, 8)), camera=empty, tag=empty)) == 0
