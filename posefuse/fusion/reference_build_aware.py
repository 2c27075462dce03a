"""The reference filter that knows of build errors: dense matrices, one update at a time.

Written to be read; ``build_aware`` gives the same and is fast. State: x, y, heading, then the
constants of the build that are not known. ``considered``: the gain's rows of the constants are set
to zero (Schmidt); the covariance by Joseph's form ``(I - K H) P (I - K H)' + K R K'``, which holds
for any gain: A. H. Jazwinski, Stochastic Processes and Filtering Theory, 1970, sec. 8.4; P. S.
Maybeck, Stochastic Models, Estimation, and Control, vol. 1, 1979, ch. 6 (both from memory).
"""

from dataclasses import dataclass

import numpy as np

from posefuse.build_errors.constants import LEAN_COUNT, MOUNT_COUNT, TAG_COUNT
from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.believed_build import camera_as, lens_as, tag_as
from posefuse.fusion.build_aware import build_estimate
from posefuse.fusion.build_model import BuildModel
from posefuse.fusion.estimate import Estimate, Innovations, Outcome
from posefuse.fusion.filter_input import FilterInput
from posefuse.fusion.gates import gate_of
from posefuse.fusion.measurements import CornerMeasurements, PoseMeasurements
from posefuse.fusion.reference_models import PoseModel
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.geometry.plane import PlanePose, arc_motion, plane_motion_jacobians
from posefuse.geometry.space import SpacePose
from posefuse.sensing.projection import project
from posefuse.solving.compiled.slopes import HEIGHT, LEAN, OWN, TAG
from posefuse.solving.linear import linear_cameras, linear_tags, sighting_slopes

