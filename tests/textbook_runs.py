"""Runs whose every number is given: textbook examples, driven through the planar filter."""

from dataclasses import dataclass, replace

import numpy as np

from fusion_runs import read_only
from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.estimate import Estimate, Outcome
from posefuse.fusion.filter_input import FilterInput, make_filter_input
from posefuse.fusion.measurements import PoseMeasurements
from posefuse.fusion.settings import FilterSettings
from posefuse.fusion.start import Start
from posefuse.recording.recording import Frames, Odometry


def hand_made_run(
    *,
    twists: FloatArray,
    step_vars: FloatArray,
    start: FloatArray,
    start_cov: FloatArray,
    captured_row: IntArray,
    arrived_row: IntArray,
    poses: FloatArray,
    covs: FloatArray,
    settings: FilterSettings | None = None,
) -> FilterInput:
    """A run whose every number is given: rows one second apart, pose measurements at rows.

    Parameters
    ----------
    step_vars : (rows, 2) array
        Takes the place of what the settings' process noise would add.
    captured_row, arrived_row, poses, covs
        One measured pose (3,) with its covariance (3, 3) each, in the order of capture.
    """
    count, stamps = len(captured_row), np.arange(float(len(twists)))
    odometry = Odometry(stamps_s=stamps, twists=twists)
    frames = Frames(
        sensor=np.zeros(count, dtype=np.int64),
        captured_at_s=stamps[captured_row],
        arrived_at_s=stamps[arrived_row],
    )
    measurements = PoseMeasurements(
        frame=read_only(np.arange(count)),
        sighting=read_only(np.arange(count)),
        tag_count=np.ones(count, dtype=np.int64),
        poses=read_only(np.repeat(np.asarray(poses, dtype=float)[:, None], 2, axis=1)),
        unit_covs=read_only(np.repeat(np.asarray(covs, dtype=float)[:, None], 2, axis=1)),
        pixel_vars_px2=np.ones(count),
        extra_vars=np.zeros((count, 2)),
        misfits=np.zeros((count, 2)),
        offered=np.ones(count, dtype=np.int64),
        outcome=np.full(count, Outcome.FUSED, dtype=np.int64),
    )
    chosen = settings or FilterSettings(gate_probability=None, history_s=1e6)
    filter_input = make_filter_input(
        odometry,
        frames,
        measurements=measurements,
        start=Start(
            row=0,
            pose=np.asarray(start, dtype=float),
            cov=np.asarray(start_cov, dtype=float),
            spent=np.zeros(count, dtype=np.bool_),
            outcome=np.full(count, Outcome.FUSED, dtype=np.int64),
        ),
        settings=chosen,
    )
    timeline = replace(filter_input.timeline, step_vars=np.asarray(step_vars))
    return replace(filter_input, timeline=timeline)


@dataclass(frozen=True, kw_only=True, eq=False)
class ConstantVelocity:
    """The textbook's constant-velocity track, driven through the planar filter.

    A robot that looks along x and slides to its right by a metre moves in x by the sine of its
    heading: with both scaled down far enough to make the sine linear, x is the track's position and
    the heading its velocity. White accelerations enter as heading noise part way through a step;
    ``kicks`` holds how much of the step is still to go then, and the variance.

    Parameters
    ----------
    kicks
        (share of the step to go, variance) of each kick, the earliest first.
    """

    kicks: tuple[tuple[float, float], ...]
    scale: float = 1e-5

    @property
    def rows_a_step(self) -> int:
        """Odometry rows in one step of the track."""
        return len(self.kicks) + 1

    def run(
        self,
        *,
        steps: int,
        start: FloatArray,
        start_cov: FloatArray,
        values: FloatArray,
        variance: float,
        captured: IntArray | None = None,
        arrived_row: IntArray | None = None,
        rows_after: int = 0,
        settings: FilterSettings | None = None,
    ) -> FilterInput:
        """A run of so many steps with one measured position each (or at ``captured`` steps)."""
        edges = [1.0, *[to_go for to_go, _ in self.kicks], 0.0]
        moves = -np.diff(edges)
        twists = np.zeros((1 + steps * len(moves) + rows_after, 3))
        step_vars = np.zeros((len(twists), 2))
        body = slice(1, 1 + steps * len(moves))
        twists[body, 1] = -np.tile(moves, steps)
        step_vars[body, 1] = np.tile([*[var for _, var in self.kicks], 0.0], steps)
        captured = np.arange(len(values)) if captured is None else captured
        rows = captured * len(moves)
        return hand_made_run(
            twists=twists,
            step_vars=step_vars * self.scale**2,
            start=np.array([start[0], 0.0, start[1]]) * self.scale,
            start_cov=np.array(
                [
                    [start_cov[0][0], 0.0, start_cov[0][1]],
                    [0.0, 0.0, 0.0],
                    [start_cov[1][0], 0.0, start_cov[1][1]],
                ]
            )
            * self.scale**2,
            captured_row=rows,
            arrived_row=rows if arrived_row is None else arrived_row,
            poses=np.stack([values * self.scale, -1.0 * captured, 0.0 * values], axis=-1),
            covs=np.array([np.diag([variance * self.scale**2, 1.0, 1.0]) for _ in values]),
            settings=settings,
        )

    def track(self, estimate: Estimate) -> tuple[FloatArray, FloatArray]:
        """Position and velocity (rows, 2) and their covariance (rows, 2, 2)."""
        states = estimate.poses[:, [0, 2]] / self.scale
        covs = estimate.covs[:, [[0, 0], [2, 2]], [[0, 2], [0, 2]]] / self.scale**2
        return states, covs
