"""Slopes of a tag's corners by pose and build, against central differences of the simulated build.

The corners are projected by cv2.projectPoints (OpenCV) through the camera, lens and tag that
``simulation.built`` gives for constants a little off.
"""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from posefuse.build_errors.constants import constants_of
from posefuse.build_errors.draw import as_drawn
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Lens
from posefuse.simulation.built import build
from posefuse.solving.compiled.slopes import COLUMNS, HEIGHT, LEAN, OWN, TAG
from posefuse.solving.linear import linear_cameras, linear_tags, sighting_slopes
from posefuse.study.trial import plan_scene
from small_court import small_study

STUDY = small_study()
RIG, ARENA = STUDY.plans[1].rig, STUDY.arena
POSES = [np.array([4.0, 2.0, 0.3]), np.array([2.5, 3.1, -1.2])]
VELOCITY = np.array([0.8, -0.5, 1.7])


@pytest.fixture(scope="module")
def scene():
    mounts = tuple(with_distortion(mount) for mount in RIG.mounts)
    plan = replace(STUDY.plans[1], rig=replace(RIG, mounts=mounts))
    return plan_scene(STUDY, plan, STUDY.courses[0])


def with_distortion(mount):
    lens = mount.camera.lens
    bent = Lens(
        focal_px=lens.focal_px * [1.0, 1.02],
        centre_px=lens.centre_px + np.array([7.0, -5.0]),
        distortion=np.array([-0.08, 0.05, 0.0004, -0.0003, 0.01, 0.02, -0.01, 0.003]),
    )
    return replace(mount, camera=replace(mount.camera, lens=bent))


def pixels(scene, row, *, eye: int, tag: int, pose: np.ndarray, height_m: float = 0.0):
    """Corners (8,) in px of a tag in a camera of a build with these constants (p,)."""
    constants = constants_of(scene.rig, scene.arena, BuildSpreads())
    nominal = as_drawn(scene.rig, scene.arena)
    built = build(scene, seed=0, trial=0, as_built=nominal.with_row(row, constants))
    late_s = built.errors["clock_offset_s"][eye, 0]
    level = SpacePose.from_plane(PlanePose(pose - late_s * VELOCITY), height_m=height_m)
    camera = level @ SpacePose(built.level_from_camera.matrix[eye])
    points = camera.inverse().transform(built.tag_corners_in_world_m[tag])
    lens = built.lenses[eye]
    found, _ = cv2.projectPoints(points, np.zeros(3), np.zeros(3), lens.matrix, lens.distortion)
    return found.ravel()


def differences(scene, zero, *, eye: int, tag: int, pose: np.ndarray) -> np.ndarray:
    """Central differences (8, COLUMNS) of ``pixels``."""
    constants = constants_of(scene.rig, scene.arena, BuildSpreads())

    def slope(row: np.ndarray, move: np.ndarray, rise: float) -> np.ndarray:
        step = 1e-6
        high, low = (
            pixels(
                scene,
                zero + side * row,
                eye=eye,
                tag=tag,
                pose=pose + side * move,
                height_m=side * rise,
            )
            for side in (step, -step)
        )
        return (high - low) / (2.0 * step)

    expected = np.zeros((8, COLUMNS))
    still = np.zeros(3)
    for axis in range(3):
        expected[:, axis] = slope(zero, np.eye(3)[axis], 0.0)
    expected[:, HEIGHT] = slope(zero, still, 1.0)
    places = [
        *(eye * 11 + np.arange(11)),
        *(constants.first_lean + np.arange(2)),
        *(constants.first_tag + tag * 7 + np.arange(7)),
    ]
    columns = [*range(OWN, LEAN), LEAN, LEAN + 1, *range(TAG, HEIGHT)]
    for place, column in zip(places, columns, strict=True):
        expected[:, column] = slope(np.eye(len(zero))[place], still, 0.0)
    return expected


@pytest.mark.parametrize("pose", POSES)
def test_slopes_are_those_of_the_simulated_build(scene, pose) -> None:
    constants = constants_of(scene.rig, scene.arena, BuildSpreads())
    zero = np.zeros(len(constants))
    cameras, tags = linear_cameras(scene.rig.mounts), linear_tags(scene.arena.tags)
    checked = 0
    for eye in range(len(scene.rig.mounts)):
        for tag in range(len(scene.arena.tags)):
            slopes, is_ahead = sighting_slopes(
                cameras,
                tags,
                camera=np.array([eye]),
                tag=np.array([tag]),
                poses=pose[None],
                velocities=VELOCITY[None],
            )
            seen = pixels(scene, zero, eye=eye, tag=tag, pose=pose)
            if not is_ahead[0] or np.abs(seen).max() > 3000.0:
                continue
            checked += 1
            expected = differences(scene, zero, eye=eye, tag=tag, pose=pose)
            np.testing.assert_allclose(slopes[0], expected, rtol=2e-6, atol=2e-4)
    assert checked >= 2


def test_a_tag_behind_the_camera_has_none() -> None:
    cameras, tags = linear_cameras(RIG.mounts), linear_tags(ARENA.tags)
    count = len(ARENA.tags)
    arguments = {"velocities": np.zeros((count, 3)), "tag": np.arange(count)}
    front = np.zeros(count, dtype=np.int64)
    away = np.tile([4.0, 2.0, 0.0], (count, 1))
    _, ahead = sighting_slopes(cameras, tags, camera=front, poses=away, **arguments)
    _, behind = sighting_slopes(
        cameras, tags, camera=front, poses=away + np.array([0.0, 0.0, np.pi]), **arguments
    )
    assert not (ahead & behind).any()
    assert ahead.any()