__all__ = ["filter_reference_build_aware"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _State:
    """State (n,) and its covariance (n, n)."""

    mean: FloatArray
    cov: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Model:
    """Innovation (m,), its derivative (m, n) by the state with the sign of H, noise R, misfit."""

    innovation: FloatArray
    jacobian: FloatArray
    noise_cov: FloatArray
    misfit: float = 0.0

    def nis(self, state: _State) -> float:
        """The normalised innovation squared."""
        cov = self.jacobian @ state.cov @ self.jacobian.T + self.noise_cov
        return float(self.innovation @ np.linalg.solve(cov, self.innovation))


def filter_reference_build_aware(filter_input: FilterInput, build: BuildModel) -> Estimate:
    """The estimate of a run, late frames put back as in ``reference_filter``."""
    timeline, measurements = filter_input.timeline, filter_input.measurements
    first, rows = filter_input.start.row, len(timeline.stamps_s)
    count = len(measurements.frame)
    arrival = timeline.frame_arrival[filter_input.frame]
    frame_row = timeline.frame_row[filter_input.frame]
    run = _Run(filter_input, build)
    state, priors = run.start(), {}
    poses, covs = np.empty((rows, 3)), np.empty((rows, 3, 3))
    for now in range(first, rows):
        if now > first:
            state = run.step(state, now)
        priors[now] = state
        arrived = np.flatnonzero(arrival == now)
        if len(arrived):
            back = int(frame_row[arrived].min())
            state = priors[back]
            for row in range(back, now + 1):
                if row > back:
                    state = priors[row] = run.step(state, row)
                for place in np.flatnonzero((frame_row == row) & (arrival <= now)):
                    state = run.fuse_frame(state, int(place))
        poses[now], covs[now] = state.mean[:3], state.cov[:3, :3]
    poses[:first], covs[:first] = poses[first], covs[first]
    poses[:, 2] = wrap_angle_rad(poses[:, 2])
    return Estimate(
        stamps_s=timeline.stamps_s,
        poses=poses,
        covs=covs,
        innovations=Innovations(
            frame=measurements.frame,
            sighting=measurements.sighting,
            outcome=run.outcome,
            nis=run.nis,
            dof=np.full(count, measurements.dof, dtype=np.int64),
        ),
        build=build_estimate(build, state.mean[3:], np.diag(state.cov)[3:]),
    )


class _Run:
    """One run's input, with the log of what became of its measurements."""

    def __init__(self, filter_input: FilterInput, build: BuildModel) -> None:
        self.given, self.build = filter_input, build
        self.nis = np.full(len(filter_input.outcome), np.nan)
        self.outcome = filter_input.outcome.copy()
        self.place = build.state_places()
        self.gate = gate_of(filter_input.gate_probability, filter_input.measurements.dof)

    def start(self) -> _State:
        cov = np.diag(self.build.state_variances())
        cov[:3, :3] = self.given.start.cov
        mean = np.zeros(len(cov))
        mean[:3] = self.given.start.pose
        return _State(mean=mean, cov=cov)

    def constants(self, state: _State) -> FloatArray:
        """All constants (full row) as the state has them."""
        row = np.zeros(len(self.place))
        row[self.place >= 0] = state.mean[self.place[self.place >= 0]]
        return row

    def spread_over(self, slopes: FloatArray, first: int) -> FloatArray:
        """Slopes (m, k) by the constants from ``first`` on, as (m, n) by the state."""
        by_state = np.zeros((len(slopes), 3 + int((self.place >= 0).sum())))
        for column, place in enumerate(self.place[first : first + slopes.shape[1]]):
            if place >= 0:
                by_state[:, place] = slopes[:, column]
        return by_state

    def step(self, state: _State, row: int) -> _State:
        """Carry the state to a row from the one before."""
        first = self.build.constants.first_wheel
        slopes = self.build.twist_slopes[row]
        twist = self.build.twists[row] - slopes @ self.constants(state)[first:]
        pose, motion = PlanePose(state.mean[:3]), arc_motion(twist)
        by_pose, _ = plane_motion_jacobians(pose, motion)
        # errors of a twist show about halfway through its turn
        halfway = PlanePose([0.0, 0.0, pose.heading_rad + twist[2] / 2.0])
        _, turned = plane_motion_jacobians(halfway, motion)
        transition = np.eye(len(state.mean))
        transition[:3] = self.spread_over(-turned @ slopes, first)
        transition[:3, :3] = by_pose
        noise = np.zeros_like(state.cov)
        position_var, heading_var = self.given.timeline.step_vars[row]
        noise[:3, :3] = np.diag([position_var, position_var, heading_var])
        mean = state.mean.copy()
        mean[:3] = (pose @ motion).values
        return _State(mean=mean, cov=transition @ state.cov @ transition.T + noise)

    def fuse_frame(self, state: _State, place: int) -> _State:
        """The state after one frame's measurements, one after another."""
        for index in range(self.given.begin[place], self.given.end[place]):
            models = self.models(state, index)
            self.nis[index], self.outcome[index] = np.nan, Outcome.NO_SOLUTION
            if models:
                model = min(models, key=lambda one: one.nis(state) + one.misfit)
                self.nis[index] = model.nis(state)
                is_fused = self.nis[index] <= self.gate
                self.outcome[index] = Outcome.FUSED if is_fused else Outcome.GATED
                if is_fused:
                    state = self.updated(state, model)
        return state

    def updated(self, state: _State, model: _Model) -> _State:
        """The state after a measurement; constants that are only considered stay as they are."""
        h, r = model.jacobian, model.noise_cov
        gain = np.linalg.solve(h @ state.cov @ h.T + r, h @ state.cov).T
        if not self.build.is_estimated:
            gain[3:] = 0.0
        keep = np.eye(len(state.mean)) - gain @ h
        cov = keep @ state.cov @ keep.T + gain @ r @ gain.T
        return _State(mean=state.mean + gain @ model.innovation, cov=(cov + cov.T) / 2.0)

    def models(self, state: _State, index: int) -> list[_Model]:
        """The models of a measurement: two of them where a pose has two solutions."""
        measurements = self.given.measurements
        frame = int(measurements.frame[index])
        row_from_capture = PlanePose(self.given.timeline.offsets[frame, :3])
        if isinstance(measurements, PoseMeasurements):
            return [
                self.pose_model(state, measurements, (index, k), row_from_capture)
                for k in range(measurements.offered[index])
            ]
        assert isinstance(measurements, CornerMeasurements)
        return self.corner_models(state, measurements, index, row_from_capture)

    def pose_model(
        self,
        state: _State,
        measurements: PoseMeasurements,
        which: tuple[int, int],
        row_from_capture: PlanePose,
    ) -> _Model:
        """A solved pose: it moves as least squares over the camera's six freedoms have it."""
        index, k = which
        frame = int(measurements.frame[index])
        pose = measurements.poses[index, k]
        first, eye = int(measurements.sighting[index]), int(self.build.camera_of_frame[frame])
        sightings = np.arange(first, first + measurements.tag_count[index])
        velocity = _in_world(self.build.velocities[frame], pose[2])
        slopes, is_ahead = sighting_slopes(
            linear_cameras(self.build.mounts),
            linear_tags(self.build.tags),
            camera=np.full(len(sightings), eye),
            tag=self.build.target[sightings],
            poses=np.tile(pose, (len(sightings), 1)),
            velocities=np.tile(velocity, (len(sightings), 1)),
        )
        by_state = self.corner_columns(slopes, eye, self.build.target[sightings])
        by_freedoms = slopes.reshape(-1, slopes.shape[2])[:, [0, 1, 2, HEIGHT, LEAN, LEAN + 1]]
        moved = np.linalg.lstsq(by_freedoms, by_state, rcond=None)[0][:3] * is_ahead.all()
        model = PoseModel.carried_back(
            pose,
            measurements.cov(index, k),
            row_from_capture=row_from_capture,
            misfit=float(measurements.misfits[index, k]),
        )
        to_row, _ = plane_motion_jacobians(PlanePose(pose), row_from_capture.inverse())
        jacobian = to_row @ moved
        jacobian[:, :3] = np.eye(3)
        innovation = model.values - state.mean[:3]
        innovation[2] = wrap_angle_rad(innovation[2])
        innovation -= jacobian[:, 3:] @ state.mean[3:]
        return _Model(
            innovation=innovation, jacobian=jacobian, noise_cov=model.cov, misfit=model.misfit
        )

    def corner_models(
        self,
        state: _State,
        measurements: CornerMeasurements,
        index: int,
        row_from_capture: PlanePose,
    ) -> list[_Model]:
        """The corners of a tag; none where they cannot be measured from there."""
        frame = int(measurements.frame[index])
        eye, n = int(self.build.camera_of_frame[frame]), int(measurements.target[index])
        row = self.constants(state)
        cameras = camera_as(self.build, eye, row, lean_rad=self.build.leans[frame])
        tags = tag_as(self.build, n, row)
        capture = (PlanePose(state.mean[:3]) @ row_from_capture).values
        velocity = _in_world(self.build.velocities[frame], capture[2])
        late_s = row[eye * MOUNT_COUNT + 10]
        pose = capture - late_s * velocity
        camera = SpacePose.from_parts(cameras.rotation[0], cameras.translation_m[0])
        world_from_camera = SpacePose.from_plane(PlanePose(pose)) @ camera
        points_m = world_from_camera.inverse().transform(tags.corners_m[0])
        slopes, is_ahead = sighting_slopes(
            cameras,
            tags,
            camera=np.array([0]),
            tag=np.array([0]),
            poses=pose[None],
            velocities=velocity[None],
        )
        if not (is_ahead.all() and np.isfinite(measurements.corners[index]).all()):
            return []
        lens = lens_as(self.build, eye, row)
        jacobian = self.corner_columns(slopes, eye, np.array([n]))
        by_capture, _ = plane_motion_jacobians(PlanePose(state.mean[:3]), row_from_capture)
        jacobian[:, :3] = slopes[0, :, :3] @ by_capture
        by_lean = self.build.lean_stds[frame] * slopes[0, :, LEAN : LEAN + LEAN_COUNT]
        return [
            _Model(
                innovation=measurements.corners_px[index] - project(points_m, lens).ravel(),
                jacobian=jacobian,
                noise_cov=measurements.vars_px2[index] * np.eye(8) + by_lean @ by_lean.T,
            )
        ]

    def corner_columns(self, slopes: FloatArray, eye: int, targets: IntArray) -> FloatArray:
        """Slopes (S, 8, COLUMNS) of one frame by the constants of the state, (8 S, n)."""
        first_tag, first_lean = self.build.constants.first_tag, self.build.constants.first_lean
        parts = []
        for one, n in zip(slopes, targets, strict=True):
            by_mount = self.spread_over(one[:, OWN : OWN + MOUNT_COUNT], eye * MOUNT_COUNT)
            by_lean = self.spread_over(one[:, LEAN : LEAN + LEAN_COUNT], first_lean)
            by_tag = self.spread_over(one[:, TAG : TAG + TAG_COUNT], first_tag + n * TAG_COUNT)
            parts.append(by_mount + by_lean + by_tag)
        return np.concatenate(parts)


def _in_world(velocity: FloatArray, heading_rad: float) -> FloatArray:
    """A velocity (3,) of the robot's axes along the world's."""
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]) @ velocity
