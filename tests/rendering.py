"""Single rendered tags: builders that tests of renderer, detector and response share."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from posefuse.arena.arena import Tag
from posefuse.geometry.space import SpacePose
from posefuse.randomness.streams import stream_key
from posefuse.rendering.camera_view import CameraView, camera_view
from posefuse.rendering.render import CameraMotion, FrameNoise, render, render_light
from posefuse.rendering.surroundings import Surroundings
from posefuse.robot.camera import Lens, Sensor
from posefuse.robot.image_quality import ImageQuality
from posefuse.sensing.projection import project

SENSOR = Sensor(width_px=1280, height_px=800)
STRAIGHT = Lens.from_width(field_of_view_rad=math.radians(75.0), width_px=1280, height_px=800)
BARREL = Lens(
    focal_px=STRAIGHT.focal_px,
    centre_px=STRAIGHT.centre_px,
    distortion=np.array([-0.3, 0.1, 5e-4, -3e-4, -0.015, 0.0, 0.0, 0.0]),
)
EVEN = ImageQuality(lamp_share=0.0, vignetting_share=0.0)
SHARP = ImageQuality(lamp_share=0.0, vignetting_share=0.0, defocus_px=0.0)
HERE = SpacePose.identity()
OUTWARD = np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]) / math.sqrt(2.0)
"""Away from the middle at each corner of an upright tag, in the image."""


def facing_camera(place_m, turned_deg=(0.0, 0.0, 0.0)) -> SpacePose:
    """Pose of a tag in the camera frame: upright at zero turns about its y, x and z axes."""
    turn = Rotation.from_euler("yxz", turned_deg, degrees=True).as_matrix()
    return SpacePose.from_parts(np.diag([1.0, -1.0, -1.0]) @ turn, np.asarray(place_m, dtype=float))


@dataclass(frozen=True)
class TagShot:
    """One tag before an even backdrop, as a window of a camera's image."""

    tag: Tag
    lens: Lens
    view: CameraView

    @property
    def corners_px(self) -> np.ndarray:
        """True corners in the window's own pixels."""
        corners = project(self.tag.corners_in_world_m, self.lens)
        return corners - np.array(self.view.window[:2])

    @property
    def surroundings(self) -> Surroundings:
        return Surroundings.from_tags([self.tag], self.tag.corners_in_world_m[None])

    def light(self, quality=SHARP, motion=None, exposure_s=0.0) -> np.ndarray:
        return render_light(
            self.surroundings,
            view=self.view,
            motion=motion or CameraMotion.at_rest(HERE, robot_from_camera=HERE),
            exposure_s=exposure_s,
            quality=quality,
        )

    def image(
        self, quality=EVEN, motion=None, exposure_s=0.0, *, seed=1, noise_scale=1.0
    ) -> np.ndarray:
        return render(
            self.surroundings,
            view=self.view,
            motion=motion or CameraMotion.at_rest(HERE, robot_from_camera=HERE),
            exposure_s=exposure_s,
            quality=quality,
            noise=FrameNoise(key=stream_key(seed, 0, "image noise"), scale=noise_scale),
        )


def shot(
    place_m,
    turned_deg=(0.0, 0.0, 0.0),
    *,
    id=0,
    family="36h11",
    edge_m=0.15,
    lens=STRAIGHT,
    sensor=SENSOR,
    slack_px=16,
) -> TagShot:
    """A tag at a place in the camera frame, with a window around it."""
    pose = facing_camera(place_m, turned_deg)
    tag = Tag(id=id, family=family, edge_m=edge_m, world_from_tag=pose)
    corners = project(tag.corners_in_world_m, lens)
    low, high = corners.min(axis=0), corners.max(axis=0)
    margin = 0.35 * (high - low).max() + slack_px  # one cell of white, and some of the backdrop
    left, top = np.floor(low - margin).astype(int)
    right, bottom = np.ceil(high + margin).astype(int)
    window = (int(left), int(top), int(right - left), int(bottom - top))
    return TagShot(tag=tag, lens=lens, view=camera_view(lens, sensor, window=window))


def random_shots(count: int, *, edge_px: float, seed: int = 3, most_deg: float = 17.0, **given):
    """Tags of about one size anywhere in the image, turned a little to all sides."""
    generator = np.random.default_rng(seed)
    depth = STRAIGHT.focal_px[0] * 0.15 / edge_px
    for _ in range(count):
        across, down = generator.uniform(-0.45, 0.45), generator.uniform(-0.27, 0.27)
        turned = generator.uniform(-most_deg, most_deg, 2)
        yield shot(
            (across * depth, down * depth, depth),
            (*turned, generator.uniform(-6.0, 6.0)),
            id=int(generator.integers(587)),
            **given,
        )


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
