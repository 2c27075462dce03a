"""The floor map against figures worked out another way."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from matplotlib.path import Path as Outline

from posefuse.arena.arena import Arena
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.errors import InputError
from posefuse.fusion.settings import FilterSettings, Measurement, NoiseKind, NoiseModel
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.robot.rig import Rig
from posefuse.study.floor_map import FloorMap, floor_map
from posefuse.study.standstill import Arrival
from small_court import small_arena, small_rig

TRUSTED = FilterSettings(
    measurement=Measurement.CORNERS, noise=NoiseModel(kind=NoiseKind.FIXED, pixel_std_px=0.5)
)
"""A filter that believes what is true of the small rig's corners."""


def made_of(arena: Arena, *mounts: str, rig: Rig | None = None, **changes) -> FloorMap:
    """The map of the small rig if everything were built as drawn."""
    given = {"settings": TRUSTED, "spreads": BuildSpreads(), "cell_m": 0.5}
    rig = rig or small_rig(*mounts)
    return floor_map(arena=arena, rig=rig, goal=arena.goals[0], **{**given, **changes})


def spread_by_cv2(arena: Arena, rig: Rig, pose: np.ndarray, prior: np.ndarray) -> float:
    """The bound of 15 frames of one camera, by OpenCV's projection, differenced, inverted."""
    mount = rig.mounts[0]

    def pixels(values: np.ndarray) -> np.ndarray:
        world_from_camera = SpacePose.from_plane(PlanePose(values)) @ mount.robot_from_camera
        camera_from_world = world_from_camera.inverse()
        turn, _ = cv2.Rodrigues(camera_from_world.rotation)
        seen = []
        for tag in arena.tags:
            inside = camera_from_world.transform(tag.corners_in_world_m)
            projected, _ = cv2.projectPoints(
                tag.corners_in_world_m,
                turn,
                camera_from_world.translation_m,
                mount.camera.lens.matrix,
                None,
            )
            to_camera = world_from_camera.translation_m - tag.world_from_tag.translation_m
            cosine = to_camera @ tag.world_from_tag.rotation[:, 2] / np.linalg.norm(to_camera)
            flat = projected.reshape(4, 2)
            in_image = (flat > -0.5).all() and (flat < [1279.5, 799.5]).all()
            if in_image and (inside[:, 2] > 0.0).all() and cosine > math.cos(math.radians(75.0)):
                seen.append(flat.ravel())
        return np.concatenate(seen)

    step = 1e-6
    columns = [(pixels(pose + d) - pixels(pose - d)) / (2 * step) for d in step * np.eye(3)]
    jacobian = np.stack(columns, axis=-1)
    std_px = mount.camera.detector.noise_px
    information = 15.0 * jacobian.T @ jacobian / std_px**2
    cov = np.linalg.inv(information + np.diag(prior**-2))[:2, :2]
    toward = np.array([math.cos(pose[2]), math.sin(pose[2])])
    return math.sqrt(toward @ cov @ toward)


def test_without_build_errors_the_error_is_the_bound_of_opencv_and_a_plain_inverse() -> None:
    arena, rig = replace(small_arena(), obstacles=()), small_rig("front")
    rig = replace(rig, body=replace(rig.body, boxes=()))
    goal = arena.goals[0]
    made = made_of(arena, rig=rig, cell_m=1.0)  # 30 frames a second for half a second
    assert made.distance_rms_m.shape == (5, 9)
    prior = np.array([0.1, 0.1, math.radians(2.0)])
    rows = [(1, 4), (2, 2), (3, 5)]
    for row, column in rows:
        x = (made.x_edges_m[column] + made.x_edges_m[column + 1]) / 2
        y = (made.y_edges_m[row] + made.y_edges_m[row + 1]) / 2
        dx, dy = goal.xy_in_world_m - [x, y]
        expected = spread_by_cv2(arena, rig, np.array([x, y, math.atan2(dy, dx)]), prior)
        # this detector finds all but a few in a million of what it can see
        assert made.distance_rms_m[row, column] == pytest.approx(expected, rel=2e-3)
        assert made.distance_rms_m[row, column] < 0.05


def test_without_a_tag_in_view_the_prior_is_left() -> None:
    arena = small_arena()
    # the only tag hangs behind a robot that faces the goal
    behind = replace(arena, tags=tuple(tag for tag in arena.tags if tag.id == 1))
    made = made_of(behind, "front", arrival=Arrival(position_std_m=0.3))
    seen_none = made.tags_seen == 0.0
    assert seen_none.mean() > 0.5
    np.testing.assert_allclose(made.distance_rms_m[seen_none], 0.3, rtol=1e-12)


