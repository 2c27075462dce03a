"""One trial of one plan on one course: simulated, fused and scored, in whatever process."""

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable
from concurrent.futures import Future
from dataclasses import dataclass
from threading import Lock

from posefuse.checks import FloatArray
from posefuse.fusion.bound import posterior_bound
from posefuse.fusion.fuse import fuse
from posefuse.motion.course import Course
from posefuse.recording.recording import Recording
from posefuse.scoring.score import score
from posefuse.scoring.scorecard import Scorecard
from posefuse.simulation.scene import Scene, prepare_scene
from posefuse.simulation.simulate import SimulatedTrial, simulate_trial
from posefuse.study.outlook import Outlook, outlook_of
from posefuse.study.study import Plan, Study

__all__ = [
    "TrialOutcome",
    "TrialTask",
    "forget_scenes",
    "plan_scene",
    "prepare_ahead",
    "run_trial",
]

_SCENES_KEPT = 2
"""Scenes that a process keeps for the trials to come: of one pair of plan and course, and of the
next, which is prepared while the trials of the former run."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialTask:
    """One trial to be run; can be sent to another process.

    Parameters
    ----------
    study
        With this plan and this course alone.
    scene_key
        Trials that bear the same key share a scene within a process.
    """

    study: Study
    scene_key: str
    seed: int
    trial: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialOutcome:
    """What one trial left behind.

    Parameters
    ----------
    recording, outlook
        Kept, and taken, of the first trial alone.
    """

    card: Scorecard
    recording: Recording | None
    outlook: Outlook | None


def plan_scene(study: Study, plan: Plan, course: Course) -> Scene:
    """The scene in which a plan drives a course of the study."""
    return prepare_scene(
        arena=study.arena,
        rig=plan.rig,
        course=course,
        spreads=study.spreads,
        start_std=study.start_std,
        sightings=study.sightings,
    )


def run_trial(task: TrialTask) -> TrialOutcome:
    """Simulates, fuses and scores one trial; its scene is prepared once in each process."""
    study = task.study
    (plan,) = study.plans
    scene = _scene(task)
    simulated = simulate_trial(scene, seed=task.seed, trial=task.trial)
    recording = simulated.recording
    card = score(
        recording,
        estimate=fuse(recording, rig=plan.rig, arena=study.arena, settings=plan.settings),
        truth=recording.truth,
        goal=study.goal.name,
        arena=study.arena,
        shooter=plan.rig.body.shooter,
        bound_covs=_bound(simulated, plan),
    )
    if task.trial > 0:
        return TrialOutcome(card=card, recording=None, outlook=None)
    outlook = outlook_of(scene, settings=plan.settings, seed=task.seed)
    return TrialOutcome(card=card, recording=recording, outlook=outlook)


def prepare_ahead(task: TrialTask) -> None:
    """Prepares a trial's scene, while others are still busy with the one before."""
    _scene(task)


def _scene(task: TrialTask) -> Scene:
    study = task.study
    (plan,), (course,) = study.plans, study.courses
    return _SCENES.scene(task.scene_key, lambda: plan_scene(study, plan, course))


def forget_scenes(keys: Iterable[str]) -> None:
    """Lets go of the scenes kept under these keys in this process."""
    for key in keys:
        _SCENES.forget(key)


def _bound(simulated: SimulatedTrial, plan: Plan) -> FloatArray:
    """The covariance that no estimator can beat on this trial's own arrivals, (rows, 3, 3)."""
    return posterior_bound(
        simulated.recording,
        frame_information=simulated.frame_information(),
        step_covs=simulated.step_covs,
        history_s=plan.settings.history_s,
    )


class _Scenes:
    """The scenes used last; whoever asks for one that is being prepared waits for it."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, Future[Scene]] = OrderedDict()
        self._lock = Lock()

    def scene(self, key: Hashable, prepare: Callable[[], Scene]) -> Scene:
        with self._lock:
            is_known = key in self._kept
            scene = self._kept.setdefault(key, Future())
            self._kept.move_to_end(key)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        if not is_known:
            try:
                scene.set_result(prepare())
            except BaseException as error:
                self.forget(key)
                scene.set_exception(error)
                raise
        return scene.result()

    def forget(self, key: Hashable) -> None:
        with self._lock:
            self._kept.pop(key, None)


_SCENES = _Scenes(_SCENES_KEPT)
