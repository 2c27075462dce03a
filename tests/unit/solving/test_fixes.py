"""Bulk solving: rows, solutions, what is dropped and what is refused."""

from dataclasses import replace

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Lens
from posefuse.sensing.projection import undistort
from posefuse.solving.fixes import normalised_corners, solve_frames

POSE = PlanePose([2.5, 1.8, 0.1])
SEEN = [(0, 1), (2, 0), (2, 1), (2, 2), (5, 3)]  # frame, tag
CAMERA_OF_FRAME = [0, 0, 0, 1, 0, 1]


@pytest.fixture
def inputs(mounts, tags, look):
    """Six frames: one, three and one tags in frames 0, 2 and 5, nothing in the others."""
    corners = [look(POSE, CAMERA_OF_FRAME[frame], tags[tag]) for frame, tag in SEEN]
    return {
        "sighting_frame": [frame for frame, _ in SEEN],
        "sighting_tag": [tag for _, tag in SEEN],
        "corners_px": np.array(corners),
        "camera_of_frame": CAMERA_OF_FRAME,
        "mounts": mounts,
        "tags": tags,
    }


def test_one_row_for_each_frame_with_sightings(inputs):
    fixes = solve_frames(**inputs)
    assert len(fixes) == 3
    assert fixes.frame.tolist() == [0, 2, 5]
    assert fixes.first_sighting.tolist() == [0, 1, 4]
    assert fixes.tag_count.tolist() == [1, 3, 1]
    assert fixes.solution_count.tolist() == [2, 1, 2]
    np.testing.assert_allclose(fixes.poses[:, 0], np.tile(POSE.values, (3, 1)), atol=1e-6)
    assert (fixes.rms_px[:, 0] < 1e-6).all()
    assert np.isnan(fixes.poses[1, 1]).all()
    assert np.isnan(fixes.unit_covs[1, 1]).all()
    assert np.isnan(fixes.rms_px[1, 1])


def test_the_second_solution_fits_worse(inputs):
    fixes = solve_frames(**inputs)
    assert (fixes.rms_px[[0, 2], 1] > fixes.rms_px[[0, 2], 0]).all()


def test_mean_distance_is_that_of_the_tags(inputs, mounts, tags):
    fixes = solve_frames(**inputs)
    for row, (frame, count) in enumerate(zip(fixes.frame, fixes.tag_count, strict=True)):
        first = fixes.first_sighting[row]
        seen = [tags[tag] for _, tag in SEEN[first : first + count]]
        mount = mounts[CAMERA_OF_FRAME[frame]]
        x, y = POSE.transform(mount.position_in_robot_m[:2])
        camera = np.array([x, y, mount.position_in_robot_m[2]])
        expected = np.mean([np.linalg.norm(t.world_from_tag.translation_m - camera) for t in seen])
        assert fixes.mean_distance_m[row] == pytest.approx(expected, rel=1e-6)


def test_covariances_are_symmetric_and_positive(inputs):
    covs = solve_frames(**inputs).unit_covs[:, 0]
    np.testing.assert_array_equal(covs, np.swapaxes(covs, 1, 2))
    assert (np.linalg.eigvalsh(covs) > 0.0).all()


def test_more_tags_spread_less(inputs):
    covs = solve_frames(**inputs).unit_covs[:, 0]
    assert (np.diag(covs[1]) < 0.5 * np.diag(covs[0])).all()


def test_arrays_are_read_only(inputs):
    fixes = solve_frames(**inputs)
    for name in ("frame", "poses", "unit_covs", "rms_px", "solution_count", "mean_distance_m"):
        assert not getattr(fixes, name).flags.writeable


def test_no_sightings_give_no_rows(mounts, tags):
    fixes = solve_frames(
        sighting_frame=[],
        sighting_tag=[],
        corners_px=np.empty((0, 4, 2)),
        camera_of_frame=[0, 1],
        mounts=mounts,
        tags=tags,
    )
    assert len(fixes) == 0
    assert fixes.poses.shape == (0, 2, 3)


def flat(corners):
    return corners[0] + np.array([[0, 0], [40, 0], [40, 0.02], [0, 0.02]])


def mirrored(corners):
    return corners[[1, 0, 3, 2]]


def dented(corners):
    return np.vstack([corners[:2], corners.mean(axis=0) - [5.0, 5.0], corners[3:]])


