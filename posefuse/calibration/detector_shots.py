"""Rendered views of single tags of a given size, incidence, blur, noise and focus."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from posefuse.arena.arena import Tag, tag_pose
from posefuse.arena.placement import FAMILY_SIZES
from posefuse.calibration.conditions import Conditions, quality_with
from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.geometry.space import SpacePose
from posefuse.randomness.streams import stream, stream_key
from posefuse.rendering.camera_view import CameraView, Window, camera_view
from posefuse.rendering.render import (
    CameraMotion,
    FrameNoise,
    GreyImage,
    expose_light,
    render_light,
)
from posefuse.rendering.surroundings import Looks, Surroundings
from posefuse.robot.camera import Imaging
from posefuse.robot.image_quality import ImageQuality
from posefuse.sensing.compiled.projection import project_points
from posefuse.sensing.projection import lens_row, undistort, valid_radius

__all__ = ["DrawnTag", "TagShot", "TagShots", "known_family"]

_EDGE_M = 0.15  # which one does not matter: the distance follows
_ROOM_M = 80.0
_WORLD_FROM_TAG = tag_pose(np.array([0.0, _ROOM_M / 2.0, _ROOM_M / 2.0]), facing_rad=0.0)
_SLACK_PX = 14
_WALL_SHARES = (0.15, 0.60)
_SIDEWAYS_RAD = math.radians(20.0)
_ROLL_RAD = math.radians(4.0)
_NODE_RAD = 0.005


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnTag:
    """One tag as it is drawn, before focus and noise.

    Parameters
    ----------
    light : (h, w) array
        See ``render_light``.
    corners_px, blur_way
        See ``TagShot``.
    """

    number: int
    id: int
    light: NDArray[np.float32]
    view: CameraView
    corners_px: FloatArray
    blur_way: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TagShot:
    """One rendered tag.

    Parameters
    ----------
    corners_px : (4, 2) array
        Where its corners are at mid exposure, in pixels of the image here.
    blur_way : (2,) array
        Direction of the motion in the image, of length 1.
    """

    id: int
    image: GreyImage
    corners_px: FloatArray
    blur_way: FloatArray


def known_family(family: str) -> str:
    """The family, where there is one of that name."""
    if family not in FAMILY_SIZES:
        raise InputError(f"family: must be one of {', '.join(FAMILY_SIZES)} (got {family!r})")
    return family


class TagShots:
    """Shots of a camera's tags: each number has its own random draws, whatever the conditions.

    A tag hangs on a wall, dark or bright, upright but for a small roll, anywhere in the image,
    turned mostly to the left or right; the camera turns, mostly about its upright axis, as on a
    robot that turns.
    """

    def __init__(self, camera: Imaging, *, family: str, seed: int) -> None:
        self._camera = camera
        self._family = known_family(family)
        self._seed = seed
        self._row, self._radius_limit = lens_row(camera.lens), valid_radius(camera.lens)
        self._view = camera_view(camera.lens, replace(camera.sensor, row_time_s=0.0))

    def shot(self, number: int, conditions: Conditions, *, look: int = 0) -> TagShot:
        """The shot of a number; see ``drawn`` and ``taken``."""
        return self.taken(self.drawn(number, conditions), conditions, look=look)

    def drawn(self, number: int, conditions: Conditions) -> DrawnTag:
        """The tag of a number, for any noise and defocus: a shot's dearer half.

        Raises
        ------
        InputError
            The tag does not fit into the image.
        """
        generator = stream(self._seed, number, "detector response")
        id = int(generator.integers(FAMILY_SIZES[self._family]))
        camera_from_tag = self._place(generator, conditions)
        tag = Tag(id=id, family=self._family, edge_m=_EDGE_M, world_from_tag=_WORLD_FROM_TAG)
        motion, way = self._motion(generator, camera_from_tag, conditions.blur_px)
        corners = self._project(camera_from_tag.transform(tag.corners_in_tag_m))
        view = self._window(corners, conditions)
        light = render_light(
            Surroundings.from_tags(
                [tag],
                tag.corners_in_world_m[None],
                room_m=(_ROOM_M, _ROOM_M),
                looks=Looks(wall_height_m=_ROOM_M, wall_share=generator.uniform(*_WALL_SHARES)),
            ),
            view=view,
            motion=motion,
            exposure_s=1.0 if conditions.blur_px > 0.0 else 0.0,
            quality=self._quality(conditions),
        )
        offset = np.array(view.window[:2], dtype=np.float64)
        return DrawnTag(
            number=number,
            id=id,
            light=light,
            view=view,
            corners_px=corners - offset,
            blur_way=way,
        )

    def taken(self, drawn: DrawnTag, conditions: Conditions, *, look: int = 0) -> TagShot:
        """The shot of a tag that was drawn under conditions of the same size, incidence and blur.

        Parameters
        ----------
        look
            The same place is seen again, with other noise, at each further look.
        """
        key = stream_key(self._seed, drawn.number, "detector response noise")
        image = expose_light(
            drawn.light,
            view=drawn.view,
            quality=self._quality(conditions),
            noise=FrameNoise(key=key, frame=look),
        )
        return TagShot(
            id=drawn.id, image=image, corners_px=drawn.corners_px, blur_way=drawn.blur_way
        )

    def _quality(self, conditions: Conditions) -> ImageQuality:
        return quality_with(
            self._camera.image,
            noise_grey=conditions.noise_grey,
            defocus_px=conditions.defocus_px,
        )

    def _project(self, points_in_camera_m: FloatArray) -> FloatArray:
        # as sensing.project does, which looks for the lens' reach each time
        pixels = np.empty((len(points_in_camera_m), 2))
        project_points(points_in_camera_m, self._row, self._radius_limit, pixels)
        return pixels

    def _place(self, generator: np.random.Generator, conditions: Conditions) -> SpacePose:
        """``camera_from_tag`` of a tag of the given size and incidence."""
        lens, sensor = self._camera.lens, self._camera.sensor
        size = np.array([sensor.width_px, sensor.height_px], dtype=np.float64)
        tall = conditions.edge_px / math.sqrt(math.cos(math.radians(conditions.incidence_deg)))
        margin = 0.75 * tall + conditions.blur_px / 2.0 + _SLACK_PX
        room = np.maximum(size - 1.0 - 2.0 * margin, 0.0)
        middle = (size - 1.0) / 2.0 + room * generator.uniform(-0.5, 0.5, 2)
        sight = np.append(undistort(middle, lens), 1.0)
        sight /= np.linalg.norm(sight)
        turn = self._turn(generator, sight, math.radians(conditions.incidence_deg))
        distance = _EDGE_M * float(lens.focal_px.mean()) / conditions.edge_px
        half = _EDGE_M / 2.0
        square = half * np.array([[-1, 1, 0], [1, 1, 0], [1, -1, 0], [-1, -1, 0]])
        for _ in range(6):  # the size falls as one over the distance, but for perspective
            corners = self._project(square @ turn.T + distance * sight)
            distance *= _edge_px(corners) / conditions.edge_px
        return SpacePose.from_parts(turn, distance * sight)

    @staticmethod
    def _turn(
        generator: np.random.Generator, sight: FloatArray, incidence_rad: float
    ) -> FloatArray:
        """Rotation of the tag: its face looks back along the line of sight, turned aside."""
        up = np.array([0.0, -1.0, 0.0])
        right = np.cross(sight, up)
        right /= np.linalg.norm(right)
        above = np.cross(right, sight)
        side = float(generator.choice([-1.0, 1.0]))
        lift = generator.uniform(-_SIDEWAYS_RAD, _SIDEWAYS_RAD)
        aside = side * math.cos(lift) * right + math.sin(lift) * above
        z = -math.cos(incidence_rad) * sight + math.sin(incidence_rad) * aside
        x = np.cross(above, z)
        x /= np.linalg.norm(x)
        y = np.cross(z, x)
        roll = generator.normal(0.0, _ROLL_RAD)
        rolled = math.cos(roll) * x + math.sin(roll) * y
        return np.stack([rolled, np.cross(z, rolled), z], axis=-1)

    def _motion(
        self, generator: np.random.Generator, camera_from_tag: SpacePose, blur_px: float
    ) -> tuple[CameraMotion, FloatArray]:
        """Turning so that the tag's middle moves that far in one second, and the direction."""
        world_from_camera = _WORLD_FROM_TAG @ camera_from_tag.inverse()
        slant = generator.uniform(-_SIDEWAYS_RAD, _SIDEWAYS_RAD)
        axis = float(generator.choice([-1.0, 1.0])) * np.array(
            [math.sin(slant), math.cos(slant), 0.0]
        )
        lens, middle = self._camera.lens, camera_from_tag.translation_m
        angle = blur_px / float(lens.focal_px.mean())
        path = np.array([1.0, 0.0])
        for _ in range(3 if blur_px > 0.0 else 0):
            first, last = (
                self._project((_about(axis, -share * angle) @ middle)[None])[0]
                for share in (-0.5, 0.5)
            )
            path = last - first
            angle *= blur_px / float(np.hypot(*path))
        if blur_px == 0.0:
            still = CameraMotion.at_rest(world_from_camera, robot_from_camera=SpacePose.identity())
            return still, path
        count = max(2, math.ceil(angle / _NODE_RAD) + 1)
        instants = np.linspace(-0.5, 0.5, count)
        turns = np.stack([_about(axis, share * angle) for share in instants])
        turned = SpacePose.from_parts(turns, np.zeros(3))
        motion = CameraMotion(
            instants_s=instants,
            world_from_camera=world_from_camera @ turned,
            robot_from_camera=SpacePose.identity(),
        )
        return motion, path / np.hypot(*path)

    def _window(self, corners_px: FloatArray, conditions: Conditions) -> CameraView:
        extent = corners_px.max(axis=0) - corners_px.min(axis=0)
        margin = 0.2 * float(extent.max()) + conditions.blur_px / 2.0 + _SLACK_PX
        sensor = self._camera.sensor
        low = np.floor(corners_px.min(axis=0) - margin).astype(int)
        high = np.ceil(corners_px.max(axis=0) + margin).astype(int)
        low = np.maximum(low, 0)
        high = np.minimum(high, [sensor.width_px, sensor.height_px])
        inside = corners_px.min() > 2.0 and (corners_px.max(axis=0) < high - 3.0).all()
        if not inside:
            raise InputError(
                f"edge_px: a tag of {conditions.edge_px:g} px, seen at "
                f"{conditions.incidence_deg:g} deg, does not fit into the image of "
                f"{sensor.width_px} x {sensor.height_px} px"
            )
        window: Window = (int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))
        return self._view.part(window)


def _about(axis: FloatArray, angle_rad: float) -> FloatArray:
    """Rotation by an angle about an axis of length 1: Rodrigues' formula."""
    x, y, z = axis
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    turn: FloatArray = (
        np.eye(3) + math.sin(angle_rad) * cross + (1.0 - math.cos(angle_rad)) * cross @ cross
    )
    return turn


def _edge_px(corners_px: FloatArray) -> float:
    (dx, dy), (ex, ey) = corners_px[2] - corners_px[0], corners_px[3] - corners_px[1]
    return math.sqrt(0.5 * abs(dx * ey - ex * dy))
