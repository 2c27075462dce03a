"""Fisher information about the robot's pose in what the cameras see."""

from collections.abc import Sequence

import numpy as np

from posefuse.arena.arena import Tag
from posefuse.checks import FloatArray
from posefuse.robot.rig import Mount
from posefuse.sensing.arrays import RobotBoxes, WorldBoxes
from posefuse.sensing.compiled.information import write_information
from posefuse.sensing.views import TagViews, still_views

__all__ = ["corner_information", "pose_information"]


def corner_information(views: TagViews) -> FloatArray:
    """Information (S, 3, 3) about the robot's (x, y, heading) in each sighting, once it is found.

    ``J' S^-1 J`` at the true pose, with the detector's true covariance S: on each axis
    ``std^2 [(1 - shared) I + shared 11']`` over the four corners. Height and lean are taken as
    known. Information adds over sightings; its inverse bounds the covariance of any unbiased
    estimator (Cramer and Rao: S. M. Kay, Fundamentals of Statistical Signal Processing, vol. 1,
    1993, sec. 3.9).
    """
    information = np.empty((views.sighting_count, 3, 3))
    write_information(
        views.sighting_arrays,
        views.frame_arrays,
        views.cameras,
        views.tags.corners_m,
        information,
    )
    return information


def pose_information(
    world_from_robot: FloatArray,
    mounts: Sequence[Mount],
    tags: Sequence[Tag],
    boxes: WorldBoxes,
    robot_boxes: RobotBoxes,
) -> FloatArray:
    """Information (M, mounts, 3, 3) that one frame of each camera is expected to give at rest.

    Summed over the tags each camera sees from each of the poses (M, 4, 4), each weighed by the
    probability that the detector finds it. Cameras add: a plan's information is the sum over its
    mounts.
    """
    views = still_views(world_from_robot, mounts, tags, boxes, robot_boxes)
    expected = views.found_probability[:, None, None] * corner_information(views)
    total = np.zeros((views.frame_count, 3, 3))
    np.add.at(total, views.frame, expected)
    return total.reshape(len(world_from_robot), len(mounts), 3, 3)
