"""The error that no estimator can beat on a run's own data: the posterior Cramer-Rao bound.

Knows the truth, and is therefore no part of the filters: nothing in them calls it.
"""

import numpy as np

from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import InputError
from posefuse.fusion.compiled.bound import bound_run
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.settings import FilterSettings
from posefuse.fusion.timeline import make_timeline
from posefuse.recording.recording import Recording, Truth

__all__ = ["posterior_bound"]

_UNKNOWN_START_COV = np.diag([1e4, 1e4, 1e2])
"""Of a start that is not stated: a spread of 100 m and 10 rad, which is no information."""


def posterior_bound(
    recording: Recording,
    *,
    frame_information: FloatArray,
    step_covs: FloatArray,
    history_s: float = 1e9,
) -> FloatArray:
    """Lower bound (rows, 3, 3) of the covariance in (x, y, heading) at every odometry row.

    At each row only what had arrived by then counts, each frame at the row it belongs to. P.
    Tichavsky, C. Muravchik, A. Nehorai, IEEE Trans. Signal Processing 46(5), 1386-1396, 1998, in
    covariance form along the true path: ``F P F' + G Q G'`` over a step, ``(P^-1 + I)^-1`` with a
    frame's information I.

    Parameters
    ----------
    recording
        With the true path; its start covariance is the bound's prior, and a start that is not
        stated gives no information.
    frame_information : (frames, 3, 3) array
        Fisher information about the pose (x, y, heading) at the capture in each frame.
    step_covs : (rows, 3, 3) array
        White error of each odometry row, in the robot's axes at the row before.
    history_s
        Frames older than this when they arrive count as lost.

    Raises
    ------
    InputError
        The recording holds no truth, or an array does not fit it.
    """
    if recording.truth is None:
        raise InputError(f"bound: recording {recording.name!r} holds no truth to compute it at")
    stamps, truth = recording.odometry.stamps_s, recording.truth
    steps = frozen_array("step_covs", step_covs, (len(stamps), 3, 3))
    information = frozen_array(
        "frame_information", frame_information, (len(recording.frames.sensor), 3, 3)
    )
    settings = FilterSettings(history_s=history_s)
    timeline = make_timeline(recording.odometry, recording.frames, settings=settings)
    is_informative = information[:, 0, 0] + information[:, 2, 2] > 0.0
    frame = np.flatnonzero((timeline.outcome == Outcome.FUSED) & is_informative)
    frame = frame[np.argsort(timeline.frame_arrival[frame], kind="stable")]
    path = _path_at(truth, stamps)
    start = recording.start
    covs = np.empty((len(stamps), 3, 3))
    bound_run(
        path,
        steps,
        np.array(_UNKNOWN_START_COV if start is None else start.cov),
        timeline.frame_row[frame],
        timeline.frame_arrival[frame],
        timeline.offsets[frame],
        information[frame],
        covs,
    )
    return covs


def _path_at(truth: Truth, stamps_s: FloatArray) -> FloatArray:
    """The true poses (rows, 3) at the stamps, linear between the truth's own."""
    if np.array_equal(truth.stamps_s, stamps_s):
        return truth.poses
    headings = np.unwrap(truth.poses[:, 2])
    return np.stack(
        [
            np.interp(stamps_s, truth.stamps_s, column)
            for column in (*truth.poses[:, :2].T, headings)
        ],
        axis=-1,
    )