def test_the_robot_stands_where_its_outline_is_free() -> None:
    arena, rig = small_arena(), small_rig("front")
    made = made_of(arena, rig=rig, cell_m=0.25)
    bench = next(box for box in arena.obstacles if box.blocks_course)
    corners = bench.size_m[:2] / 2 * [[1, 1], [-1, 1], [-1, -1], [1, -1]]
    outline = Outline(
        PlanePose([*bench.centre_in_world_m[:2], bench.heading_rad]).transform(corners)
    )
    # points all over the robot, edges included: does any lie inside the bench?
    half = np.array([rig.body.length_m, rig.body.width_m]) / 2.0
    grid = np.stack(np.meshgrid(*(np.linspace(-h, h, 60) for h in half)), axis=-1).reshape(-1, 2)
    for row in range(made.tags_seen.shape[0]):
        for column in range(made.tags_seen.shape[1]):
            x, y = made.x_edges_m[column] + 0.125, made.y_edges_m[row] + 0.125
            dx, dy = arena.goals[0].xy_in_world_m - [x, y]
            points = PlanePose([x, y, math.atan2(dy, dx)]).transform(grid)
            inside = outline.contains_points(points).any()
            assert made.is_standable[row, column] == (not inside)
    assert not made.is_standable.all()


def test_a_second_camera_never_makes_it_worse() -> None:
    arena = small_arena()
    maps = [made_of(arena, *mounts) for mounts in (("front",), ("front", "left"))]
    stand = maps[0].is_standable
    assert (maps[1].distance_rms_m <= maps[0].distance_rms_m + 1e-12)[stand].all()
    assert (maps[1].tags_seen >= maps[0].tags_seen)[stand].all()
    assert (maps[1].tags_seen > maps[0].tags_seen)[stand].mean() > 0.2


def test_turning_round_a_camera_ahead_sees_what_four_see_at_once() -> None:
    arena = small_arena()
    front = small_rig("front")
    front = replace(front, body=replace(front.body, boxes=()))
    mount = front.mounts[0]
    quarter = math.pi / 2
    turned = [
        replace(
            mount,
            name=f"turned {k}",
            pan_rad=k * quarter,
            position_in_robot_m=np.array(
                [0.34 * math.cos(k * quarter), 0.34 * math.sin(k * quarter), 0.35]
            ),
        )
        for k in range(4)
    ]
    round_about = made_of(arena, rig=front, headings=4)
    at_once = made_of(arena, rig=replace(front, mounts=tuple(turned)))
    np.testing.assert_allclose(round_about.tags_seen, at_once.tags_seen / 4.0, atol=1e-9)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"cell_m": 0.0}, "cell_m: must be greater than 0"),
        ({"cell_m": 1e-4}, "cell_m: makes 90000 x 50000 cells"),
        ({"headings": 0}, "headings: must be between 1 and 360"),
        (
            {"settings": FilterSettings(measurement=Measurement.RANGE, noise=TRUSTED.noise)},
            "only filters that fuse tags can be forecast",
        ),
        ({"rig": replace(small_rig(), mounts=())}, "no floor map, it has no camera"),
        ({"arena": replace(small_arena(), tags=())}, "no floor map, it has no tag"),
    ],
)
def test_bad_input_is_refused(changes: dict, message: str) -> None:
    arena = small_arena()
    given = {
        "arena": arena,
        "rig": small_rig(),
        "goal": arena.goals[0],
        "settings": TRUSTED,
        "spreads": BuildSpreads(),
    }
    with pytest.raises(InputError, match=message):
        floor_map(**{**given, **changes})


def test_an_arrival_must_be_possible() -> None:
    for name in ("position_std_m", "heading_std_rad", "standstill_s"):
        with pytest.raises(InputError, match=f"{name}: must be greater than 0"):
            Arrival(**{name: 0.0})


def test_errors_of_the_build_are_in_the_map_and_threads_change_nothing() -> None:
    arena, built = small_arena(), BuildSpreads.of(mount_angle_rad=0.01, tag_position_m=0.005)
    exact, real = made_of(arena), made_of(arena, spreads=built)
    sees = exact.is_standable & (exact.tags_seen > 0.5)
    assert (real.distance_rms_m >= exact.distance_rms_m - 1e-12)[sees].all()
    assert np.median(real.distance_rms_m[sees]) > 5.0 * np.median(exact.distance_rms_m[sees])
    three = made_of(arena, spreads=built, workers=3)
    np.testing.assert_allclose(three.pose_covs, real.pose_covs, rtol=1e-12)
    np.testing.assert_array_equal(three.tags_seen, real.tags_seen)


def test_where_there_is_no_place_to_stand_nothing_is_known() -> None:
    arena = small_arena()
    bench = next(box for box in arena.obstacles if box.blocks_course)
    full = replace(arena, obstacles=(replace(bench, size_m=np.array([30.0, 30.0, 0.6])),))
    nowhere = made_of(full, cell_m=1.0, workers=2)
    assert not nowhere.is_standable.any()
    assert np.isnan(nowhere.tags_seen).all()
