"""The plain way: one Python loop over rows and frames, filterpy's filter, OpenCV for the rest.

What anybody would write first. The benchmarks set a posefuse trial beside it, and a test checks
that both come to the same accuracy, so that the ratio compares equal work.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from filterpy.kalman import ExtendedKalmanFilter

from posefuse.fusion.settings import FilterSettings
from posefuse.simulation.scene import Scene

__all__ = ["plain_trial"]


GATE = 16.266  # chi-square with 3 degrees of freedom, 99.9 %


class PlanarFilter(ExtendedKalmanFilter):
    """filterpy's filter, driven by odometry."""

    def __init__(self, pose: np.ndarray, cov: np.ndarray) -> None:
        super().__init__(dim_x=3, dim_z=3)
        self.x, self.P = pose.copy(), cov.copy()

    def drive(self, motion: tuple[float, float, float], step_cov: np.ndarray) -> None:
        dx, dy, turn = motion
        x, y, heading = self.x
        c, s = math.cos(heading), math.sin(heading)
        self.x = np.array([x + c * dx - s * dy, y + s * dx + c * dy, heading + turn])
        by_pose = np.array([[1.0, 0.0, -s * dx - c * dy], [0.0, 1.0, c * dx - s * dy], [0, 0, 1.0]])
        by_motion = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        self.P = by_pose @ self.P @ by_pose.T + by_motion @ step_cov @ by_motion.T


def arc(twist: np.ndarray, part: float = 1.0) -> tuple[float, float, float]:
    """The motion of a part of a step at constant body velocity."""
    forward, left, turn = (float(value) * part for value in twist)
    if abs(turn) < 1e-9:
        return forward, left, turn
    sine, cosine = math.sin(turn) / turn, (1.0 - math.cos(turn)) / turn
    return sine * forward - cosine * left, cosine * forward + sine * left, turn


def inverse(matrix: np.ndarray) -> np.ndarray:
    back = np.eye(4)
    back[:3, :3] = matrix[:3, :3].T
    back[:3, 3] = -matrix[:3, :3].T @ matrix[:3, 3]
    return back


@dataclass
class Frame:
    """One camera frame on its way to the filter."""

    mount: int
    tags: np.ndarray
    row: int
    captured_at_s: float
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    solutions: list[tuple[np.ndarray, np.ndarray]] | None = None
    corners_px: np.ndarray | None = None


