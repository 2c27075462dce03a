"""What the reference filter expects to measure: one small model for each kind of measurement."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from posefuse.checks import FloatArray
from posefuse.fusion.compiled.models import NEAREST_DEPTH_M
from posefuse.fusion.measurements import (
    BeaconMeasurements,
    CornerMeasurements,
    Measurements,
    PoseMeasurements,
)
from posefuse.geometry.angles import angle_difference_rad, wrap_angle_rad
from posefuse.geometry.plane import PlanePose, plane_motion_jacobians
from posefuse.geometry.space import SpacePose

__all__ = ["BeaconModel", "CornersModel", "MeasurementModel", "PoseModel", "measurement_models"]


class MeasurementModel(Protocol):
    """A measurement as a filter needs it; ``pose`` is the robot's, (3,), at the odometry row."""

    @property
    def values(self) -> FloatArray:
        """What was measured, (n,)."""

    @property
    def cov(self) -> FloatArray:
        """Its covariance, (n, n)."""

    @property
    def misfit(self) -> float:
        """How badly the sighting fits this model whatever the pose: squares in units of noise."""

    def is_possible(self, pose: FloatArray) -> bool:
        """Whether a robot with this pose could make this measurement at all."""

    def expected(self, pose: FloatArray) -> FloatArray:
        """What a robot with this pose would measure, (n,)."""

    def jacobian(self, pose: FloatArray) -> FloatArray:
        """Derivative (n, 3) of ``expected`` by x, y and heading."""

    def residual(self, values: FloatArray, expected: FloatArray) -> FloatArray:
        """Measured less expected, (n,), angles wrapped."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PoseModel:
    """A solved pose, carried back from the capture to the odometry row."""

    values: FloatArray
    cov: FloatArray
    misfit: float

    @classmethod
    def carried_back(
        cls, pose: FloatArray, cov: FloatArray, *, row_from_capture: PlanePose, misfit: float
    ) -> "PoseModel":
        """A pose solved at the capture, as the pose at the row that the frame belongs to."""
        capture_from_row = row_from_capture.inverse()
        by_pose, _ = plane_motion_jacobians(PlanePose(pose), capture_from_row)
        at_row = PlanePose(pose) @ capture_from_row
        return cls(values=at_row.values, cov=by_pose @ cov @ by_pose.T, misfit=misfit)

    def is_possible(self, pose: FloatArray) -> bool:  # noqa: ARG002
        """Always."""
        return True

    def expected(self, pose: FloatArray) -> FloatArray:
        """The pose itself."""
        return pose

    def jacobian(self, pose: FloatArray) -> FloatArray:  # noqa: ARG002
        """The identity."""
        return np.eye(3)

    def residual(self, values: FloatArray, expected: FloatArray) -> FloatArray:
        """The difference, the heading wrapped."""
        difference = values - expected
        difference[2] = wrap_angle_rad(difference[2])
        return difference


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CornersModel:
    """The four corners of one tag in one image, without distortion, from the image's centre.

    Parameters
    ----------
    values : (8,) array
        x0_px, y0_px .. x3_px, y3_px.
    corners_in_world_m : (4, 3) array
        Where the arena has them.
    row_from_capture
        The robot at the capture in the robot's frame at the odometry row.
    """

    values: FloatArray
    cov: FloatArray
    corners_in_world_m: FloatArray
    robot_from_camera: SpacePose
    focal_px: FloatArray
    row_from_capture: PlanePose
    misfit: float = 0.0

    def _corners_in_robot_m(self, world_from_capture: PlanePose) -> FloatArray:
        return SpacePose.from_plane(world_from_capture).inverse().transform(self.corners_in_world_m)

    def is_possible(self, pose: FloatArray) -> bool:
        """Whether the lens has a point for every corner, and all lie in front of the camera."""
        corners_in_robot_m = self._corners_in_robot_m(PlanePose(pose) @ self.row_from_capture)
        depth_m = self.robot_from_camera.inverse().transform(corners_in_robot_m)[:, 2]
        return bool((depth_m > NEAREST_DEPTH_M).all() and np.isfinite(self.values).all())

    def expected(self, pose: FloatArray) -> FloatArray:
        """The corners' images by the pinhole equation."""
        corners_in_robot_m = self._corners_in_robot_m(PlanePose(pose) @ self.row_from_capture)
        x, y, z = self.robot_from_camera.inverse().transform(corners_in_robot_m).T
        image: FloatArray = (self.focal_px * np.stack([x / z, y / z], axis=-1)).ravel()
        return image

    def jacobian(self, pose: FloatArray) -> FloatArray:
        """By the chain: image by camera frame, by robot frame, by pose at capture, by pose."""
        world_from_capture = PlanePose(pose) @ self.row_from_capture
        corners_in_robot_m = self._corners_in_robot_m(world_from_capture)
        u, v, _ = corners_in_robot_m.T
        cos, sin = np.cos(world_from_capture.heading_rad), np.sin(world_from_capture.heading_rad)
        zero = np.zeros(4)
        robot_by_pose = np.stack(  # a corner slides back as the robot moves, and turns as it turns
            [
                np.stack([zero - cos, zero - sin, v], axis=-1),
                np.stack([zero + sin, zero - cos, -u], axis=-1),
                np.zeros((4, 3)),
            ],
            axis=-2,
        )
        camera_from_robot = self.robot_from_camera.inverse()
        x, y, z = camera_from_robot.transform(corners_in_robot_m).T
        fx, fy = self.focal_px
        image_by_camera = np.stack(
            [
                np.stack([fx / z, zero, -fx * x / z**2], axis=-1),
                np.stack([zero, fy / z, -fy * y / z**2], axis=-1),
            ],
            axis=-2,
        )
        by_capture = (image_by_camera @ camera_from_robot.rotation @ robot_by_pose).reshape(8, 3)
        capture_by_pose, _ = plane_motion_jacobians(PlanePose(pose), self.row_from_capture)
        by_pose: FloatArray = by_capture @ capture_by_pose
        return by_pose

    def residual(self, values: FloatArray, expected: FloatArray) -> FloatArray:
        """The difference."""
        return values - expected


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeaconModel:
    """Slant range, and bearing where there is one, of one beacon.

    Parameters
    ----------
    values : (2,) or (1,) array
        range_m, bearing_rad.
    """

    values: FloatArray
    cov: FloatArray
    beacon_in_world_m: FloatArray
    ranger_in_robot_m: FloatArray
    row_from_capture: PlanePose
    misfit: float = 0.0

    def _beacon_from_ranger_m(self, world_from_capture: PlanePose) -> FloatArray:
        world_from_robot = SpacePose.from_plane(world_from_capture)
        beacon_in_robot_m = world_from_robot.inverse().transform(self.beacon_in_world_m)
        return beacon_in_robot_m - self.ranger_in_robot_m

    def is_possible(self, pose: FloatArray) -> bool:
        """Whether the beacon stands clear of the ranger, seen from above."""
        across = self._beacon_from_ranger_m(PlanePose(pose) @ self.row_from_capture)[:2]
        return bool(np.hypot(*across) > NEAREST_DEPTH_M)

    def expected(self, pose: FloatArray) -> FloatArray:
        """Range and bearing."""
        x, y, z = self._beacon_from_ranger_m(PlanePose(pose) @ self.row_from_capture)
        both = np.array([np.sqrt(x**2 + y**2 + z**2), np.arctan2(y, x)])
        return both[: len(self.values)]

    def jacobian(self, pose: FloatArray) -> FloatArray:
        """By the chain: range and bearing by robot frame, by pose at capture, by pose."""
        world_from_capture = PlanePose(pose) @ self.row_from_capture
        x, y, z = self._beacon_from_ranger_m(world_from_capture)
        u, v = x + self.ranger_in_robot_m[0], y + self.ranger_in_robot_m[1]
        range_m, across = np.sqrt(x**2 + y**2 + z**2), np.hypot(x, y)
        by_robot = np.array([[x / range_m, y / range_m], [-y / across**2, x / across**2]])
        cos, sin = np.cos(world_from_capture.heading_rad), np.sin(world_from_capture.heading_rad)
        robot_by_capture = np.array([[-cos, -sin, v], [sin, -cos, -u]])
        capture_by_pose, _ = plane_motion_jacobians(PlanePose(pose), self.row_from_capture)
        both: FloatArray = by_robot @ robot_by_capture @ capture_by_pose
        return both[: len(self.values)]

    def residual(self, values: FloatArray, expected: FloatArray) -> FloatArray:
        """The difference, the bearing wrapped."""
        difference = values - expected
        difference[1:] = angle_difference_rad(values[1:], expected[1:])
        return difference


