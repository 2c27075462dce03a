"""Pictures of a flat board through a known lens, for the tests of lens calibration.

Each picture is drawn backward: from sub-pixels through the exact inverse of the lens to the board's
plane, where OpenCV's own drawing of the board gives the grey level. Pixel centres at integers.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from posefuse.calibration.board import Board, Markers
from posefuse.calibration.images import GreyImage
from posefuse.calibration.views import BoardSurvey, BoardView
from posefuse.checks import FloatArray
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Lens
from posefuse.sensing.projection import project, undistort

CHARUCO = Board(
    name="charuco",
    squares_across=8,
    squares_down=5,
    square_m=0.034,
    markers=Markers(edge_m=0.024, family="4x4_50"),
)
CHESSBOARD = Board(name="chessboard", squares_across=8, squares_down=5, square_m=0.034)

BLACK, WHITE, BEHIND = 30.0, 215.0, 110.0
TEXELS = 96
"""Of the drawing, along a square's edge."""


@dataclass(frozen=True, kw_only=True)
class KnownCamera:
    lens: Lens
    width_px: int
    height_px: int
    rays: FloatArray
    """Of each sub-pixel, (height * samples, width * samples, 2), at depth 1."""
    samples: int

    @property
    def size_px(self) -> tuple[int, int]:
        return self.width_px, self.height_px


def known_camera(
    lens: Lens, *, width_px: int = 640, height_px: int = 400, samples: int = 4
) -> KnownCamera:
    inside = (np.arange(samples) + 0.5) / samples - 0.5
    u, v = ((np.arange(extent)[:, None] + inside).ravel() for extent in (width_px, height_px))
    rays = undistort(np.stack(np.meshgrid(u, v), axis=-1), lens)
    return KnownCamera(
        lens=lens, width_px=width_px, height_px=height_px, rays=rays, samples=samples
    )


def drawing_of(board: Board) -> FloatArray:
    """The board as OpenCV draws it, on paper that is wider by half a square all around."""
    if board.markers is None:
        squares = np.indices((board.squares_down, board.squares_across)).sum(axis=0) % 2
        inner = np.kron(squares * 255, np.ones((TEXELS, TEXELS)))
    else:
        codes = cv2.aruco.getPredefinedDictionary(
            getattr(cv2.aruco, f"DICT_{board.markers.family.upper()}")
        )
        size = (board.squares_across, board.squares_down)
        drawn = cv2.aruco.CharucoBoard(size, board.square_m, board.markers.edge_m, codes)
        inner = drawn.generateImage((size[0] * TEXELS, size[1] * TEXELS), marginSize=0)
    grey = BLACK + (WHITE - BLACK) * np.asarray(inner, dtype=np.float64) / 255.0
    return np.pad(grey, TEXELS // 2, constant_values=WHITE)


def render(
    camera: KnownCamera,
    board: Board,
    camera_from_board: SpacePose,
    *,
    rng: np.random.Generator,
    blur_px: float = 0.7,
    noise: float = 2.0,
) -> GreyImage:
    turn, shift = camera_from_board.rotation, camera_from_board.translation_m
    camera_from_plane = np.column_stack([turn[:, 0], turn[:, 1], shift])
    texels_from_plane = np.diag([TEXELS / board.square_m, TEXELS / board.square_m, 1.0])
    texels_from_ray = texels_from_plane @ np.linalg.inv(camera_from_plane)
    hit = camera.rays @ texels_from_ray[:, :2].T + texels_from_ray[:, 2]
    texels = hit[..., :2] / hit[..., 2:] + TEXELS // 2 - 0.5
    texels = np.nan_to_num(texels, nan=-1e6)  # where no ray of the lens leads to the pixel
    picture = cv2.remap(
        drawing_of(board).astype(np.float32),
        texels[..., 0].astype(np.float32),
        texels[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=BEHIND,
    )
    picture = cv2.GaussianBlur(picture, (0, 0), blur_px * camera.samples)
    n = camera.samples
    pixels = picture.reshape(camera.height_px, n, camera.width_px, n).mean(axis=(1, 3))
    noisy = pixels + rng.normal(0.0, noise, pixels.shape)
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8)


def true_corners_px(camera: KnownCamera, board: Board, camera_from_board: SpacePose) -> FloatArray:
    return project(camera_from_board.transform(board.corners_in_board_m), camera.lens)


def random_lens(rng: np.random.Generator) -> Lens:
    """About 63 to 78 degrees wide on 640 px, a little off square and off centre, distorted."""
    focal = rng.uniform(400.0, 520.0)
    radial = [rng.uniform(-0.2, 0.1), rng.uniform(-0.05, 0.1)]
    terms = [*radial, *rng.uniform(-0.002, 0.002, 2), rng.uniform(-0.03, 0.03), 0.0, 0.0, 0.0]
    return Lens(
        focal_px=np.array([focal, focal * rng.uniform(0.99, 1.01)]),
        centre_px=np.array([319.5, 199.5]) + rng.uniform(-8.0, 8.0, 2),
        distortion=np.array(terms),
    )


def survey_of(camera: KnownCamera, views: Iterable[BoardView]) -> BoardSurvey:
    return BoardSurvey(
        width_px=camera.width_px, height_px=camera.height_px, views=tuple(views), absent=()
    )


def varied_poses(
    camera: KnownCamera, board: Board, *, count: int, rng: np.random.Generator, reach: float = 0.75
) -> Iterator[SpacePose]:
    """Poses as a careful person holds the board: aimed at each ninth of the image in turn, tilted
    about each axis in turn, nearer and farther. With a reach of 1 it stays within the image, below
    that parts of it leave.
    """
    size = np.array(board.size_m)
    middle = np.array([*size / 2.0, 0.0])
    for index in range(count):
        tilt = np.radians(
            [rng.uniform(10.0, 40.0) * (-1.0) ** (index // 2 + axis) for axis in (0, 1)]
        )
        tilt[index % 2] *= 0.3
        roll = np.radians(rng.uniform(-20.0, 20.0))
        turn = cv2.Rodrigues(np.array([tilt[0], tilt[1], roll]))[0]
        share = rng.uniform(0.5, 0.75)
        depth = float(camera.lens.focal_px[0] * size[0] / (share * camera.width_px))
        ninth = np.array([index % 3, index // 3 % 3])
        aim = (ninth - 1.0) * (1.0 - reach * share) / 2.0 * np.array(camera.size_px)
        aim += rng.uniform(-10.0, 10.0, 2)
        ray = undistort(aim + (np.array(camera.size_px) - 1) / 2.0, camera.lens)
        centre = depth * np.array([*ray, 1.0])
        yield SpacePose.from_parts(turn, centre - turn @ middle)


def noisy_view(
    camera: KnownCamera,
    board: Board,
    camera_from_board: SpacePose,
    *,
    name: str,
    std_px: float,
    rng: np.random.Generator,
) -> BoardView:
    """The true corners that lie in the image, moved by white noise: no picture is drawn."""
    corners = true_corners_px(camera, board, camera_from_board)
    is_seen = ((corners > 3.0) & (corners < np.array(camera.size_px) - 4.0)).all(axis=1)
    found = corners + rng.normal(0.0, std_px, corners.shape)
    return BoardView(name=name, corner_ids=np.flatnonzero(is_seen), corners_px=found[is_seen])
