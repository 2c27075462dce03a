"""A small yard to render: what stands in it, and a robot with a camera on the way through it."""

import math

import numpy as np

from posefuse.arena.arena import Arena, Obstacle, Tag, tag_pose
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.rendering.render import CameraMotion
from posefuse.rendering.surroundings import Looks, Surroundings
from posefuse.robot.camera import Lens, Sensor
from posefuse.sensing.arrays import RobotBoxes, WorldBoxes

PLAIN = Looks(wall_grain_share=0.0, floor_grain_share=0.0, box_grain_share=0.0)
SMALL = Sensor(width_px=320, height_px=200)
WIDE = Lens(
    focal_px=np.array([200.0, 201.0]),
    centre_px=np.array([158.0, 101.0]),
    distortion=np.array([-0.12, 0.05, 4e-4, -3e-4, -0.008, 0.0, 0.0, 0.0]),
)


def yard_arena() -> Arena:
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