@pytest.mark.parametrize("spoil", [flat, mirrored, dented])
def test_corners_of_no_square_give_no_solution_and_spare_the_others(inputs, spoil):
    good = solve_frames(**inputs)
    inputs["corners_px"] = inputs["corners_px"].copy()
    inputs["corners_px"][0] = spoil(inputs["corners_px"][0])
    fixes = solve_frames(**inputs)
    assert fixes.solution_count.tolist() == [0, 1, 2]
    assert np.isnan(fixes.poses[0]).all()
    assert np.isnan(fixes.mean_distance_m[0])
    np.testing.assert_array_equal(fixes.poses[1:], good.poses[1:])


def test_wild_corners_never_crash(inputs):
    rng = np.random.default_rng(1)
    for size_px in (1e-3, 1.0, 1e3, 1e9):
        inputs["corners_px"] = rng.normal(0.0, size_px, (len(SEEN), 4, 2))
        fixes = solve_frames(**inputs)
        assert set(fixes.solution_count) <= {0, 1, 2}
        assert (np.isfinite(fixes.poses[:, 0, 0]) == (fixes.solution_count > 0)).all()


def test_two_tags_close_together_on_a_wall_have_two_solutions(mounts, tags, look):
    beside = SpacePose.from_parts(np.eye(3), [0.0, -0.3, 0.0]) @ tags[1].world_from_tag
    pair = [tags[1], replace(tags[1], id=9, world_from_tag=beside)]
    pose = PlanePose([1.5, 4.5, -0.5])
    noise = np.random.default_rng(2).normal(0.0, 0.3, (2, 4, 2))
    fixes = solve_frames(
        sighting_frame=[0, 0],
        sighting_tag=[0, 1],
        corners_px=np.array([look(pose, 0, tag) for tag in pair]) + noise,
        camera_of_frame=[0],
        mounts=mounts,
        tags=pair,
    )
    assert fixes.solution_count[0] == 2
    assert 1.0 <= fixes.rms_px[0, 1] / fixes.rms_px[0, 0] < 6.0


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        (
            "sighting_frame",
            [0, 2, 1, 2, 5],
            "sighting_frame: must never fall (falls at row 2, to 1)",
        ),
        (
            "sighting_frame",
            [0, 2, 2, 2, 6],
            "sighting_frame: must index one of the 6 frames (got 6)",
        ),
        ("sighting_tag", [0, 1, 2, 3, 4], "sighting_tag: must index one of the 4 tags (got 4)"),
        ("sighting_tag", [0, -1, 2, 3, 3], "sighting_tag: must index one of the 4 tags (got -1)"),
        ("sighting_tag", [0, 1], "sighting_tag: 2 given, 5 wanted"),
        ("camera_of_frame", [0, 0, 2, 1, 0, 1], "camera_of_frame: must index one of the 2 mounts"),
        ("corners_px", np.zeros((5, 4)), "corners_px: shape (5, 4) given, (5, 4, 2) wanted"),
        ("corners_px", np.full((5, 4, 2), np.nan), "corners_px: holds a value that is not finite"),
    ],
)
def test_bad_input_is_refused_in_one_line(inputs, name, value, message):
    inputs[name] = value
    with pytest.raises(InputError) as refused:
        solve_frames(**inputs)
    assert str(refused.value).startswith(message)


def test_normalised_corners_are_those_of_the_lens(inputs, mounts):
    for key in ("sighting_tag", "tags"):
        del inputs[key]
    own = normalised_corners(**inputs)
    lens = mounts[0].camera.lens
    np.testing.assert_allclose(own, undistort(inputs["corners_px"], lens), atol=1e-14)
    assert not own.flags.writeable


def test_normalised_corners_past_the_fold_of_a_lens_are_nan(inputs, mounts):
    for key in ("sighting_tag", "tags"):
        del inputs[key]
    folding = Lens(
        focal_px=np.array([800.0, 800.0]),
        centre_px=np.array([639.5, 399.5]),
        distortion=np.array([-0.5, 0, 0, 0, 0, 0, 0, 0]),
    )
    camera = replace(mounts[0].camera, lens=folding)
    inputs["mounts"] = [replace(mount, camera=camera) for mount in mounts]
    seen = inputs["corners_px"].copy()
    seen[0, 0] = [4000.0, 400.0]
    inputs["corners_px"] = seen
    own = normalised_corners(**inputs)
    assert np.isnan(own[0, 0]).all()
    assert np.isfinite(own[1:]).all()
    np.testing.assert_allclose(own, undistort(inputs["corners_px"], folding), atol=1e-14)
