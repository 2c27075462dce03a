"""Which tags are in view, and what is known about each sighting."""

import math
from dataclasses import replace

import numpy as np
import pytest

from posefuse.robot.camera import Sensor
from posefuse.sensing.projection import project
from posefuse.sensing.views import still_views, visible_tags

ORIGIN = [[0.0, 0.0, 0.0]]


def is_seen(make, tag, mount=None, pose=ORIGIN, **changes) -> bool:
    """Whether one camera at one pose sees one tag."""
    seen = make.views(make.poses(pose), [mount or make.mount()], [tag], **changes)
    return seen.sighting_count == 1


def camera_mount(make, **changes):
    return make.mount(camera=make.camera(**changes))


# --- facing, image, size


def test_a_tag_must_face_the_camera(make) -> None:
    assert is_seen(make, make.tag(facing_deg=180.0))
    assert not is_seen(make, make.tag(facing_deg=0.0))


@pytest.mark.parametrize("turned_deg", [-74.0, 74.0])
def test_incidence_limit(make, turned_deg: float) -> None:
    near = {"at": (1.0, 0.0, 0.5), "edge": 0.2}
    assert is_seen(make, make.tag(facing_deg=180.0 + turned_deg, **near))
    assert not is_seen(make, make.tag(facing_deg=180.0 + 76.0 / 74.0 * turned_deg, **near))


@pytest.mark.parametrize("heading", [0.0, 2.0])
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_all_four_corners_must_lie_in_the_image(make, heading: float, side: float) -> None:
    # a robot that turns until the outermost corner reaches the edge of the image
    mount, lens = make.mount(), make.camera().lens
    tag = make.tag(at=(4.0 * math.cos(heading), 4.0 * math.sin(heading), 0.5))
    tag = make.tag(at=tag.world_from_tag.translation_m, facing_deg=180.0 + math.degrees(heading))
    turns = np.linspace(0.4, 0.8, 201)
    worst = []
    for turn in turns:
        robot = np.linalg.inv(make.poses([[0.0, 0.0, heading + side * turn]])[0])
        camera_from_robot = mount.robot_from_camera.inverse()
        corners = tag.corners_in_world_m @ robot[:3, :3].T + robot[:3, 3]
        u = project(camera_from_robot.transform(corners), lens)[:, 0]
        worst.append(u.max() - 1279.5 if side > 0 else -0.5 - u.min())
    out = np.array(worst)
    for slack in (0.0, 25.0):
        poses = make.poses([[0.0, 0.0, heading + side * turn] for turn in turns])
        seen = make.views(poses, [mount], [tag], margin_px=slack)
        clear = np.abs(out - slack) > 1e-6
        mask = np.isin(np.arange(len(turns)), seen.frame)
        np.testing.assert_array_equal(mask[clear], (out <= slack)[clear])
        assert 0 < mask.sum() < len(turns)


def test_least_edge(make) -> None:
    # head on, undistorted at the centre: edge = f s / z
    mount = camera_mount(make, detector=make.detector(least_edge_px=20.0))
    focal_px = make.camera().lens.focal_px[0]
    reach = focal_px * 0.2 / 20.0
    assert is_seen(make, make.tag(at=(reach - 0.02, 0.0, 0.5)), mount)
    assert not is_seen(make, make.tag(at=(reach + 0.02, 0.0, 0.5)), mount)


