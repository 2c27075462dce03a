"""The reference filter: an extended Kalman filter on filterpy, one step and one update at a time.

Written to be read; ``compiled_filter`` gives the same and is fast. State: x, y and heading of the
robot. Odometry is its input; see ``predict``. Each measurement model gives the expected measurement
and its derivative by the state; see ``update``. ``filter_reference`` puts late frames back where
they belong.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from filterpy.kalman import ExtendedKalmanFilter

from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.estimate import Estimate, Innovations, Outcome
from posefuse.fusion.filter_input import FilterInput
from posefuse.fusion.gates import gate_of
from posefuse.fusion.reference_models import MeasurementModel, measurement_models
from posefuse.geometry.angles import wrap_angle_rad
from posefuse.geometry.plane import PlanePose, plane_motion_jacobians

__all__ = ["FilterState", "UpdateDetails", "filter_reference", "predict", "update"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilterState:
    """What the filter knows: pose (3,) x_m, y_m, heading_rad, and its covariance (3, 3)."""

    pose: FloatArray
    cov: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UpdateDetails:
    """How one update came about.

    Parameters
    ----------
    innovation, innovation_cov : (n,), (n, n) arrays
        Measured less expected, and the covariance S that it should have.
    gain : (3, n) array
        How the innovation moves the state.
    nis
        Normalised innovation squared: the innovation's size in units of S.
    was_gated
        The measurement was refused: its ``nis`` exceeds the gate.
    """

    innovation: FloatArray
    innovation_cov: FloatArray
    gain: FloatArray
    nis: float
    was_gated: bool


class _PlaneFilter(ExtendedKalmanFilter):  # type: ignore[misc]
    """filterpy's filter, set to a state; its own prediction ``F x`` does not hold for headings."""

    def __init__(self, state: FilterState) -> None:
        super().__init__(dim_x=3, dim_z=3)
        self.x = state.pose.copy()
        self.P = state.cov.copy()

    def predict_x(self, u: Any = None) -> None:  # noqa: ANN401
        """Move the pose by the motion ``u``."""
        self.x = (PlanePose(self.x) @ u).values.copy()

    @property
    def state(self) -> FilterState:
        return FilterState(pose=self.x, cov=self.P)


def predict(state: FilterState, motion: PlanePose, motion_cov: FloatArray) -> FilterState:
    """The state after driving a motion, both it and its covariance (3, 3) in the robot's frame."""
    by_pose, by_motion = plane_motion_jacobians(PlanePose(state.pose), motion)
    kalman = _PlaneFilter(state)
    kalman.F = by_pose
    kalman.Q = by_motion @ motion_cov @ by_motion.T
    kalman.predict(u=motion)
    return kalman.state


def update(
    state: FilterState, model: MeasurementModel, *, gate: float = math.inf
) -> tuple[FilterState, UpdateDetails]:
    """The state after a measurement (the same state where the gate refuses it), and how.

    Parameters
    ----------
    gate
        Largest normalised innovation squared that passes.
    """
    kalman = _PlaneFilter(state)
    kalman.update(
        model.values,
        HJacobian=model.jacobian,
        Hx=model.expected,
        R=model.cov,
        residual=model.residual,
    )
    nis = float(kalman.y @ kalman.SI @ kalman.y)
    details = UpdateDetails(
        innovation=kalman.y,
        innovation_cov=kalman.S,
        gain=kalman.K,
        nis=nis,
        was_gated=not nis <= gate,
    )
    return state if details.was_gated else kalman.state, details


def filter_reference(filter_input: FilterInput) -> Estimate:
    """The estimate of a run, by the reference filter.

    At every odometry row: predict; take what has arrived since the row before; go back to the
    earliest row it belongs to; and replay from there with all that has arrived by now.
    """
    timeline, measurements, first = (
        filter_input.timeline,
        filter_input.measurements,
        filter_input.start.row,
    )
    rows, count = len(timeline.stamps_s), len(measurements.frame)
    arrival, frame_row = (
        timeline.frame_arrival[filter_input.frame],
        timeline.frame_row[filter_input.frame],
    )
    log = _Log(outcome=filter_input.outcome.copy(), nis=np.full(count, np.nan))
    poses, covs = np.empty((rows, 3)), np.empty((rows, 3, 3))
    state = FilterState(pose=filter_input.start.pose, cov=filter_input.start.cov)
    priors = {first: state}
    for now in range(first, rows):
        if now > first:
            state = priors[now] = _step(state, filter_input, now)
        arrived = np.flatnonzero(arrival == now)
        if len(arrived):
            back = int(frame_row[arrived].min())
            state = priors[back]
            for row in range(back, now + 1):
                if row > back:
                    state = priors[row] = _step(state, filter_input, row)
                for place in np.flatnonzero((frame_row == row) & (arrival <= now)):
                    state = _fuse_frame(state, filter_input, int(place), log)
        poses[now], covs[now] = state.pose, state.cov
    poses[:first], covs[:first] = filter_input.start.pose, filter_input.start.cov
    poses[:, 2] = wrap_angle_rad(poses[:, 2])
    return Estimate(
        stamps_s=timeline.stamps_s,
        poses=poses,
        covs=covs,
        innovations=Innovations(
            frame=measurements.frame,
            sighting=measurements.sighting,
            outcome=log.outcome,
            nis=log.nis,
            dof=np.full(count, measurements.dof, dtype=np.int64),
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Log:
    """What became of each measurement when it was last put in."""

    outcome: IntArray
    nis: FloatArray


def _step(state: FilterState, filter_input: FilterInput, row: int) -> FilterState:
    position_var, heading_var = filter_input.timeline.step_vars[row]
    motion = PlanePose(filter_input.timeline.motions[row, :3])
    return predict(state, motion, np.diag([position_var, position_var, heading_var]))


def _fuse_frame(
    state: FilterState, filter_input: FilterInput, place: int, log: _Log
) -> FilterState:
    """The state after one frame's measurements, one after another."""
    row_from_capture = PlanePose(filter_input.timeline.offsets[filter_input.frame[place], :3])
    gate = gate_of(filter_input.gate_probability, filter_input.measurements.dof)
    for index in range(filter_input.begin[place], filter_input.end[place]):
        models = measurement_models(
            filter_input.measurements, index, row_from_capture=row_from_capture
        )
        if not models[0].is_possible(state.pose):
            log.outcome[index], log.nis[index] = Outcome.NO_SOLUTION, np.nan
            continue
        # of two solutions the one that fits state and corners better: the first of equals
        model = min(models, key=lambda model: update(state, model)[1].nis + model.misfit)
        state, details = update(state, model, gate=gate)
        log.outcome[index] = Outcome.GATED if details.was_gated else Outcome.FUSED
        log.nis[index] = details.nis
    return state
