"""Poses from the corners of one frame, step by step on OpenCV: for notebooks and lessons.

``solving.fixes`` solves the same problem for thousands of frames at once.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from posefuse.arena.arena import Tag
from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import DegenerateView, InputError
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Camera, Lens
from posefuse.solving.limits import LEAST_AREA_PX2, SAME_TURN_RAD

__all__ = ["CameraFix", "TagFix", "fix_from_corners", "fix_from_tags"]

# the tag's frame turned by half a turn about x: x right, y down, z into the wall
TURNED_FROM_TAG = SpacePose.from_parts(np.diag([1.0, -1.0, -1.0]), np.zeros(3))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TagFix:
    """The pose of one tag in the camera: one or two solutions, lower reprojection error first.

    Parameters
    ----------
    camera_from_tag
        Poses (solutions, 4, 4).
    rms_px : (solutions,) array
        Root mean square of the residuals, two for each corner.
    unit_covs : (solutions, 6, 6) array
        Covariance for a spread of 1 px: turn about the tag's middle (rad), then shift of the middle
        (m), both in camera axes.
    """

    camera_from_tag: SpacePose
    rms_px: FloatArray
    unit_covs: FloatArray

    @property
    def best(self) -> SpacePose:
        """The solution with the lower error."""
        return SpacePose(self.camera_from_tag.matrix[0])

    @property
    def ratio(self) -> float:
        """Second error over first: near 1, either may be the true one; infinite for one."""
        return math.inf if len(self.rms_px) < 2 else float(self.rms_px[1] / self.rms_px[0])

    def covs(self, pixel_std_px: float) -> FloatArray:
        """The covariances (solutions, 6, 6) for corners that spread by this much on each axis."""
        return self.unit_covs * pixel_std_px**2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CameraFix:
    """The pose of the camera in the world from all tags of a frame.

    Parameters
    ----------
    rms_px
        Root mean square of the residuals, two for each corner.
    unit_cov : (6, 6) array
        Covariance for a spread of 1 px: turn of the camera (rad), then shift (m), in camera axes.
    """

    world_from_camera: SpacePose
    rms_px: float
    unit_cov: FloatArray

    def cov(self, pixel_std_px: float) -> FloatArray:
        """The covariance (6, 6) for corners that spread by this much on each axis."""
        return self.unit_cov * pixel_std_px**2


def fix_from_corners(corners_px: ArrayLike, *, tag: Tag, camera: Camera) -> TagFix:
    """The pose of one tag in the camera, with both solutions when two fit.

    A far or face-on square looks almost the same from two sides; ``TagFix.ratio`` says how nearly.
    Both solutions are OpenCV's closed form (T. Collins, A. Bartoli, Infinitesimal Plane-Based Pose
    Estimation, IJCV 109(3), 2014), then least squares over the reprojection errors.

    Parameters
    ----------
    corners_px : (4, 2) array
        As the camera sees them, distorted, in the order of ``Tag.corners_in_tag_m``.

    Raises
    ------
    DegenerateView
        The corners enclose almost no area, or are not those of a tag seen from its face; the
        message gives the area.
    """
    import cv2

    pixels = frozen_array("corners_px", corners_px, (4, 2))
    _check_area(pixels, tag)
    # solved in the turned frame, where an upright tag seen by a level camera is hardly rotated:
    # the closed form breaks down at a rotation of exactly half a turn, as it has in the tag's own
    turned = TURNED_FROM_TAG.transform(tag.corners_in_tag_m)
    _, rvecs, tvecs, _ = cv2.solvePnPGeneric(
        turned[::-1].copy(),  # in the order that the flag wants in this frame
        pixels[::-1].copy(),
        camera.lens.matrix,
        camera.lens.distortion,
        flags=cv2.SOLVEPNP_IPPE_SQUARE,
    )
    starts = [(rvec, tvec) for rvec, tvec in zip(rvecs, tvecs, strict=True) if tvec[2, 0] > 0.0]
    solutions = [_refined(turned, pixels, camera.lens, start) for start in starts]
    solutions = _distinct(sorted(solutions, key=lambda solution: solution[1]))
    if not solutions:
        raise DegenerateView(f"tag {tag.id}: no pose in front of the camera fits the corners")
    poses = SpacePose(np.stack([pose.matrix for pose, _ in solutions])) @ TURNED_FROM_TAG
    points = tag.corners_in_tag_m @ np.swapaxes(poses.rotation, -1, -2)
    covs = [
        _unit_cov(point, middle, camera.lens)
        for point, middle in zip(points, poses.translation_m, strict=True)
    ]
    return TagFix(
        camera_from_tag=poses,
        rms_px=np.array([rms for _, rms in solutions]),
        unit_covs=np.stack(covs),
    )


def fix_from_tags(
    corners_px: Sequence[ArrayLike] | FloatArray, *, tags: Sequence[Tag], camera: Camera
) -> CameraFix:
    """The pose of the camera in the world from all tags of a frame together.

    OpenCV's global solution (G. Terzakis, M. Lourakis, A Consistently Fast and Globally Optimal
    Solution to the Perspective-n-Point Problem, ECCV 2020), then least squares over the
    reprojection errors. On to the robot: ``world_from_camera @ mount.robot_from_camera.inverse()``.

    Parameters
    ----------
    corners_px : (tags, 4, 2) array
        As the camera sees them, distorted, tag by tag in the order of ``tags``.

    Raises
    ------
    DegenerateView
        The largest tag's corners enclose almost no area, or no pose fits.
    """
    import cv2

    if not tags:
        raise InputError("tags: at least one is needed (got none)")
    pixels = frozen_array("corners_px", np.asarray(corners_px), (len(tags), 4, 2))
    largest = max(range(len(tags)), key=lambda k: _area_px2(pixels[k]))
    _check_area(pixels[largest], tags[largest])
    corners = np.concatenate([tag.corners_in_world_m for tag in tags])
    middle = corners.mean(axis=0)
    _, rvecs, tvecs, _ = cv2.solvePnPGeneric(
        corners - middle,
        pixels.reshape(-1, 2),
        camera.lens.matrix,
        camera.lens.distortion,
        flags=cv2.SOLVEPNP_SQPNP,
    )
    starts = list(zip(rvecs, tvecs, strict=True))
    solutions = [_refined(corners - middle, pixels.reshape(-1, 2), camera.lens, s) for s in starts]
    if not solutions:
        raise DegenerateView(f"no pose fits the corners of the {len(tags)} tags")
    camera_from_middle, rms = min(solutions, key=lambda solution: solution[1])
    points = camera_from_middle.transform(corners - middle)
    middle_from_camera = camera_from_middle.inverse()
    return CameraFix(
        world_from_camera=SpacePose.from_parts(
            middle_from_camera.rotation, middle_from_camera.translation_m + middle
        ),
        rms_px=rms,
        unit_cov=_unit_cov(points, np.zeros(3), camera.lens),
    )


def _area_px2(pixels: FloatArray) -> float:
    """Area that corners enclose, positive for a tag seen from its face."""
    across, down = pixels[2] - pixels[0], pixels[3] - pixels[1]
    return float(0.5 * (across[0] * down[1] - across[1] * down[0]))


def _check_area(pixels: FloatArray, tag: Tag) -> None:
    sides = np.roll(pixels, -1, axis=0) - pixels
    turns = sides[:, 0] * np.roll(sides[:, 1], -1) - sides[:, 1] * np.roll(sides[:, 0], -1)
    area = _area_px2(pixels)
    if not (area >= LEAST_AREA_PX2 and (turns > 0.0).all()):
        raise DegenerateView(
            f"tag {tag.id}: corners must enclose a convex area of at least {LEAST_AREA_PX2:g} px^2,"
            f" clockwise from the top left (got {area:.3g} px^2)"
        )


def _refined(
    points_m: FloatArray, pixels: FloatArray, lens: Lens, start: tuple[Any, Any]
) -> tuple[SpacePose, float]:
    """Pose of the points in the camera of least reprojection error near a start, and that error."""
    import cv2

    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 100, 1e-12)
    rvec, tvec = cv2.solvePnPRefineLM(
        points_m, pixels, lens.matrix, lens.distortion, start[0].copy(), start[1].copy(), stop
    )
    projected, _ = cv2.projectPoints(points_m, rvec, tvec, lens.matrix, lens.distortion)
    rotation, _ = cv2.Rodrigues(rvec)
    rms = float(np.sqrt(np.mean((projected.reshape(-1, 2) - pixels) ** 2)))
    return SpacePose.from_parts(rotation, tvec.ravel()), rms


def _distinct(solutions: list[tuple[SpacePose, float]]) -> list[tuple[SpacePose, float]]:
    """The solutions less a second one that came out like the first."""
    if len(solutions) == 2:
        apart = np.linalg.norm(solutions[0][0].rotation - solutions[1][0].rotation)
        if apart < math.sqrt(2.0) * SAME_TURN_RAD:  # the norm is root two times the angle
            return solutions[:1]
    return solutions


def _unit_cov(points_m: FloatArray, middle_m: FloatArray, lens: Lens) -> FloatArray:
    """Covariance of a turn and a shift of points about a middle, for a spread of 1 px.

    ``(J'J)^-1`` with OpenCV's slopes of the pixels at no turn: R. Hartley, A. Zisserman, Multiple
    View Geometry, 2nd ed. 2004, ch. 5.
    """
    import cv2

    _, slopes = cv2.projectPoints(points_m, np.zeros(3), middle_m, lens.matrix, lens.distortion)
    jacobian = slopes[:, :6]
    return np.linalg.inv(jacobian.T @ jacobian)