def measurement_models(
    measurements: Measurements, index: int, *, row_from_capture: PlanePose
) -> list[MeasurementModel]:
    """The model of one measurement; two of them where the filter may choose between solutions."""
    frame = measurements.frame[index]
    if isinstance(measurements, PoseMeasurements):
        return [
            PoseModel.carried_back(
                measurements.poses[index, solution],
                measurements.cov(index, solution),
                row_from_capture=row_from_capture,
                misfit=float(measurements.misfits[index, solution]),
            )
            for solution in range(measurements.offered[index])
        ]
    if isinstance(measurements, CornerMeasurements):
        return [_corners_model(measurements, index, frame, row_from_capture)]
    return [_beacon_model(measurements, index, frame, row_from_capture)]


def _corners_model(
    measurements: CornerMeasurements, index: int, frame: int, row_from_capture: PlanePose
) -> CornersModel:
    mount = measurements.mounts[measurements.mount_of_frame[frame]]
    focal_px = mount.camera.lens.focal_px
    return CornersModel(
        values=(focal_px * measurements.corners[index]).ravel(),
        cov=measurements.vars_px2[index] * np.eye(8),
        corners_in_world_m=measurements.tags[measurements.target[index]].corners_in_world_m,
        robot_from_camera=mount.robot_from_camera,
        focal_px=focal_px,
        row_from_capture=row_from_capture,
    )


def _beacon_model(
    measurements: BeaconMeasurements, index: int, frame: int, row_from_capture: PlanePose
) -> BeaconModel:
    values, variances = [measurements.ranges_m[index]], [measurements.range_vars_m2[index]]
    if measurements.bearings_rad is not None:
        values.append(measurements.bearings_rad[index])
        variances.append(measurements.bearing_std_rad**2)
    ranger = measurements.rangers[measurements.ranger_of_frame[frame]]
    return BeaconModel(
        values=np.array(values),
        cov=np.diag(variances),
        beacon_in_world_m=measurements.beacons[measurements.target[index]].position_in_world_m,
        ranger_in_robot_m=ranger.position_in_robot_m,
        row_from_capture=row_from_capture,
    )
