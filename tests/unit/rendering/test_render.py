"""The renderer: what hides what, to the pixel; windows; and what it refuses."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from posefuse.arena.arena import Arena, Tag
from posefuse.errors import InputError
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.rendering.camera_view import camera_view
from posefuse.rendering.compiled.surfaces import BACKDROP
from posefuse.rendering.render import CameraMotion, FrameNoise, render_light
from posefuse.rendering.surroundings import Looks, Surroundings
from posefuse.rendering.tag_pictures import tag_cells
from posefuse.robot.image_quality import ImageQuality
from posefuse.sensing.arrays import RobotBoxes
from rendered_yard import OWN, PLAIN, ROBOT_FROM_CAMERA, SMALL, WIDE, around, standing, yard_arena
from rendering import HERE, SENSOR, SHARP, STRAIGHT, facing_camera, shot


@pytest.fixture
def yard() -> Arena:
    return yard_arena()


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
