"""Mistakes of detectors: how often, what kind, and whose draws they are."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from posefuse.geometry.space import SpacePose
from posefuse.randomness.streams import stream_key
from posefuse.sensing.mistakes import mistaken
from posefuse.sensing.sightings import sense

COUNT = 6000


def standing(make, tags, **detector_changes):
    """Many frames of a robot at rest before some tags, the mount, and what is found."""
    detector = make.plain_detector(**detector_changes)
    mount = make.mount(camera=make.camera(detector=detector))
    views = make.views(np.repeat(make.poses([[0.0, 0.0, 0.0]]), COUNT, axis=0), [mount], tags)
    corners, is_found = sense(
        replace(views, found_probability=np.ones(views.sighting_count)),
        corners_in_world_m=views.tags.corners_m,
        robot_from_camera=SpacePose.from_parts(views.cameras.rotation, views.cameras.translation_m),
        lens_rows=views.cameras.lens_rows,
        keys=np.array([stream_key(0, 0, "corners")]),
    )
    return views, mount, corners, is_found


def spoilt(make, tags, *, seed=0, **detector_changes):
    views, mount, corners, is_found = standing(make, tags, **detector_changes)
    keys = np.array([stream_key(seed, 0, "mistakes")])
    result = mistaken(views, corners, is_found, mounts=[mount], tags=tags, keys=keys)
    return views, corners, is_found, result


def three_tags(make):
    return [make.tag(id, at=(4.0, y, 0.5)) for id, y in ((7, -0.6), (3, 0.0), (11, 0.6))]


def test_without_rates_nothing_changes(make) -> None:
    views, corners, is_found, (ids, seen, found) = spoilt(make, three_tags(make))
    np.testing.assert_array_equal(ids, views.tags.ids[views.tag])
    np.testing.assert_array_equal(seen, corners)
    np.testing.assert_array_equal(found, is_found)


def test_false_ids_are_those_of_other_tags_each_as_likely(make) -> None:
    other = make.tag(20, at=(4.0, 1.2, 0.5))
    tags = [*three_tags(make), replace(other, family="25h9")]
    views, corners, _, (ids, seen, _) = spoilt(make, tags, false_id_rate=0.1)
    true_ids = views.tags.ids[views.tag]
    family = true_ids != 20
    is_false = ids != true_ids
    error = 4.0 * math.sqrt(0.09 / family.sum())
    assert is_false[family].mean() == pytest.approx(0.1, abs=error)
    assert not is_false[~family].any()  # alone in its family: no other id
    for id, others in ((7, [3, 11]), (3, [7, 11]), (11, [3, 7])):
        read = ids[is_false & (true_ids == id)]
        counts = [int((read == other).sum()) for other in others]
        assert sum(counts) == len(read)
        assert stats.binomtest(counts[0], sum(counts)).pvalue > 1e-4
    np.testing.assert_array_equal(seen, corners)


def test_wrong_corners_are_each_off_by_a_normal(make) -> None:
    rate, spread = 0.2, 12.0
    _, corners, is_found, (_, seen, found) = spoilt(
        make, three_tags(make), wrong_corners_rate=rate, wrong_corners_px=spread
    )
    off = seen - corners
    is_wrong = (off != 0.0).any(axis=(1, 2))
    assert is_wrong.mean() == pytest.approx(rate, abs=4.0 * math.sqrt(rate / len(off)))
    assert stats.kstest(off[is_wrong].ravel() / spread, "norm").pvalue > 1e-3
    corner_by_corner = np.corrcoef(off[is_wrong].reshape(-1, 8).T) - np.eye(8)
    assert np.abs(corner_by_corner).max() < 4.5 / math.sqrt(is_wrong.sum())
    np.testing.assert_array_equal(found, is_found)


def test_a_wrong_corner_outside_the_image_loses_the_sighting(make) -> None:
    edge = [make.tag(3, at=(4.0, 2.6, 0.5))]  # near the left edge
    _, corners, is_found, (_, seen, found) = spoilt(
        make, edge, wrong_corners_rate=1.0, wrong_corners_px=150.0
    )
    assert is_found.all()
    assert 0.1 < found.mean() < 0.9
    inside = (seen[found] >= -0.5).all() and (seen[found] <= [1279.5, 799.5]).all()
    assert inside
    assert np.isnan(seen[~found]).all()
    assert np.isfinite(corners).all()  # what was handed over is left as it was


def test_mistakes_are_each_tag_s_own_whatever_other_tags_hang_there(make) -> None:
    tags = three_tags(make)
    rates = {"false_id_rate": 0.3, "wrong_corners_rate": 0.3}
    views, corners, _, (_, whole, _) = spoilt(make, tags, **rates)
    other_views, other_corners, _, (_, part, _) = spoilt(make, tags[::-1][:2], **rates)
    for id in (3, 11):
        one = (whole - corners)[views.tags.ids[views.tag] == id]
        other = (part - other_corners)[other_views.tags.ids[other_views.tag] == id]
        np.testing.assert_allclose(one, other, atol=1e-9)
    _, _, _, (_, another, _) = spoilt(make, tags, seed=1, **rates)
    assert (another != whole).any(axis=(1, 2)).mean() > 0.3
