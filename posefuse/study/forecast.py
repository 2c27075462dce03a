"""The error to be expected of a plan without Monte Carlo: one linear pass along the true path."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from posefuse.build_errors.constants import Constants
from posefuse.checks import FloatArray, IntArray
from posefuse.study.compiled.forecast import run_forecast
from posefuse.study.linear_run import LinearRun

__all__ = ["Forecast", "forecast"]


class LinearStates(NamedTuple):
    """A table of states of the linear pass: see ``study.compiled.forecast``."""

    believed: FloatArray
    white: FloatArray
    sensitivity: FloatArray
    known: FloatArray
    mixed: FloatArray

    @classmethod
    def empty(cls, count: int, *, constants: int, cameras: int) -> "LinearStates":
        """So many states, all zero."""
        return cls(
            believed=np.zeros((count, 3, 3)),
            white=np.zeros((count, 3, 3)),
            sensitivity=np.zeros((count, 3, constants)),
            known=np.zeros((count, 3)),
            mixed=np.zeros((count, cameras, 3, 3)),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forecast:
    """The error of the estimate at every shot, to first order.

    Parameters
    ----------
    believed_covs, white_covs : (shots, 3, 3) arrays
        Covariance that the filter states; covariance of the part of its error that is noise.
    sensitivities : (shots, 3, p) array
        Error in x_m, y_m, heading_rad for one unit of each constant.
    known : (shots, 3) array
        Error that comes back in every trial: bias of the detector, slip, lean under acceleration.
    is_split
        Whether errors of the build are told from noise. Of a filter that estimates them what is
        left of them is in ``white_covs``.
    """

    constants: Constants
    believed_covs: FloatArray
    white_covs: FloatArray
    sensitivities: FloatArray
    known: FloatArray
    is_split: bool

    def covs(self, stds: FloatArray | None = None) -> FloatArray:
        """Mean square errors (shots, 3, 3) over all builds and all noise.

        Parameters
        ----------
        stds : (p,) array
            Spreads of the constants; those of ``constants`` when not given.
        """
        spread = self.sensitivities * (self.constants.stds if stds is None else stds)
        by_build = np.einsum("ksp,ktp->kst", spread, spread)
        by_bias = np.einsum("ks,kt->kst", self.known, self.known)
        total: FloatArray = self.white_covs + by_build + by_bias
        return total


def forecast(run: LinearRun, *, shot_rows: IntArray) -> Forecast:
    """The linear pass of a run, read at the shots.

    Parameters
    ----------
    shot_rows : (shots,) ints
        Odometry rows of the shots, rising.
    """
    constants, count = run.constants, len(shot_rows)
    states = LinearStates.empty(count + 1, constants=len(constants), cameras=constants.mount_count)
    states.believed[count] = states.white[count] = run.start_cov
    run_forecast(
        states,
        run.steps,
        run.frames,
        run.views,
        run.terms,
        (run.first_frames(), run.arrival),
        (run.first_row, constants.first_tag, constants.first_lean),
        (shot_rows, run.settled_rows(shot_rows)),
    )
    return Forecast(
        constants=constants,
        believed_covs=states.believed[:count],
        white_covs=states.white[:count],
        sensitivities=states.sensitivity[:count],
        known=states.known[:count],
        is_split=True,
    )