def test_a_corner_past_the_fold_of_the_lens_is_not_seen(make) -> None:
    folding = np.array([-0.3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    wide = replace(make.camera().lens, focal_px=np.array([300.0, 300.0]), distortion=folding)
    mount = camera_mount(make, lens=wide)
    limit = 1.0 / math.sqrt(3 * 0.3)
    for place, wanted in ((0.8 * limit, True), (1.5 * limit, False)):
        tag = make.tag(at=(1.0, place, 0.5), facing_deg=180.0 + 40.0)
        assert is_seen(make, tag, mount) is wanted


# --- hidden by boxes


def test_a_box_in_between_hides(make) -> None:
    tag = make.tag()
    assert not is_seen(make, tag, boxes=make.boxes((2.0, 0.0, 0.5, 0.2, 0.2, 0.2, 0.0)))
    assert is_seen(make, tag, boxes=make.boxes((2.0, 1.0, 0.5, 0.2, 0.2, 0.2, 0.0)))
    assert is_seen(make, tag, boxes=make.boxes((6.0, 0.0, 0.5, 0.2, 0.2, 0.2, 0.0)))
    assert is_seen(make, tag, boxes=make.boxes((-2.0, 0.0, 0.5, 0.2, 0.2, 0.2, 0.0)))


def test_a_box_that_hides_one_corner_hides_the_tag(make) -> None:
    # top left corner as seen: y = +0.1, z = 0.6; halfway it is at y = 0.05, z = 0.55
    assert not is_seen(make, make.tag(), boxes=make.boxes((2, 0.05, 0.55, 0.02, 0.02, 0.02, 45)))


def test_a_box_turned_by_its_heading(make) -> None:
    # a plank across the view, then turned along it and 0.3 m aside
    plank = (2.0, 0.3, 0.5, 0.05, 1.2, 0.4)
    assert not is_seen(make, make.tag(), boxes=make.boxes((*plank, 0.0)))
    assert is_seen(make, make.tag(), boxes=make.boxes((*plank, 90.0)))


def test_the_post_and_the_wall_that_carry_a_tag_do_not_hide_it(make) -> None:
    post = make.boxes((4.1, 0.0, 0.5, 0.2, 0.2, 1.0, 0.0))  # the tag hangs on its face
    assert is_seen(make, make.tag(), boxes=post)
    assert is_seen(make, make.tag(), boxes=post, pose=[[1.0, 2.0, -0.6]])
    sunk = make.boxes((4.1, 0.0, 0.5, 0.26, 0.26, 1.0, 0.0))  # 3 cm inside the post
    assert not is_seen(make, make.tag(), boxes=sunk)


def test_a_camera_flush_with_its_own_box_sees_outward(make) -> None:
    mast = make.robot_boxes((-0.1, 0.0, 0.5, 0.2, 0.2, 1.0))  # its front face is at x = 0
    assert is_seen(make, make.tag(), robot_boxes=mast)
    assert not is_seen(make, make.tag(), make.mount(pan_rad=math.pi), robot_boxes=mast)
    behind = make.mount(position_in_robot_m=np.array([-0.2, 0.0, 0.5]))
    assert not is_seen(make, make.tag(), behind, robot_boxes=mast)
    for pose in ([[0.0, 0.0, 0.3]], [[1.0, -2.0, 0.55]], [[3.0, 2.0, -1.2]]):
        assert is_seen(make, make.tag(), pose=pose, robot_boxes=mast)


def test_the_robots_boxes_lean_with_it(make) -> None:
    # a bar 1 m ahead, 0.15 m above the line of sight; nose down by 0.1 rad lowers it into the way
    bar = make.robot_boxes((1.0, 0.0, 0.65, 0.05, 0.5, 0.1))
    lower = make.mount(tilt_rad=0.1)
    for lean, wanted in ((0.0, True), (0.1, False)):
        poses = make.poses(ORIGIN, lean=(0.0, lean))
        seen = make.views(poses, [lower], [make.tag(edge=0.1)], robot_boxes=bar)
        assert (seen.sighting_count == 1) is wanted


def test_boxes_that_move_from_frame_to_frame(make) -> None:
    path = np.array([[[2.0, y, 0.5]] for y in (-1.0, 0.0, 1.0)])
    traffic = make.boxes((0, 0, 0, 0.3, 0.3, 0.6, 0))
    poses = make.poses([ORIGIN[0]] * 3)
    seen = make.views(poses, [make.mount()], [make.tag()], boxes=replace(traffic, centres_m=path))
    assert seen.frame.tolist() == [0, 2]
    mast = make.robot_boxes((0, 0, 0, 0.1, 0.1, 0.2))
    rising = np.array([[[0.3, 0.0, z]] for z in (0.1, 0.3, 0.5)])
    seen = make.views(
        poses, [make.mount()], [make.tag()], robot_boxes=replace(mast, centres_m=rising)
    )
    assert seen.frame.tolist() == [0, 1]


def _cuts(start, ends, centre, half, heading, grown):
    """Dense sampling, apart from the tested code: whether each line has a point in the box."""
    along = np.linspace(0.0, 1.0, 2001)[:, None, None]
    points = start + along * (ends - start) - centre
    c, s = math.cos(heading), math.sin(heading)
    local = np.stack(
        [
            c * points[..., 0] + s * points[..., 1],
            c * points[..., 1] - s * points[..., 0],
            points[..., 2],
        ],
        axis=-1,
    )
    length = np.linalg.norm(ends - start, axis=-1)
    before_tag = along[..., 0] * length <= length - 0.01
    return ((np.abs(local) < half + grown).all(axis=-1) & before_tag).any(axis=0)


def test_hiding_agrees_with_dense_sampling_along_the_lines_of_sight(make) -> None:
    rng = np.random.default_rng(5)
    tag, mount = make.tag(), make.mount()
    ends = np.vstack([tag.corners_in_world_m, tag.world_from_tag.translation_m])
    start = np.array([0.0, 0.0, 0.5])
    outcomes = []
    for _ in range(130):
        centre = rng.uniform([0.5, -0.35, 0.2], [3.8, 0.35, 0.9])
        half = rng.uniform(0.02, 0.3, 3)
        heading = rng.uniform(-math.pi, math.pi)
        in_world = {"boxes": make.boxes((*centre, *(2 * half), math.degrees(heading)))}
        on_robot = {"robot_boxes": make.robot_boxes((*centre, *(2 * half)))}
        for turned, given in ((heading, in_world), (0.0, on_robot)):
            inner, outer = (
                _cuts(start, ends, centre, half, turned, grown).any() for grown in (-3e-3, 3e-3)
            )
            if inner == outer:  # else the line grazes the box: beyond what sampling can decide
                assert is_seen(make, tag, mount, **given) is not bool(inner)
                outcomes.append(bool(inner))
    assert len(outcomes) > 200
    assert 0.2 < np.mean(outcomes) < 0.8


# --- what is known of each sighting


def test_distance_incidence_and_edge_of_a_plain_view(make) -> None:
    mount = camera_mount(make, lens=replace(make.camera().lens, distortion=np.zeros(8)))
    focal_px = make.camera().lens.focal_px[0]
    seen = make.views(make.poses(ORIGIN), [mount], [make.tag(at=(4.0, 0.0, 0.5))])
    assert seen.distance_m[0] == pytest.approx(4.0, abs=1e-12)
    assert seen.cos_incidence[0] == pytest.approx(1.0, abs=1e-12)
    assert seen.edge_px[0] == pytest.approx(focal_px * 0.2 / 4.0, rel=1e-12)
    assert seen.blur_px[0] == 0.0
    turned = make.views(make.poses(ORIGIN), [mount], [make.tag(facing_deg=180.0 - 60.0)])
    assert turned.cos_incidence[0] == pytest.approx(0.5, abs=1e-12)
    # area shrinks by the cosine, to second order in size over distance
    assert turned.edge_px[0] == pytest.approx(math.sqrt(0.5) * focal_px * 0.05, rel=2e-3)


def test_velocity_is_the_derivative_of_the_projection(make) -> None:
    scene = make.busy(seed=2, count=60)
    seen, step_s = scene.views, 1e-6
    assert seen.sighting_count > 100
    for s in range(0, seen.sighting_count, 7):
        f = seen.frame[s]
        mount = scene.mounts[seen.camera[f]]
        centre = scene.tags[seen.tag[s]].world_from_tag.translation_m
        turn_rate, velocity = scene.twist[f, :3], scene.twist[f, 3:]

        def pixel(t, f=f, mount=mount, centre=centre, w=turn_rate, v=velocity):
            # first order motion of the body: R(t) = (I + [w t]x) R
            skew = np.array([[0, -w[2], w[1]], [w[2], 0, -w[0]], [-w[1], w[0], 0]])
            rotation = (np.eye(3) + t * skew) @ seen.rotation[f]
            in_robot = np.linalg.solve(rotation, centre - seen.translation_m[f] - t * v)
            in_camera = mount.robot_from_camera.inverse().transform(in_robot)
            return project(in_camera, mount.camera.lens)

        rate = (pixel(step_s) - pixel(-step_s)) / (2 * step_s)
        np.testing.assert_allclose(seen.velocity_px_per_s[s], rate, rtol=1e-5, atol=1e-3)
        assert seen.blur_px[s] == pytest.approx(0.005 * np.hypot(*rate), rel=1e-4)


def test_each_sighting_has_its_own_cameras_response(make) -> None:
    sharp = make.mount("sharp", camera=make.camera(detector=make.plain_detector(noise_px=0.1)))
    seen = make.views(make.poses(ORIGIN), [make.mount(), sharp], [make.tag()])
    assert seen.camera[seen.frame].tolist() == [0, 1]
    assert seen.std_px[1] == pytest.approx(0.1)
    assert seen.std_px[0] == pytest.approx(math.hypot(0.3, 0.2), rel=1e-9)
    np.testing.assert_array_equal(seen.shift_px, [[0.1, -0.2], [0.0, 0.0]])
    np.testing.assert_array_equal(seen.shared_fraction, [0.3, 0.0])


def test_figures_do_not_depend_on_rival_mounts_or_the_order_of_tags(make) -> None:
    scene = make.busy()
    whole = scene.views
    part = make.views(
        scene.world_from_robot,
        scene.mounts[1:2],
        scene.tags[::-1],
        robot_twist=scene.twist[1::3],
        boxes=scene.boxes,
        robot_boxes=scene.robot_boxes,
    )

    def by_name(views, camera):
        rows = np.flatnonzero(views.camera[views.frame] == camera)
        keys = zip(views.number[views.frame[rows]], views.tags.ids[views.tag[rows]], strict=True)
        columns = np.column_stack(
            [views.distance_m, views.edge_px, views.velocity_px_per_s, views.found_probability]
        )
        return {key: tuple(row) for key, row in zip(keys, columns[rows], strict=True)}

    assert by_name(whole, 1) == by_name(part, 0)
    assert part.sighting_count > 100


def test_sightings_stand_in_the_order_of_frames_then_tags(make) -> None:
    seen = make.busy().views
    order = np.lexsort((seen.tag, seen.frame))
    np.testing.assert_array_equal(order, np.arange(seen.sighting_count))
    assert not seen.edge_px.flags.writeable
    assert not seen.frame.flags.writeable


# --- poses without a course


def test_visible_tags_are_those_of_the_views(make) -> None:
    scene = make.busy()
    mask = visible_tags(
        scene.world_from_robot, scene.mounts, scene.tags, scene.boxes, scene.robot_boxes
    )
    assert mask.shape == (300, 3, 8)
    seen = scene.views
    wanted = np.zeros_like(mask)
    wanted[seen.number[seen.frame], seen.camera[seen.frame], seen.tag] = True
    np.testing.assert_array_equal(mask, wanted)


def test_still_views_number_their_frames_by_pose(make) -> None:
    scene = make.busy(count=40)
    seen = still_views(
        scene.world_from_robot, scene.mounts, scene.tags, scene.boxes, scene.robot_boxes
    )
    np.testing.assert_array_equal(seen.number, np.repeat(np.arange(40), 3))
    np.testing.assert_array_equal(seen.camera, np.tile(np.arange(3), 40))
    np.testing.assert_array_equal(seen.edge_px, scene.views.edge_px)
    assert (seen.blur_px == 0.0).all()


def test_nothing_to_see(make) -> None:
    empty = visible_tags(make.poses(ORIGIN), [make.mount()], [], make.boxes(), make.robot_boxes())
    assert empty.shape == (1, 1, 0)
    assert visible_tags(
        make.poses(ORIGIN), [], [make.tag()], make.boxes(), make.robot_boxes()
    ).shape == (1, 0, 1)
    assert make.views(np.zeros((0, 4, 4)), [make.mount()], [make.tag()]).frame_count == 0


# --- refusals


@pytest.mark.parametrize(
    ("changes", "problem"),
    [
        ({"camera": [1]}, r"camera: must be between 0 and 0 \(got 1 to 1\)"),
        ({"camera": [-1]}, r"camera: must be between 0 and 0"),
        ({"mount_state": [1]}, r"mount_state: must be between 0 and 0 \(got 1 to 1\)"),
        ({"mount_state": [0, 0]}, r"mount_state: shape \(2,\) given, \(1,\) wanted"),
        ({"number": [0, 1]}, r"number: shape \(2,\) given, \(1,\) wanted"),
        ({"robot_twist": [[0.0] * 3]}, r"robot_twist: shape \(1, 3\) given, \(1, 6\) wanted"),
        ({"world_from_robot": np.zeros((1, 3, 4))}, r"world_from_robot: shape"),
        ({"margin_px": -1.0}, r"margin: must be 0 or more \(got -1\)"),
    ],
)
def test_input_that_does_not_fit_is_refused(make, changes, problem) -> None:
    given = {"world_from_robot": make.poses(ORIGIN), **changes}
    with pytest.raises(ValueError, match=problem):
        make.views(given.pop("world_from_robot"), [make.mount()], [make.tag()], **given)


def test_box_rows_must_fit_the_frames(make) -> None:
    two_rows = replace(make.boxes((2, 0, 0.5, 1, 1, 1, 0)), centres_m=np.zeros((2, 1, 3)))
    poses = make.poses([ORIGIN[0]] * 3)
    with pytest.raises(ValueError, match=r"boxes: 2 rows of centres given, 1 or 3 wanted"):
        make.views(poses, [make.mount()], [make.tag()], boxes=two_rows)


def test_a_box_without_thickness_is_refused(make) -> None:
    with pytest.raises(ValueError, match="half_sizes_m: must be greater than 0"):
        make.boxes((2, 0, 0.5, 1, 0, 1, 0))


def test_a_tag_id_beyond_the_counters_is_refused(make) -> None:
    with pytest.raises(ValueError, match="tag id: must be less than 1048576"):
        is_seen(make, make.tag(1 << 20))


def test_a_small_image_sees_less(make) -> None:
    small = camera_mount(make, sensor=Sensor(width_px=640, height_px=400))
    assert not is_seen(make, make.tag(), small)
