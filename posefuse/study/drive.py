"""A stretch of a trial, moment by moment: the estimate beside what the cameras see."""

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.fuse import fuse
from posefuse.simulation.scene import Scene, SightingSource
from posefuse.simulation.simulate import simulate
from posefuse.study.camera_views import CameraViews, SeenFrame
from posefuse.study.pictured_trial import PicturedTrial, pictured_trial
from posefuse.study.study import Plan, Study

__all__ = ["Drive", "Images", "drive_of", "images_of"]

_AHEAD = 8
"""Moments whose images are rendered while one is drawn."""

Images = list[SeenFrame | None]
"""The newest frame of each camera; ``None`` before its first."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drive:
    """A stretch of a trial.

    Parameters
    ----------
    trial
        With its truth.
    views
        The cameras of the same trial.
    sightings
        Where the filter's sightings come from.
    moments_s : (n,) array
        The instants shown, on the clock of the course.
    """

    trial: PicturedTrial
    views: CameraViews
    sightings: SightingSource
    moments_s: FloatArray

    def rows(self) -> IntArray:
        """The last odometry row at each moment."""
        stamps = self.trial.estimate.stamps_s
        return np.maximum(np.searchsorted(stamps, self.moments_s, side="right") - 1, 0)


def drive_of(
    study: Study,
    plan: Plan,
    scene: Scene,
    *,
    views: CameraViews,
    moments_s: FloatArray,
    title: str,
    workers: int,
) -> Drive:
    """The drive of the cameras' trial, simulated and fused.

    Parameters
    ----------
    scene
        Of the plan; its course may end with the last moment.
    workers
        Threads that render the filter's images, where its sightings come from them.
    """
    recording = simulate(scene, seed=views.seed, trial=views.trial, workers=workers)
    return Drive(
        trial=pictured_trial(
            recording,
            estimate=fuse(recording, rig=plan.rig, arena=study.arena, settings=plan.settings),
            title=title,
            arena=study.arena,
            rig=plan.rig,
            goal=study.goal,
        ),
        views=views,
        sightings=study.sightings,
        moments_s=moments_s,
    )


def images_of(
    views: CameraViews, moments_s: FloatArray, pool: ThreadPoolExecutor, *, least_wide_px: int
) -> Iterator[Images]:
    """The newest frame of each camera at each moment; one that is shown again is kept."""
    waiting: deque[list[Future[SeenFrame] | None]] = deque()
    known: dict[int, Future[SeenFrame]] = {}
    for at_s in moments_s.tolist():
        wanted = views.newest_frames(at_s)
        known = {
            frame: known.get(frame) or pool.submit(views.seen, frame, least_wide_px=least_wide_px)
            for frame in wanted
            if frame is not None
        }
        waiting.append([None if frame is None else known[frame] for frame in wanted])
        if len(waiting) > _AHEAD:
            yield _results(waiting.popleft())
    for futures in waiting:
        yield _results(futures)


def _results(futures: list[Future[SeenFrame] | None]) -> Images:
    return [None if future is None else future.result() for future in futures]
