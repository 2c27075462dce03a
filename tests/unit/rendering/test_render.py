"""The renderer: what hides what, to the pixel; motion, light, focus, noise; and what it refuses."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from posefuse.arena.arena import Arena, Obstacle, Tag, tag_pose
from posefuse.errors import InputError
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.randomness.streams import stream_key
from posefuse.rendering.camera_view import camera_view
from posefuse.rendering.compiled.surfaces import BACKDROP
from posefuse.rendering.render import CameraMotion, FrameNoise, render, render_light
from posefuse.rendering.surroundings import Looks, Surroundings
from posefuse.rendering.tag_pictures import tag_cells
from posefuse.robot.camera import Defocus, ImageQuality, Lens, Sensor
from posefuse.sensing.arrays import RobotBoxes, WorldBoxes
from rendering import EVEN, HERE, SENSOR, SHARP, STRAIGHT, facing_camera, shot

PLAIN = Looks(wall_grain_share=0.0, floor_grain_share=0.0, box_grain_share=0.0)
SMALL = Sensor(width_px=320, height_px=200)
WIDE = Lens(
    focal_px=np.array([200.0, 201.0]),
    centre_px=np.array([158.0, 101.0]),
    distortion=np.array([-0.12, 0.05, 4e-4, -3e-4, -0.008, 0.0, 0.0, 0.0]),
)


@pytest.fixture
def yard() -> Arena:
    """A small arena with a post, a beam that floats, two crates in one another, and three tags."""
    return Arena(
        name="yard",
        length_m=6.0,
        width_m=4.0,
        tags=tuple(
            Tag(
                id=number,
                family="36h11",
                edge_m=0.4,
                world_from_tag=tag_pose(np.array(place), facing_rad=math.radians(facing)),
            )
            for number, (place, facing) in enumerate(
                [((6.0, 2.6, 1.2), 180.0), ((3.35, 2.0, 0.9), 180.0), ((5.0, 0.9, 0.8), 150.0)]
            )
        ),
        obstacles=(
            Obstacle(
                name="post",
                centre_in_world_m=np.array([3.5, 2.0, 0.6]),
                size_m=np.array([0.3, 0.6, 1.2]),
            ),
            Obstacle(
                name="beam",
                centre_in_world_m=np.array([4.5, 2.0, 1.5]),
                size_m=np.array([0.2, 3.0, 0.2]),
                heading_rad=0.3,
            ),
            Obstacle(
                name="crate",
                centre_in_world_m=np.array([5.0, 3.3, 0.4]),
                size_m=np.array([0.8, 0.8, 0.8]),
                heading_rad=0.4,
            ),
            Obstacle(
                name="crate in the crate",
                centre_in_world_m=np.array([4.8, 3.0, 0.5]),
                size_m=np.array([0.6, 0.6, 0.7]),
            ),
        ),
    )


ROBOT_FROM_CAMERA = SpacePose.from_parts(
    np.array([[0.0, 0.0, 1.0], [-1.0, 0.0, 0.0], [0.0, -1.0, 0.0]]), [0.1, 0.0, 0.8]
)
OWN = RobotBoxes(
    centres_m=np.array([[[0.35, -0.2, 0.7], [0.0, 0.0, 0.2]]]),
    half_sizes_m=np.array([[0.02, 0.05, 0.2], [0.35, 0.35, 0.15]]),
)


def around(arena: Arena, **changes) -> Surroundings:
    given = {"boxes": WorldBoxes.from_obstacles(arena.obstacles), "robot_boxes": OWN}
    return Surroundings.from_arena(arena, looks=PLAIN, **{**given, **changes})


def standing(x: float, y: float, heading: float, lean=(0.0, 0.0)) -> CameraMotion:
    robot = SpacePose.from_plane(PlanePose([x, y, heading]), lean_rad=lean)
    return CameraMotion.at_rest(robot @ ROBOT_FROM_CAMERA, robot_from_camera=ROBOT_FROM_CAMERA)


def first_met(pixel: np.ndarray, arena: Arena, motion: CameraMotion) -> float:
    """Reflected light along the ray through a pixel, by plain geometry in the world frame."""
    undistorted = cv2.undistortPoints(pixel[None, None], WIDE.matrix, WIDE.distortion)[0, 0]
    for _ in range(20):
        ray = np.array([*undistorted, 1.0])
        zero = np.zeros(3)
        there, _ = cv2.projectPoints(ray[None], zero, zero, WIDE.matrix, WIDE.distortion)
        undistorted += (pixel - there.ravel()) / WIDE.focal_px
    ray = np.array([*undistorted, 1.0])
    pose = motion.world_from_camera.matrix[0]
    start, step = pose[:3, 3], pose[:3, :3] @ ray
    hits = [(np.inf, BACKDROP)]
    for axis, most in ((0, arena.length_m), (1, arena.width_m)):
        for plane in (0.0, most):
            depth = (plane - start[axis]) / step[axis]
            at = start + depth * step
            is_wall = 0.0 <= at[1 - axis] <= (arena.width_m, arena.length_m)[axis]
            if depth > 0 and is_wall and 0.0 <= at[2] <= PLAIN.wall_height_m:
                hits.append((depth, PLAIN.wall_share))
    floor = start - start[2] / step[2] * step
    if step[2] < 0 and 0 <= floor[0] <= arena.length_m and 0 <= floor[1] <= arena.width_m:
        hits.append((-start[2] / step[2], PLAIN.floor_share))
    robot_from_world = (motion.world_from_camera @ ROBOT_FROM_CAMERA.inverse()).matrix[0]
    shades = around(arena).arrays(SHARP, pixel_rad=1.0).bases
    world_from = [
        SpacePose.from_plane(
            PlanePose([*o.centre_in_world_m[:2], o.heading_rad]), height_m=0.0
        ).matrix
        for o in arena.obstacles
    ]
    for matrix, obstacle in zip(world_from, arena.obstacles, strict=True):
        matrix = matrix.copy()
        matrix[2, 3] = obstacle.centre_in_world_m[2]
        hits.append((*_box_hit(start, step, matrix, obstacle.size_m / 2.0), len(hits)))
    for centre, half in zip(OWN.centres_m[0], OWN.half_sizes_m, strict=True):
        matrix = robot_from_world.copy()
        matrix[:3, 3] += matrix[:3, :3] @ centre
        hits.append((*_box_hit(start, step, matrix, half), len(hits)))
    boxes = [hit for hit in hits if len(hit) == 3]
    plain = [hit for hit in hits if len(hit) == 2]
    plain += [
        (depth, float(shades[len(arena.tags) + place, face]))
        for place, (depth, face, _) in enumerate(boxes)
    ]
    for tag in arena.tags:
        plain.append(_tag_hit(start, step, tag))
    return min(hit for hit in plain if hit[0] < np.inf or hit[1] == BACKDROP)[1]


def _box_hit(start, step, world_from_box, half) -> tuple[float, int]:
    """(depth, face) of a box: each face on its own."""
    inside = np.linalg.inv(world_from_box)
    start, step = inside[:3, :3] @ start + inside[:3, 3], inside[:3, :3] @ step
    best = (np.inf, 0)
    for axis in range(3):
        for side in (-1.0, 1.0):
            depth = (side * half[axis] - start[axis]) / step[axis]
            at = np.abs(start + depth * step)
            if depth > 0 and (np.delete(at, axis) <= np.delete(half, axis)).all():
                best = min(best, (depth, 2 * axis + int(side > 0)))
    return best


def _tag_hit(start, step, tag: Tag) -> tuple[float, float]:
    inside = tag.world_from_tag.inverse()
    here, way = inside.transform(start), inside.rotation @ step
    depth = -here[2] / way[2]
    at = here + depth * way
    half = tag.edge_m / 2 * 10 / 8
    if here[2] <= 0 or depth <= 0 or (np.abs(at[:2]) > half).any():
        return np.inf, BACKDROP
    cells = tag_cells(tag.family, tag.id)
    column, row = ((at[0] + half) / half * 5, (half - at[1]) / half * 5)
    is_white = cells[min(int(row), 9), min(int(column), 9)]
    return depth - 0.01 / np.linalg.norm(step), PLAIN.paper_share if is_white else PLAIN.ink_share


@pytest.mark.parametrize(
    "motion",
    [
        standing(1.0, 2.0, 0.0),
        standing(2.2, 1.0, 0.5, lean=(0.05, -0.08)),
        standing(4.0, 0.6, 1.2),
    ],
)
def test_the_nearest_surface_wins_in_every_pixel(yard: Arena, motion) -> None:
    light = render_light(
        around(yard),
        view=camera_view(WIDE, SMALL),
        motion=motion,
        exposure_s=0.0,
        quality=SHARP,
    )
    generator = np.random.default_rng(5)
    wrong, edges, shown = [], 0, set()
    for _ in range(150):
        pixel = np.array([generator.integers(1, 319), generator.integers(1, 199)], dtype=float)
        around_it = [
            first_met(pixel + np.array(off), yard, motion)
            for off in ((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5), (0.0, 0.0))
        ]
        seen = float(light[int(pixel[1]), int(pixel[0])])
        if np.ptp(around_it) < 1e-12:
            shown.add(round(around_it[0], 6))
            if abs(seen - around_it[0]) > 1e-5:
                wrong.append((pixel, seen, around_it[0]))
        else:
            edges += 1
            assert min(around_it) - 1e-5 <= seen <= max(around_it) + 1e-5
    assert wrong == []
    assert edges > 3
    assert len(shown) >= 6


def test_a_tag_is_seen_from_its_front_alone() -> None:
    case = shot((0.0, 0.0, 1.0))
    turned = facing_camera((0.0, 0.0, 1.0), (180.0, 0.0, 0.0))
    back = Tag(id=0, family="36h11", edge_m=0.15, world_from_tag=turned)
    light = render_light(
        Surroundings.from_tags([back], back.corners_in_world_m[None]),
        view=case.view,
        motion=CameraMotion.at_rest(HERE, robot_from_camera=HERE),
        exposure_s=0.0,
        quality=SHARP,
    )
    assert np.ptp(light) < 1e-6
    assert np.ptp(case.light()) > 0.7


def test_a_window_is_cut_out_of_the_whole() -> None:
    case = shot((0.1, 0.05, 0.8), (20.0, 10.0, 5.0))
    whole = replace(case, view=camera_view(STRAIGHT, SENSOR))
    left, top, width, height = case.view.window
    part = whole.light()[top : top + height, left : left + width]
    np.testing.assert_allclose(case.light(), part, atol=0.15)  # each pixel's rays differ
    assert np.abs(case.light() - part).mean() < 2e-3


def edge_variance(image: np.ndarray, case) -> float:
    """Variance in px^2 of the blurred step at the left side of a square tag, over its upper border.

    Without what a pixel and a difference of two add, which are 1 px wide each.
    """
    column, row = case.corners_px[0].astype(int)
    cell = int((case.corners_px[1, 0] - case.corners_px[0, 0]) / 8)
    area = image[row + 2 : row + cell - 1, column - 12 : column + 13]
    fall = -np.diff(area.astype(float).mean(axis=0))
    places = np.arange(len(fall))
    middle = np.average(places, weights=fall)
    return float(np.average((places - middle) ** 2, weights=fall)) - 2.0 / 12.0


def drifting(speed_m_per_s: float, exposure_s: float, robot_from_camera=HERE) -> CameraMotion:
    """A camera that moves to its right."""
    instants = np.array([-0.5, 0.5]) * exposure_s
    places = np.column_stack([speed_m_per_s * instants, np.zeros(2), np.zeros(2)])
    return CameraMotion(
        instants_s=instants,
        world_from_camera=SpacePose.from_parts(np.eye(3), places),
        robot_from_camera=robot_from_camera,
    )


def test_blur_of_a_drive_past_is_f_v_t_over_z() -> None:
    # 2 m/s at 4 m for 10 ms is 3.2 px at f = 640 px: elementary geometry
    wide = Lens.from_width(field_of_view_rad=math.pi / 2, width_px=1280, height_px=800)
    case = shot((0.0, 0.0, 4.0), lens=wide, edge_m=1.6)
    moved = case.light(SHARP, drifting(2.0, 0.010), 0.010)
    assert math.sqrt(12.0 * edge_variance(moved, case)) == pytest.approx(3.2, rel=0.01)


@pytest.mark.parametrize("speed_m_per_s", [2.0, -2.0])
@pytest.mark.parametrize("heading", [0.0, 0.1])
def test_the_edge_of_a_box_blurs_about_its_place_in_mid_exposure(heading, speed_m_per_s) -> None:
    # 2 m/s at 2 m for 10 ms: 8 px; the left side of a box, upright or slanting by 6 degrees
    crate = Obstacle(
        name="crate",
        centre_in_world_m=np.array([0.2, 0.0, 2.1]),
        size_m=np.array([0.4, 0.8, 0.2]),
        heading_rad=heading,
    )
    left, top, width, height = (600, 340, 80, 120)
    light = render_light(
        Surroundings.from_tags(
            [], np.zeros((0, 4, 3)), boxes=WorldBoxes.from_obstacles((crate,)), looks=PLAIN
        ),
        view=camera_view(STRAIGHT, SENSOR, window=(left, top, width, height)),
        motion=drifting(speed_m_per_s, 0.01),
        exposure_s=0.01,
        quality=SHARP,
    ).astype(float)
    before, behind = light[:, :5].mean(), light[:, -5:].mean()
    # where an ideal step of the same area would be, row by row
    found = left - 0.5 + ((light - behind) / (before - behind)).sum(axis=1)
    y_m = (np.arange(height) + top - STRAIGHT.centre_px[1]) / STRAIGHT.focal_px[1] * 2.0
    cosine, sine = math.cos(heading), math.sin(heading)
    x_m = 0.2 - 0.2 * cosine - (y_m + 0.2 * sine) / cosine * sine
    true = STRAIGHT.centre_px[0] + STRAIGHT.focal_px[0] * x_m / 2.0
    assert abs((found - true).mean()) < 0.12
    assert (found - true).std() < 0.15


def test_the_robot_itself_does_not_blur() -> None:
    own = RobotBoxes(centres_m=np.array([[[0.0, 0.0, 1.0]]]), half_sizes_m=np.full((1, 3), 0.1))
    scene = Surroundings.from_tags([], np.zeros((0, 4, 3)), robot_boxes=own, looks=PLAIN)
    view = camera_view(STRAIGHT, SENSOR, window=(500, 250, 280, 300))
    images = [
        render_light(scene, view=view, motion=motion, exposure_s=0.01, quality=SHARP)
        for motion in (CameraMotion.at_rest(HERE, robot_from_camera=HERE), drifting(3.0, 0.01))
    ]
    np.testing.assert_allclose(images[0], images[1], atol=1e-5)
    assert np.ptp(images[0]) > 0.1


def test_box_rows_follow_the_frame(yard: Arena) -> None:
    lifted = np.repeat(OWN.centres_m, 3, axis=0)
    lifted[2, 0, 2] += 0.3
    moving = RobotBoxes(centres_m=lifted, half_sizes_m=OWN.half_sizes_m)
    given = {
        "view": camera_view(WIDE, SMALL),
        "motion": standing(1.0, 2.0, 0.0),
        "exposure_s": 0.0,
        "quality": SHARP,
    }
    scene = around(yard, robot_boxes=moving)
    first, second, third = (render_light(scene, **given, row=row) for row in range(3))
    np.testing.assert_array_equal(first, second)
    assert np.abs(first - third).max() > 0.1
    with pytest.raises(InputError, match=r"row: robot boxes have rows 0 to 2 \(got 3\)"):
        render_light(scene, **given, row=3)


@pytest.mark.parametrize("defocus", list(Defocus))
def test_defocus_spreads_as_far_as_said(defocus: Defocus) -> None:
    radius = 2.0 if defocus is Defocus.GAUSSIAN else 4.0
    quality = replace(EVEN, defocus=defocus, defocus_px=radius, black_grey=0.0)
    case = shot((0.0, 0.0, 0.5))
    # the standard deviation of a gaussian; half its radius of a disc: 2 px in both cases
    variance = edge_variance(case.image(quality, noise_scale=0.0), case)
    assert variance == pytest.approx(4.0, rel=0.05)


def test_vignetting_takes_light_from_the_corners() -> None:
    dim = replace(EVEN, vignetting_share=0.4, defocus_px=0.0, black_grey=0.0)
    empty = Surroundings.from_tags([], np.zeros((0, 4, 3)))
    image = render(
        empty,
        view=camera_view(STRAIGHT, SENSOR),
        motion=CameraMotion.at_rest(HERE, robot_from_camera=HERE),
        exposure_s=0.0,
        quality=dim,
        noise=FrameNoise(key=np.uint64(1), scale=0.0),
    ).astype(float)
    assert image[0, 0] / image[400, 640] == pytest.approx(0.6, abs=0.01)


def test_lamp_and_glare(yard: Arena) -> None:
    given = {
        "view": camera_view(WIDE, SMALL),
        "motion": standing(1.0, 2.0, 0.0),
        "exposure_s": 0.0,
    }
    even = render_light(around(yard), **given, quality=SHARP)
    lit = render_light(around(yard), **given, quality=replace(SHARP, lamp_share=0.5))
    shares = lit / even
    assert shares.max() <= 1.0 + 1e-6
    assert shares.min() > 0.5
    assert np.ptp(shares) > 0.05


def test_glare_is_the_lamp_in_the_mirror(yard: Arena) -> None:
    looking_down = standing(2.2, 2.0, 0.0, lean=(0.0, 1.1))
    given = {"view": camera_view(WIDE, SMALL), "motion": looking_down, "exposure_s": 0.0}
    bare = replace(yard, obstacles=(), tags=())
    images = [
        render_light(around(bare), **given, quality=replace(SHARP, glare_share=glare))
        for glare in (0.0, 1.0)
    ]
    glare = images[1] - images[0]
    assert glare.min() >= 0.0
    assert glare.max() == pytest.approx(1.0, abs=0.1)
    # the lamp hangs 5 m above the middle of the floor: as far below it in the mirror
    mirrored = looking_down.world_from_camera.inverse().transform(np.array([3.0, 2.0, -5.0]))
    zero = np.zeros(3)
    spot, _ = cv2.projectPoints(mirrored, zero, zero, WIDE.matrix, WIDE.distortion)
    brightest = np.unravel_index(np.argmax(glare), glare.shape)
    np.testing.assert_allclose(brightest[::-1], spot.ravel(), atol=3.0)


def test_seed_and_frame_fix_every_bit() -> None:
    case = shot((0.0, 0.0, 1.0))
    first = case.image(seed=1)
    np.testing.assert_array_equal(first, case.image(seed=1))
    assert (first != case.image(seed=2)).mean() > 0.5
    other = render(
        case.surroundings,
        view=case.view,
        motion=CameraMotion.at_rest(HERE, robot_from_camera=HERE),
        exposure_s=0.0,
        quality=EVEN,
        noise=FrameNoise(key=stream_key(1, 0, "image noise"), frame=7),
    )
    assert (first != other).mean() > 0.5


def test_a_camera_that_never_moves_is_as_sharp_as_one_at_rest() -> None:
    case = shot((0.0, 0.0, 1.0))
    still = CameraMotion(
        instants_s=np.array([-0.01, 0.0, 0.01]),
        world_from_camera=SpacePose.from_parts(np.eye(3), np.zeros((3, 3))),
        robot_from_camera=HERE,
    )
    np.testing.assert_array_equal(case.light(SHARP, still, 0.02), case.light())


def test_what_is_refused() -> None:
    with pytest.raises(InputError, match=r"instants_s: must be evenly spaced"):
        CameraMotion(
            instants_s=np.array([0.0, 1.0, 3.0]),
            world_from_camera=SpacePose.from_parts(np.eye(3), np.zeros((3, 3))),
            robot_from_camera=HERE,
        )
    with pytest.raises(InputError, match=r"world_from_camera: \(4, 4\) given, \(1, 4, 4\) wanted"):
        CameraMotion(instants_s=np.zeros(1), world_from_camera=HERE, robot_from_camera=HERE)
    with pytest.raises(InputError, match=r"window: must be 1 px wide and high or more"):
        camera_view(STRAIGHT, SENSOR, window=(0, 0, 0, 10))
    with pytest.raises(InputError, match=r"tag id: the family 16h5 has the ids 0 to 29 \(got 30\)"):
        shot((0.0, 0.0, 1.0), family="16h5", id=30).light()
    with pytest.raises(InputError, match=r"exposure_s: must be 0 or more"):
        shot((0.0, 0.0, 1.0)).light(exposure_s=-1.0)
    with pytest.raises(InputError, match=r"noise scale: must be 0 or more"):
        FrameNoise(key=np.uint64(1), scale=-1.0)
    with pytest.raises(InputError, match=r"paper_share: must be between 0 and 1"):
        Looks(paper_share=1.5)
    with pytest.raises(InputError, match=r"gain_factor: must be greater than 0"):
        ImageQuality(gain_factor=0.0)
