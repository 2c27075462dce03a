"""What can be said of a plan on a course before any trial: forecast and attainable errors."""

from dataclasses import dataclass, replace

import numpy as np

from posefuse.build_errors.constants import constants_of
from posefuse.build_errors.draw import as_drawn
from posefuse.checks import FloatArray
from posefuse.fusion.settings import BuildErrors, FilterSettings
from posefuse.scoring.score import shot_rows
from posefuse.simulation.scene import Scene, SightingSource
from posefuse.simulation.simulate import simulate_trial
from posefuse.study.attainable import attainable_covs
from posefuse.study.forecast import Forecast, forecast
from posefuse.study.forecast_knowing import forecast_knowing
from posefuse.study.linear_run import linear_run

__all__ = ["Outlook", "outlook_of"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlook:
    """The errors to be expected at the shots of one plan on one course, to first order.

    Parameters
    ----------
    attainable_covs : (shots, 3, 3) array
        Least covariance of x_m, y_m, heading_rad of any filter that knows how exact builds are, but
        not this build.
    toward_goal : (shots, 2) array
        Unit vector from the robot to the goal.
    """

    forecast: Forecast
    attainable_covs: FloatArray
    toward_goal: FloatArray

    @property
    def forecast_squares_m2(self) -> FloatArray:
        """Mean square of the distance error forecast at each shot, (shots,)."""
        return self._along(self.forecast.covs())

    @property
    def attainable_squares_m2(self) -> FloatArray:
        """Least mean square of the distance error at each shot, (shots,)."""
        return self._along(self.attainable_covs)

    def _along(self, covs: FloatArray) -> FloatArray:
        return np.asarray(
            np.einsum("ki,kij,kj->k", self.toward_goal, covs[:, :2, :2], self.toward_goal)
        )


def outlook_of(scene: Scene, *, settings: FilterSettings, seed: int) -> Outlook | None:
    """The outlook of a plan's scene; ``None`` where the course marks no shot.

    The first trial's frames, arrivals and found tags are taken, with everything built as drawn.

    Raises
    ------
    InputError
        The settings do not fuse tags.
    """
    if not scene.course.shots:
        return None
    scene = replace(scene, sightings=SightingSource.CORNERS)
    rig, arena = scene.rig, scene.arena
    constants = constants_of(rig, arena, scene.spreads)
    trial = simulate_trial(scene, seed=seed, trial=0, as_built=as_drawn(rig, arena))
    run = linear_run(trial, settings=settings, constants=constants)
    recording = trial.recording
    rows = shot_rows(recording)
    goals = [arena.goal(shot.goal).xy_in_world_m for shot in scene.course.shots]
    toward = np.array(goals) - run.path[rows, :2]
    if settings.build_errors is BuildErrors.IGNORED:
        expected = forecast(run, shot_rows=rows)
    else:
        expected = forecast_knowing(trial, settings=settings, constants=constants, shot_rows=rows)
    return Outlook(
        forecast=expected,
        attainable_covs=attainable_covs(run, shot_rows=rows),
        toward_goal=toward / np.linalg.norm(toward, axis=1, keepdims=True),
    )
