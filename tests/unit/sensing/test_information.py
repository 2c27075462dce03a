"""Fisher information against dense matrices built from OpenCV's projection."""

import cv2
import numpy as np
import pytest

from posefuse.sensing.information import corner_information, pose_information


def turned(angle):
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def corners_by_cv2(step, views, s, mounts, tags):
    """The 8 pixels of sighting s when the robot is moved by step (x, y, heading), lean kept."""
    frame = views.frame[s]
    mount, tag = mounts[views.camera[frame]], tags[views.tag[s]]
    world_from_camera = np.eye(4)
    world_from_camera[:3, :3] = turned(step[2]) @ views.rotation[frame]
    world_from_camera[:3, 3] = views.translation_m[frame] + [step[0], step[1], 0.0]
    camera_from_world = np.linalg.inv(world_from_camera @ mount.robot_from_camera.matrix)
    turn, _ = cv2.Rodrigues(camera_from_world[:3, :3])
    lens = mount.camera.lens
    pixels, _ = cv2.projectPoints(
        tag.corners_in_world_m, turn, camera_from_world[:3, 3], lens.matrix, lens.distortion
    )
    return pixels.reshape(8)


def test_information_is_that_of_dense_matrices(make) -> None:
    scene = make.busy(count=60)
    views = scene.views
    ours = corner_information(views)
    assert views.sighting_count > 100
    for s in range(0, views.sighting_count, 3):
        given = (views, s, scene.mounts, scene.tags)
        columns = []
        for axis in range(3):
            step = np.zeros(3)
            step[axis] = 1e-6
            columns.append((corners_by_cv2(step, *given) - corners_by_cv2(-step, *given)) / 2e-6)
        jacobian = np.column_stack(columns)
        shared = np.kron(0.7 * np.eye(4) + 0.3 * np.ones((4, 4)), np.eye(2))
        dense = jacobian.T @ np.linalg.inv(views.std_px[s] ** 2 * shared) @ jacobian
        np.testing.assert_allclose(ours[s], dense, rtol=1e-5, atol=1e-6 * np.abs(dense).max())


def test_information_is_symmetric_and_never_negative(make) -> None:
    ours = corner_information(make.busy().views)
    np.testing.assert_allclose(ours, np.swapaxes(ours, 1, 2), rtol=1e-12)
    lowest = np.linalg.eigvalsh(ours)[:, 0]
    assert (lowest >= -1e-9 * np.trace(ours, axis1=1, axis2=2)).all()


def test_floor_information_sums_what_is_expected_to_be_found(make) -> None:
    scene = make.busy(count=50)
    still = make.views(
        scene.world_from_robot,
        scene.mounts,
        scene.tags,
        boxes=scene.boxes,
        robot_boxes=scene.robot_boxes,
    )
    each = corner_information(still) * still.found_probability[:, None, None]
    total = pose_information(
        scene.world_from_robot, scene.mounts, scene.tags, scene.boxes, scene.robot_boxes
    )
    assert total.shape == (50, 3, 3, 3)
    for pose in range(50):
        for camera in range(3):
            mine = still.frame == 3 * pose + camera
            np.testing.assert_allclose(total[pose, camera], each[mine].sum(axis=0), rtol=1e-12)
    seen = np.array([(still.number[still.frame] == p).any() for p in range(50)])
    assert ((total != 0.0).any(axis=(1, 2, 3)) == seen).all()


def test_mounts_do_not_change_each_others_information(make) -> None:
    scene = make.busy(count=50)
    given = (scene.tags, scene.boxes, scene.robot_boxes)
    together = pose_information(scene.world_from_robot, scene.mounts, *given)
    alone = pose_information(scene.world_from_robot, scene.mounts[2:], *given)
    np.testing.assert_array_equal(together[:, 2], alone[:, 0])


@pytest.mark.parametrize("shared", [0.0, 0.5, 0.9])
def test_common_noise_hides_sideways_steps_and_not_the_size_of_the_tag(make, shared: float) -> None:
    # head on: a step sideways moves all corners alike, a step forward spreads them
    def information(fraction):
        detector = make.plain_detector(shared_fraction=fraction)
        mount = make.mount(camera=make.camera(detector=detector))
        return corner_information(make.views(make.poses([[0.0, 0.0, 0.0]]), [mount], [make.tag()]))[
            0
        ]

    plain, common = information(0.0), information(shared)
    # variance of the mean of four: std^2 (1 + 3 r) / 4; of their differences: std^2 (1 - r)
    assert common[1, 1] / plain[1, 1] == pytest.approx(1.0 / (1.0 + 3.0 * shared), rel=1e-2)
    assert common[0, 0] / plain[0, 0] == pytest.approx(1.0 / (1.0 - shared), rel=1e-2)
