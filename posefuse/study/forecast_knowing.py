"""The forecast of a filter that knows of build errors: what it says of itself on an exact build."""

import numpy as np

from posefuse.build_errors.constants import Constants
from posefuse.checks import IntArray
from posefuse.errors import InputError
from posefuse.fusion.build_aware import filter_build_aware
from posefuse.fusion.fuse import build_model_of, prepare_filter
from posefuse.fusion.settings import FilterSettings
from posefuse.simulation.simulate import SimulatedTrial
from posefuse.study.forecast import Forecast

__all__ = ["forecast_knowing"]


def forecast_knowing(
    trial: SimulatedTrial, *, settings: FilterSettings, constants: Constants, shot_rows: IntArray
) -> Forecast:
    """The covariances that the filter states at the shots of a run that was built as drawn.

    They hold for any build of the believed spreads. Where constants are considered, the filter's
    covariance of pose and constant is minus the sensitivity times the constant's variance, so each
    constant's part is known; where they are estimated, all counts as noise. The detector's bias and
    slip are left out.

    Raises
    ------
    InputError
        The settings ignore build errors.
    """
    scene = trial.scene
    given = prepare_filter(trial.recording, rig=scene.rig, arena=scene.arena, settings=settings)
    build = build_model_of(trial.recording, rig=scene.rig, arena=scene.arena, settings=settings)
    if build is None:
        raise InputError("build_errors: 'ignored' has a forecast of its own")
    estimate, cross = filter_build_aware(given, build, with_cross=True)
    believed = estimate.covs[shot_rows]
    sensitivities = np.zeros((len(shot_rows), 3, len(constants)))
    white = believed
    if not build.is_estimated:
        stds = build.constants.stds[build.unknown]
        known = -cross[shot_rows][:, :, 3:] / stds**2
        sensitivities[:, :, build.unknown] = known
        white = believed - np.einsum("ksp,ktp->kst", known * stds, known * stds)
    return Forecast(
        constants=constants,
        believed_covs=believed,
        white_covs=white,
        sensitivities=sensitivities,
        known=np.zeros((len(shot_rows), 3)),
        is_split=not build.is_estimated,
    )
