"""Rival plans on the same courses with the same luck, trial by trial."""

import os
from collections.abc import Callable, Iterator, Sequence

from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.fusion.bound import posterior_bound
from posefuse.fusion.fuse import fuse
from posefuse.motion.course import Course
from posefuse.recording.recording import Recording
from posefuse.scoring.score import score
from posefuse.scoring.scorecard import Scorecard
from posefuse.simulation.scene import Scene, prepare_scene
from posefuse.simulation.simulate import SimulatedTrial, simulate_trial
from posefuse.study.comparison import Comparison, Run
from posefuse.study.ranking import rank_plans, warn_of
from posefuse.study.study import Plan, Study
from posefuse.threads import side_by_side

__all__ = ["Comparison", "compare", "plan_scene"]

Progress = Callable[[int, int], None]
"""Called with the number of trials done and of all trials."""


def compare(
    study: Study,
    *,
    trials: int | None = None,
    seed: int | None = None,
    workers: int | None = None,
    on_progress: Progress | None = None,
) -> Comparison:
    """Every plan's scorecards on every course, and the ranking drawn from them.

    Trial ``i`` means the same luck for every plan: the same wheels, start, survey errors. The
    result does not depend on the number of workers.

    Parameters
    ----------
    trials, seed
        The study's own when not given.
    workers
        Threads; as many as there are processors when not given. The inner loops are compiled and
        run side by side.
    """
    trials = study.trials if trials is None else trials
    seed = study.seed if seed is None else seed
    workers = (os.cpu_count() or 1) if workers is None else workers
    for name, value, least in (("trials", trials, 1), ("seed", seed, 0), ("workers", workers, 1)):
        if value < least:
            raise InputError(f"{name}: must be {least} or more (got {value})")
    pairs = [(plan, course) for plan in study.plans for course in study.courses]
    with side_by_side(workers) as pool:
        done = pool.map(
            lambda task: _run_trial(study, *task, seed=seed),
            _tasks(study, pairs, trials),
        )
        runs = tuple(_gather(done, pairs, trials, on_progress))
    return Comparison(
        study=study,
        trials=trials,
        seed=seed,
        runs=runs,
        ranking=rank_plans(study, runs, seed=seed),
        warnings=warn_of(runs),
    )


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


def _run_trial(
    study: Study, plan: Plan, scene: Scene, trial: int, *, seed: int
) -> tuple[Scorecard, Recording | None]:
    """Simulates, fuses and scores one trial; only the first one's recording is kept."""
    run = simulate_trial(scene, seed=seed, trial=trial)
    recording = run.recording
    card = score(
        recording,
        estimate=fuse(recording, rig=plan.rig, arena=study.arena, settings=plan.settings),
        truth=recording.truth,
        goal=study.goal.name,
        arena=study.arena,
        shooter=plan.rig.body.shooter,
        bound_covs=_bound(run, plan),
    )
    return card, recording if trial == 0 else None


def _bound(run: SimulatedTrial, plan: Plan) -> FloatArray:
    """The covariance that no estimator can beat on this run's own arrivals, (rows, 3, 3)."""
    return posterior_bound(
        run.recording,
        frame_information=run.frame_information(),
        step_covs=run.step_covs,
        history_s=plan.settings.history_s,
    )


def _tasks(
    study: Study, pairs: Sequence[tuple[Plan, Course]], trials: int
) -> Iterator[tuple[Plan, Scene, int]]:
    for plan, course in pairs:
        scene = plan_scene(study, plan, course)
        for trial in range(trials):
            yield plan, scene, trial


def _gather(
    done: Iterator[tuple[Scorecard, Recording | None]],
    pairs: Sequence[tuple[Plan, Course]],
    trials: int,
    on_progress: Progress | None,
) -> Iterator[Run]:
    for place, (plan, course) in enumerate(pairs):
        cards: list[Scorecard] = []
        recordings: list[Recording] = []
        for trial in range(trials):
            card, recording = next(done)
            cards.append(card)
            recordings += [] if recording is None else [recording]
            if on_progress is not None:
                on_progress(place * trials + trial + 1, len(pairs) * trials)
        yield Run(plan=plan.name, course=course.name, cards=tuple(cards), first=recordings[0])
