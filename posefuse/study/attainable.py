"""The error that the best filter could reach which is told how exact builds are, not the build."""

import numpy as np

from posefuse.build_errors.constants import LEAN_COUNT, MOUNT_COUNT, TAG_COUNT
from posefuse.checks import FloatArray, IntArray
from posefuse.study.compiled.attainable import run_attainable
from posefuse.study.linear_run import LinearRun

__all__ = ["attainable_covs"]

_LEAST_START_VAR = 1e-12
"""A start that is stated to be exact counts as known to 1 um and 1 urad: information is finite."""


def attainable_covs(run: LinearRun, *, shot_rows: IntArray) -> FloatArray:
    """Least covariance (shots, 3, 3) of x_m, y_m, heading_rad at the shots.

    The joint posterior Cramer-Rao bound of the path and of all constants of the build, with the
    constants' spreads as their prior. It knows the detector's bias, slip and lean under
    acceleration, and takes scatter as white. Frames count once they have arrived.

    Parameters
    ----------
    shot_rows : (shots,) ints
        Odometry rows of the shots, rising.
    """
    constants = run.constants
    places = np.full(len(constants), -1, dtype=np.int64)
    is_unknown = constants.stds > 0.0
    places[is_unknown] = 3 + np.arange(is_unknown.sum())
    table = np.zeros((3 + is_unknown.sum(),) * 2)
    table[:3, :3] = np.linalg.inv(run.start_cov + _LEAST_START_VAR * np.eye(3))
    table[3:, 3:] = np.diag(constants.stds[is_unknown] ** -2.0)
    first_tag, first_lean = constants.first_tag, constants.first_lean
    column_of = (
        places[:first_tag].reshape(constants.mount_count, MOUNT_COUNT),
        places[first_lean : first_lean + LEAN_COUNT],
        places[first_tag:first_lean].reshape(constants.tag_count, TAG_COUNT),
        places[constants.first_wheel :],
    )
    covs = np.empty((len(shot_rows), 3, 3))
    run_attainable(
        table,
        run.steps,
        (run.frames, run.views, run.cameras, run.tags),
        column_of,
        (run.first_row, run.first_frames(), run.arrival),
        (np.ascontiguousarray(shot_rows), run.settled_rows(shot_rows)),
        covs,
    )
    return covs
