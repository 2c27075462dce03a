"""What detectors report: exact without noise, and with noise of the stated size and shape."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from posefuse.geometry.space import SpacePose
from posefuse.randomness.streams import stream_key
from posefuse.robot.camera import Sensor
from posefuse.sensing.projection import lens_row
from posefuse.sensing.sightings import sense


def keys(views, seed=0):
    return np.array(
        [stream_key(seed, 0, f"corners {c}") for c in range(len(views.cameras.size_px))]
    )


def as_designed(views, **changes):
    """The arguments of a build without errors."""
    given = {
        "corners_in_world_m": views.tags.corners_m,
        "robot_from_camera": SpacePose.from_parts(
            views.cameras.rotation, views.cameras.translation_m
        ),
        "lens_rows": views.cameras.lens_rows,
        "keys": keys(views),
    }
    return {**given, **changes}


def stacked(poses) -> SpacePose:
    return SpacePose([pose.matrix for pose in poses])


def certain(views):
    """The same views with a detector that never misses."""
    return replace(views, found_probability=np.ones(views.sighting_count))


def by_cv2(views, mounts, tags):
    """Corners (S, 4, 2) through cv2.projectPoints, the frames chained in plain numpy."""
    corners = []
    for frame, tag in zip(views.frame, views.tag, strict=True):
        mount = mounts[views.camera[frame]]
        world_from_camera = np.eye(4)
        world_from_camera[:3, :3] = views.rotation[frame]
        world_from_camera[:3, 3] = views.translation_m[frame]
        camera_from_world = np.linalg.inv(world_from_camera @ mount.robot_from_camera.matrix)
        turn, _ = cv2.Rodrigues(camera_from_world[:3, :3])
        lens = mount.camera.lens
        pixels, _ = cv2.projectPoints(
            tags[tag].corners_in_world_m,
            turn,
            camera_from_world[:3, 3],
            lens.matrix,
            lens.distortion,
        )
        corners.append(pixels.reshape(4, 2))
    return np.array(corners)


def standing(make, count, **detector_changes):
    """Frames of a robot that stands still before one tag, seen obliquely."""
    detector = make.detector(miss_rate=0.0, half_found_edge_px=0.0, **detector_changes)
    mount = make.mount(camera=make.camera(detector=detector))
    tag = make.tag(at=(3.0, 0.4, 0.7), facing_deg=160.0)
    return make.views(np.repeat(make.poses([[0.0, 0.0, 0.1]]), count, axis=0), [mount], [tag])


# --- exact parts


def test_without_noise_the_corners_are_opencvs_projections(make) -> None:
    scene = make.busy(count=80)
    corners, is_found = sense(certain(scene.views), **as_designed(scene.views), noise_scale=0.0)
    assert scene.views.sighting_count > 100
    assert is_found.all()
    expected = by_cv2(scene.views, scene.mounts, scene.tags)
    np.testing.assert_allclose(corners, expected, rtol=0, atol=1e-8)


def test_corners_run_clockwise_from_the_top_left_as_seen(make) -> None:
    views = certain(make.views(make.poses([[0, 0, 0]]), [make.mount()], [make.tag()]))
    (corners,), _ = sense(views, **as_designed(views), noise_scale=0.0)
    right, down = np.sign(corners - corners.mean(axis=0)).T
    assert right.tolist() == [-1, 1, 1, -1]
    assert down.tolist() == [-1, -1, 1, 1]


def test_as_built_errors_move_the_corners(make) -> None:
    scene = make.busy(count=40)
    views = make.views(
        scene.world_from_robot,
        scene.mounts,
        scene.tags,
        margin_px=200.0,  # sightings that only the build errors bring into the image
        boxes=scene.boxes,
        robot_boxes=scene.robot_boxes,
    )
    built_mounts = [
        replace(m, pan_rad=m.pan_rad + 0.02, tilt_rad=m.tilt_rad - 0.01) for m in scene.mounts
    ]
    moved_m = np.array([0.02, -0.01, 0.03])
    built_tags = [
        replace(
            tag,
            world_from_tag=SpacePose.from_parts(
                tag.world_from_tag.rotation, tag.world_from_tag.translation_m + moved_m
            ),
        )
        for tag in scene.tags
    ]
    lens = replace(make.camera().lens, focal_px=make.camera().lens.focal_px * 1.01)
    built_mounts = [replace(m, camera=replace(m.camera, lens=lens)) for m in built_mounts]
    corners, is_found = sense(
        certain(views),
        **as_designed(
            views,
            corners_in_world_m=np.array([t.corners_in_world_m for t in built_tags]),
            robot_from_camera=stacked(m.robot_from_camera for m in built_mounts),
            lens_rows=np.array([lens_row(lens)] * 3),
        ),
        noise_scale=0.0,
    )
    expected = by_cv2(views, built_mounts, built_tags)
    inside = ((expected >= -0.5) & (expected <= [1279.5, 799.5])).all(axis=(1, 2))
    assert 0.5 < inside.mean() < 1.0
    np.testing.assert_array_equal(is_found, inside)
    np.testing.assert_allclose(corners[inside], expected[inside], rtol=0, atol=1e-8)
    assert np.isnan(corners[~inside]).all()


def test_a_knock_switches_the_mount_midway(make) -> None:
    mount = make.mount()
    knocked = replace(mount, pan_rad=0.05)
    views = certain(
        make.views(
            np.repeat(make.poses([[0, 0, 0]]), 4, axis=0),
            [mount],
            [make.tag()],
            knocked=[knocked],
            mount_state=np.array([0, 0, 1, 1]),
        )
    )
    corners, _ = sense(
        views,
        **as_designed(
            views,
            robot_from_camera=stacked([mount.robot_from_camera, knocked.robot_from_camera]),
        ),
        noise_scale=0.0,
    )
    centre = corners.mean(axis=1)
    np.testing.assert_array_equal(centre[0], centre[1])
    np.testing.assert_array_equal(centre[2], centre[3])
    # the camera turned left, so the tag moved right by about f tan(0.05)
    shift = make.camera().lens.focal_px[0] * math.tan(0.05)
    assert centre[2, 0] - centre[0, 0] == pytest.approx(shift, rel=2e-3)


def read_by_rows(mount, corner_m, row_time_s, twist, acceleration) -> np.ndarray:
    """Where a corner (3,) is as its row is read, (2,): a root for the row, turns by SciPy."""
    lens = mount.camera.lens

    def pixel(late_s: float) -> np.ndarray:
        went = twist * late_s + acceleration * late_s**2 / 2.0
        world_from_robot = np.eye(4)
        world_from_robot[:3, :3] = Rotation.from_rotvec(went[:3]).as_matrix()
        world_from_robot[:3, 3] = went[3:]
        camera_from_world = np.linalg.inv(world_from_robot @ mount.robot_from_camera.matrix)
        turn, _ = cv2.Rodrigues(camera_from_world[:3, :3])
        corner, place = corner_m[None], camera_from_world[:3, 3]
        return cv2.projectPoints(corner, turn, place, lens.matrix, lens.distortion)[0].ravel()

    late_s = brentq(lambda t: t - row_time_s * (pixel(t)[1] - 399.5), -0.05, 0.05, xtol=1e-12)
    return pixel(late_s)


def test_a_rolling_shutter_sees_each_corner_as_its_row_is_read(make) -> None:
    row_time_s = 3e-5
    sensor = Sensor(width_px=1280, height_px=800, row_time_s=row_time_s)
    rolling = make.mount(camera=make.camera(sensor=sensor))
    tag = make.tag(at=(1.5, 0.1, 0.6), edge=0.8)
    twist = np.array([0.4, 0.3, 6.0, 0.3, 3.0, 0.1])
    acceleration = np.array([1.0, 2.0, 40.0, 5.0, -8.0, 1.0])
    views = certain(
        make.views(
            make.poses([[0, 0, 0]]),
            [rolling],
            [tag],
            robot_twist=twist[None],
            robot_acceleration=acceleration[None],
        )
    )
    corners = sense(views, **as_designed(views), noise_scale=0.0)[0][0]
    expected = [
        read_by_rows(rolling, corner, row_time_s, twist, acceleration)
        for corner in tag.corners_in_world_m
    ]
    np.testing.assert_allclose(corners, expected, rtol=0, atol=1e-3)
    exposed_at_once = certain(make.views(make.poses([[0, 0, 0]]), [make.mount()], [tag]))
    still = sense(exposed_at_once, **as_designed(exposed_at_once), noise_scale=0.0)[0][0]
    assert np.abs(corners - still).max() > 20.0


# --- the detector's noise

COUNT = 6000


def test_bias_is_the_shift_and_the_inward_step(make) -> None:
    views = standing(make, COUNT)
    exact = sense(views, **as_designed(views), noise_scale=0.0)[0][0]
    corners, is_found = sense(views, **as_designed(views))
    assert is_found.all()
    toward = exact.mean(axis=0) - exact
    inward = 0.25 * toward / np.linalg.norm(toward, axis=1, keepdims=True)
    standard_error = views.std_px[0] / math.sqrt(COUNT)
    off = corners.mean(axis=0) - exact - inward - [0.1, -0.2]
    assert np.abs(off).max() < 4.0 * standard_error
    assert np.abs(inward).min() > 10.0 * standard_error


def test_narrowing_brings_left_and_right_together(make) -> None:
    views = make.busy(count=40).views
    narrowed = replace(views, narrowing_px=np.full(views.sighting_count, 0.4))
    (plain, is_found), (moved, _) = (sense(v, **as_designed(v)) for v in (views, narrowed))
    kept = is_found & np.isfinite(moved[:, 0, 0])
    exact, _ = sense(views, **as_designed(views), noise_scale=0.0)
    wide = (exact[:, 1] - exact[:, 0] + exact[:, 2] - exact[:, 3])[kept]
    wide /= np.linalg.norm(wide, axis=1, keepdims=True)
    sides = np.array([1.0, -1.0, -1.0, 1.0])
    expected = 0.4 * sides[:, None] * wide[:, None]
    # the bias before it turns the width a little
    np.testing.assert_allclose((moved - plain)[kept], expected, atol=2e-3)


def test_spread_and_correlation_of_the_corners(make) -> None:
    views = standing(make, COUNT)
    corners, _ = sense(views, **as_designed(views))
    cov = np.cov(corners.reshape(COUNT, 8).T)
    # axis by axis: std^2 [(1 - 0.3) I + 0.3 11'], nothing between the axes
    expected = views.std_px[0] ** 2 * np.kron(0.7 * np.eye(4) + 0.3, np.eye(2))
    diagonal = np.diag(expected)
    # standard error of a sample covariance of normal numbers
    error = np.sqrt((np.outer(diagonal, diagonal) + expected**2) / COUNT)
    assert np.abs((cov - expected) / error).max() < 4.0


def test_noise_is_normal_and_fresh_in_every_frame(make) -> None:
    views = standing(make, COUNT, shared_fraction=0.0)
    corners, _ = sense(views, **as_designed(views))
    plain = (corners - corners.mean(axis=0)) / views.std_px[0]
    assert stats.kstest(plain.ravel(), "norm").pvalue > 1e-3
    following = np.corrcoef(plain[:-1].ravel(), plain[1:].ravel())[0, 1]
    assert abs(following) < 4.0 / math.sqrt(plain.size)


def test_persistent_scatter_is_the_same_while_a_corner_stays_on_its_pixel(make) -> None:
    views = certain(standing(make, COUNT, shared_fraction=0.3, persistent_fraction=0.75))
    exact, _ = sense(views, **as_designed(views), noise_scale=0.0)
    offsets = []
    for trial in range(400):
        given = as_designed(views, keys=np.array([stream_key(7, trial, "corners")]))
        corners, _ = sense(views, **given)
        offsets.append((corners - exact).mean(axis=0))
        if trial == 0:
            # within a run only the rest of the variance passes
            passing = (corners - exact).var(axis=0)
            wanted = 0.25 * views.std_px[0] ** 2
            np.testing.assert_allclose(passing, wanted, rtol=5.0 * math.sqrt(2.0 / COUNT))
    # from run to run the offset has the persistent part, as correlated as the whole
    cov = np.cov(np.reshape(offsets, (-1, 8)).T)
    persistent = views.std_px[0] ** 2 * (0.75 + 0.25 / COUNT)
    expected = persistent * np.kron(0.7 * np.eye(4) + 0.3, np.eye(2))
    diagonal = np.diag(expected)
    error = np.sqrt((np.outer(diagonal, diagonal) + expected**2) / 400)
    assert np.abs((cov - expected) / error).max() < 4.5


def test_persistent_scatter_is_fresh_on_another_pixel(make) -> None:
    detector = make.plain_detector(persistent_fraction=1.0)
    mount = make.mount(camera=make.camera(detector=detector))
    places = np.column_stack([np.linspace(0.0, 1.0, COUNT), np.zeros(COUNT), np.zeros(COUNT)])
    tag = make.tag(at=(2.5, 0.4, 0.7), facing_deg=160.0)
    views = make.views(make.poses(places), [mount], [tag])
    corners, _ = sense(views, **as_designed(views))
    exact, _ = sense(views, **as_designed(views), noise_scale=0.0)
    plain = ((corners - exact) / views.std_px[:, None, None])[:, 0, 0]
    assert stats.kstest(plain[:: COUNT // 100], "norm").pvalue > 1e-3
    is_other = np.abs(np.diff(np.floor(exact[:, 0] + 0.5), axis=0)).max(axis=1) > 0
    changes = np.abs(np.diff(plain))
    assert changes[~is_other].max() < 1e-9
    assert changes[is_other].min() > 0.0


def test_noise_scale_scales_spread_and_bias_alike(make) -> None:
    views = standing(make, 50)
    exact, half, full = (
        sense(views, **as_designed(views), noise_scale=scale)[0] for scale in (0.0, 0.5, 1.0)
    )
    np.testing.assert_allclose(half - exact, 0.5 * (full - exact), rtol=0, atol=1e-9)


def test_found_share_is_the_found_probability(make) -> None:
    views = standing(make, COUNT)
    for probability in (0.02, 0.4, 0.9):
        given = replace(views, found_probability=np.full(COUNT, probability))
        _, is_found = sense(given, **as_designed(given))
        error = math.sqrt(probability * (1.0 - probability) / COUNT)
        assert is_found.mean() == pytest.approx(probability, abs=4.0 * error)


def test_being_found_does_not_depend_on_the_noise(make) -> None:
    views = standing(make, COUNT)
    corners = sense(views, **as_designed(views))[0][:, 0, 0]
    given = replace(views, found_probability=np.full(COUNT, 0.5))
    is_found = sense(given, **as_designed(given))[1]
    assert abs(np.corrcoef(corners, is_found)[0, 1]) < 4.0 / math.sqrt(COUNT)


def test_corners_outside_the_image_are_not_found(make) -> None:
    # a tag whose outer corners lie on the very edge of the image: half of the draws fall outside
    mount, tag = make.mount(camera=make.camera(detector=make.plain_detector())), make.tag()
    lens = replace(mount.camera.lens, distortion=np.zeros(8))
    mount = replace(mount, camera=replace(mount.camera, lens=lens))
    edge_turn = math.atan(640.0 / lens.focal_px[0])  # the tag's corner columns are nearly upright
    turn = edge_turn - math.atan(0.1 / 4.0)
    views = certain(
        make.views(
            np.repeat(make.poses([[0.0, 0.0, turn]]), 4000, axis=0), [mount], [tag], margin_px=30.0
        )
    )
    assert views.sighting_count == 4000
    corners, is_found = sense(views, **as_designed(views))
    right = np.sort(by_cv2(views, [mount], [tag])[0][:, 0])[2:]
    expected = np.prod(stats.norm.cdf((1279.5 - right) / views.std_px[0]))
    assert 0.05 < expected < 0.95
    assert is_found.mean() == pytest.approx(expected, abs=4 * math.sqrt(0.25 / 4000))
    assert np.isnan(corners[~is_found]).all()
    assert (corners[is_found] <= 1279.5).all()


# --- random draws that rivals share


def by_name(views, camera, corners, is_found):
    rows = np.flatnonzero(views.camera[views.frame] == camera)
    names = zip(views.number[views.frame[rows]], views.tags.ids[views.tag[rows]], strict=True)
    return {
        name: (corners[row].tobytes(), bool(is_found[row]))
        for name, row in zip(names, rows, strict=True)
    }


def test_draws_do_not_depend_on_rival_mounts_order_or_place(make) -> None:
    scene = make.busy()
    whole = scene.views
    result = by_name(whole, 1, *sense(whole, **as_designed(whole)))
    part = make.views(
        scene.world_from_robot,
        scene.mounts[1:2],
        scene.tags[::-1],
        robot_twist=scene.twist[1::3],
        boxes=scene.boxes,
        robot_boxes=scene.robot_boxes,
    )
    alone = by_name(part, 0, *sense(part, **as_designed(part, keys=keys(whole)[1:2])))
    assert result == alone
    shuffled = np.random.default_rng(1).permutation(whole.sighting_count)
    per_sighting = {
        name: getattr(whole, name)[shuffled]
        for name in (
            *(
                "frame",
                "tag",
                "velocity_px_per_s",
                "std_px",
                "shared_fraction",
                "persistent_fraction",
                "inward_px",
            ),
            *("shift_px", "found_probability"),
        )
    }
    mixed = replace(whole, **per_sighting)
    assert by_name(mixed, 1, *sense(mixed, **as_designed(mixed))) == result


def test_another_key_draws_anew(make) -> None:
    views = certain(make.busy(count=60).views)
    first, again, other = (
        sense(views, **as_designed(views, keys=keys(views, seed=seed)))[0] for seed in (1, 1, 2)
    )
    np.testing.assert_array_equal(first, again)
    assert (first != other).all()


# --- refusals


@pytest.mark.parametrize(
    ("changes", "problem"),
    [
        ({"keys": np.zeros(2, dtype=np.uint64)}, r"keys: shape \(2,\) given, \(1,\) wanted"),
        ({"corners_in_world_m": np.zeros((2, 4, 3))}, r"tag corners: shape"),
        ({"robot_from_camera": SpacePose.identity()}, r"robot_from_camera: shape \(4, 4\) given"),
        ({"lens_rows": np.zeros((1, 8))}, r"lens_rows: shape \(1, 8\) given, \(1, 12\)"),
        ({"noise_scale": -1.0}, r"noise_scale: must be 0 or more"),
    ],
)
def test_input_that_does_not_fit_is_refused(make, changes, problem) -> None:
    views = standing(make, 3)
    with pytest.raises(ValueError, match=problem):
        sense(views, **as_designed(views, **changes))