def pose_residual(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    off = a - b
    off[2] = (off[2] + math.pi) % (2.0 * math.pi) - math.pi
    return off


def nis(innovation: np.ndarray, cov: np.ndarray) -> float:
    return float(innovation @ np.linalg.solve(cov, innovation))


class PlainTrial:
    """One trial's sensors and filter, all in Python."""

    def __init__(
        self, scene: Scene, settings: FilterSettings, *, fuse_corners: bool, seed: int
    ) -> None:
        self.scene, self.settings, self.fuse_corners = scene, settings, fuse_corners
        self.rng = np.random.default_rng(seed)
        self.tag_corners = scene.arena.tag_corners_in_world_m
        self.lens = [mount.camera.lens.matrix for mount in scene.rig.mounts]
        self.in_robot = [mount.robot_from_camera.matrix for mount in scene.rig.mounts]
        self.first_sighting = np.searchsorted(scene.views.frame, np.arange(scene.views.frame_count))

    def see(self, frame: Frame, place: int) -> None:
        """Projects the frame's tags, adds noise, and solves the pose unless corners are fused."""
        views = self.scene.views
        world_from_robot = np.eye(4)
        world_from_robot[:3, :3] = views.rotation[place]
        world_from_robot[:3, 3] = views.translation_m[place]
        camera_from_world = inverse(world_from_robot @ self.in_robot[frame.mount])
        world = self.tag_corners[frame.tags].reshape(-1, 3)
        turn, _ = cv2.Rodrigues(camera_from_world[:3, :3])
        shift, lens = camera_from_world[:3, 3], self.lens[frame.mount]
        image, _ = cv2.projectPoints(world, turn, shift, lens, None)
        std_px = views.std_px[self.first_sighting[place]]
        frame.corners_px = image[:, 0] + std_px * self.rng.standard_normal((len(world), 2))
        if not self.fuse_corners:
            frame.solutions = self.solved(frame, world)

    def solved(self, frame: Frame, world: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
        """Planar robot poses at the frame's row with covariances: two for one tag, else one."""
        lens = self.lens[frame.mount]
        if len(world) == 4:
            _, turns, shifts, _ = cv2.solvePnPGeneric(
                world, frame.corners_px, lens, None, flags=cv2.SOLVEPNP_IPPE
            )
        else:
            _, turn, shift = cv2.solvePnP(
                world, frame.corners_px, lens, None, flags=cv2.SOLVEPNP_SQPNP
            )
            turns, shifts = [turn], [shift]
        return [
            self.on_the_floor(frame, world, turn, shift)
            for turn, shift in zip(turns, shifts, strict=True)
        ]

    def on_the_floor(self, frame: Frame, world, turn, shift) -> tuple[np.ndarray, np.ndarray]:
        """The robot's planar pose at the frame's row from one solution, and its covariance."""
        lens, noise = self.lens[frame.mount], self.settings.noise
        camera_from_world = np.eye(4)
        camera_from_world[:3, :3], _ = cv2.Rodrigues(turn)
        camera_from_world[:3, 3] = shift[:, 0]
        world_from_camera = inverse(camera_from_world)
        world_from_robot = world_from_camera @ inverse(self.in_robot[frame.mount])
        _, jacobian = cv2.projectPoints(world, turn, shift, lens, None)
        cov6 = noise.pixel_std_px**2 * np.linalg.inv(jacobian[:, :6].T @ jacobian[:, :6])
        lever = world_from_camera[:3, 3] - world.mean(axis=0)
        rotation = world_from_camera[:3, :3]
        heading_var = (rotation @ cov6[:3, :3] @ rotation.T)[2, 2]
        across = heading_var * (lever[0] ** 2 + lever[1] ** 2)
        spread = np.array([across, across, heading_var])
        spread += [noise.position_floor_m**2] * 2 + [noise.heading_floor_rad**2]
        heading = math.atan2(world_from_robot[1, 0], world_from_robot[0, 0])
        dx, dy, turned = frame.offset
        heading -= turned
        c, s = math.cos(heading), math.sin(heading)
        x, y = world_from_robot[0, 3], world_from_robot[1, 3]
        return np.array([x - c * dx + s * dy, y - s * dx - c * dy, heading]), np.diag(spread)

    def correct(self, filter_: PlanarFilter, frame: Frame) -> None:
        if not self.fuse_corners:
            refused, z, noise_cov = min(
                (
                    (nis(pose_residual(z, filter_.x), filter_.P + cov), z, cov)
                    for z, cov in frame.solutions
                ),
                key=lambda solution: solution[0],
            )
            if refused > GATE:
                return
            filter_.update(z, lambda _: np.eye(3), lambda x: x, R=noise_cov, residual=pose_residual)
            return
        for place, tag in enumerate(frame.tags):
            corners = frame.corners_px[4 * place : 4 * place + 4].ravel()
            predicted, jacobian = self.corner_model(filter_.x, frame, self.tag_corners[tag])
            filter_.update(
                corners,
                lambda _, rows=jacobian: rows,
                lambda _, seen=predicted: seen,
                R=np.eye(8) * self.settings.noise.pixel_std_px**2,
            )

    def corner_model(self, x, frame: Frame, corners_m) -> tuple[np.ndarray, np.ndarray]:
        """Predicted corners (8,) and their Jacobian (8, 3) by the pose at the frame's row."""
        (fx, _, cx), (_, fy, cy), _ = self.lens[frame.mount]
        dx, dy, turned = frame.offset
        c, s = math.cos(x[2]), math.sin(x[2])
        lever = np.array([c * dx - s * dy, s * dx + c * dy])
        c, s = math.cos(x[2] + turned), math.sin(x[2] + turned)
        back = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
        off = corners_m - np.array([x[0] + lever[0], x[1] + lever[1], 0.0])
        camera = self.in_robot[frame.mount]
        in_camera = (off @ back.T - camera[:3, 3]) @ camera[:3, :3]
        by_turn = np.stack(
            [-s * off[:, 0] + c * off[:, 1], -c * off[:, 0] - s * off[:, 1], np.zeros(4)], axis=-1
        )
        moved = np.array([[1.0, 0.0, -lever[1]], [0.0, 1.0, lever[0]], [0.0, 0.0, 1.0]])
        columns = np.empty((4, 3, 3))
        columns[:, :, 0], columns[:, :, 1], columns[:, :, 2] = -back[:, 0], -back[:, 1], by_turn
        point_rows = (camera[:3, :3].T @ columns) @ moved
        px, py, pz = in_camera.T
        u, v = fx * px / pz + cx, fy * py / pz + cy
        du = fx * (point_rows[:, 0] - (px / pz)[:, None] * point_rows[:, 2]) / pz[:, None]
        dv = fy * (point_rows[:, 1] - (py / pz)[:, None] * point_rows[:, 2]) / pz[:, None]
        return np.stack([u, v], axis=1).ravel(), np.stack([du, dv], axis=1).reshape(8, 3)


def _frames(scene: Scene, stamps: np.ndarray, rng) -> dict[int, list[tuple[int, Frame]]]:
    """Frames with tags by the row at which they arrive."""
    views, period = scene.views, stamps[1] - stamps[0]
    starts = np.searchsorted(views.frame, np.arange(views.frame_count + 1))
    by_row: dict[int, list[tuple[int, Frame]]] = {}
    for place in range(views.frame_count):
        tags = views.tag[starts[place] : starts[place + 1]]
        captured = views.captured_at_s[place]
        timing = scene.rig.mounts[views.camera[place]].camera.timing
        late = timing.latency_s + timing.latency_jitter_s * rng.uniform(-1.0, 1.0)
        arrival = int(np.ceil((captured + late - stamps[0]) / period))
        row = int(np.floor((captured - stamps[0]) / period + 0.5))
        if len(tags) and arrival < len(stamps) and row >= 1:
            frame = Frame(views.camera[place], tags, row, captured)
            by_row.setdefault(arrival, []).append((place, frame))
    return by_row


def plain_trial(
    scene: Scene,
    settings: FilterSettings,
    *,
    fuse_corners: bool,
    seed: int,
    rows: int | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Estimated and true poses (rows, 3) of one trial, every late frame put back and replayed.

    Parameters
    ----------
    rows
        Stop after that many odometry rows.
    """
    trial = PlainTrial(scene, settings, fuse_corners=fuse_corners, seed=seed)
    odometry = scene.wheels.rows(seed=seed, trial=0)
    stamps, twists = odometry.stamps_s[:rows], odometry.twists[:rows]
    period, process = stamps[1] - stamps[0], settings.process
    motions = [arc(twist) for twist in twists]
    arriving = _frames(scene, stamps, trial.rng)
    filter_ = PlanarFilter(odometry.true_poses[0], np.diag(np.square([0.03, 0.03, 0.02])))
    priors = [(filter_.x, filter_.P)]
    at_row: dict[int, list[Frame]] = {}
    estimates = np.zeros((len(stamps), 3))
    estimates[0] = filter_.x

    def drive(row: int) -> None:
        travel, turn = np.hypot(twists[row, 0], twists[row, 1]), abs(twists[row, 2])
        position_var = (
            process.position_m_per_sqrt_m**2 * travel + process.position_m_per_sqrt_s**2 * period
        )
        heading_var = (
            process.heading_rad_per_sqrt_rad**2 * turn
            + process.heading_rad_per_sqrt_s**2 * period
            + process.heading_rad_per_sqrt_m**2 * travel
        )
        filter_.drive(motions[row], np.diag([position_var, position_var, heading_var]))

    for row in range(1, len(stamps)):
        drive(row)
        priors.append((filter_.x, filter_.P))
        first = row
        for place, frame in arriving.get(row, ()):
            part = (frame.captured_at_s - stamps[frame.row]) / period
            frame.offset = arc(twists[frame.row + (part > 0.0)], part)
            trial.see(frame, place)
            at_row.setdefault(frame.row, []).append(frame)
            first = min(first, frame.row)
        filter_.x, filter_.P = priors[first]
        for again in range(first, row + 1):
            if again > first:
                drive(again)
                priors[again] = (filter_.x, filter_.P)
            for frame in sorted(at_row.get(again, ()), key=lambda f: f.captured_at_s):
                trial.correct(filter_, frame)
        estimates[row] = filter_.x
    return estimates, odometry.true_poses[: len(stamps)]
