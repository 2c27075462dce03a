"""Rival plans on the same courses with identical random draws, trial by trial."""

import os
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future
from contextlib import closing, nullcontext
from dataclasses import replace
from uuid import uuid4

from posefuse.errors import InputError
from posefuse.study.comparison import Comparison, PlanTrials
from posefuse.study.ranking import rank_plans
from posefuse.study.study import Study
from posefuse.study.trial import TrialOutcome, TrialTask, forget_scenes, run_trial
from posefuse.study.warnings import warnings_of
from posefuse.threads import side_by_side

__all__ = ["compare"]

Progress = Callable[[int, int], None]
"""Called with the number of trials done and of all trials."""
_WAITING = 2
"""Trials handed to the executor for each one that runs, so that none of its workers ever waits."""


def compare(
    study: Study,
    *,
    trials: int | None = None,
    seed: int | None = None,
    workers: int | None = None,
    executor: Executor | None = None,
    on_progress: Progress | None = None,
) -> Comparison:
    """Every plan's scorecards on every course, and the ranking drawn from them.

    Trial ``i`` means identical random draws for every plan: the same wheels, start, survey errors.
    The result depends neither on the executor nor on the number of workers.

    Parameters
    ----------
    trials, seed
        The study's own when not given.
    workers
        Trials that run at a time; as many as there are processors when not given. No more scenes
        than these trials need are kept, whatever the number of plans and courses.
    executor
        Runs the trials, and is left open; threads when not given (the inner loops are compiled and
        run side by side). One whose processes are spawned serves as well.
    """
    trials = study.trials if trials is None else trials
    seed = study.seed if seed is None else seed
    workers = (os.cpu_count() or 1) if workers is None else workers
    for name, value, least in (("trials", trials, 1), ("seed", seed, 0), ("workers", workers, 1)):
        if value < least:
            raise InputError(f"{name}: must be {least} or more (got {value})")
    pairs = [
        replace(study, plans=(plan,), courses=(course,))
        for plan in study.plans
        for course in study.courses
    ]
    keys = [uuid4().hex for _ in pairs]
    tasks = (
        TrialTask(study=pair, scene_key=key, seed=seed, trial=trial)
        for pair, key in zip(pairs, keys, strict=True)
        for trial in range(trials)
    )
    try:
        with (
            side_by_side(workers) if executor is None else nullcontext(executor) as pool,
            closing(_outcomes(tasks, pool, most=_WAITING * workers)) as outcomes,
        ):
            plan_trials = tuple(_gathered(outcomes, pairs, trials, on_progress))
    finally:
        forget_scenes(keys)
    return Comparison(
        study=study,
        trials=trials,
        seed=seed,
        plan_trials=plan_trials,
        ranking=rank_plans(study, plan_trials, seed=seed),
        warnings=warnings_of(plan_trials),
    )


def _outcomes(
    tasks: Iterable[TrialTask], pool: Executor, *, most: int
) -> Generator[TrialOutcome, None, None]:
    """The outcomes in the order of the tasks, of which so many are handed out at most."""
    waiting: deque[Future[TrialOutcome]] = deque()
    try:
        for task in tasks:
            waiting.append(pool.submit(run_trial, task))
            if len(waiting) == most:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        for future in waiting:
            future.cancel()


def _gathered(
    outcomes: Iterator[TrialOutcome],
    pairs: Sequence[Study],
    trials: int,
    on_progress: Progress | None,
) -> Iterator[PlanTrials]:
    """The trials of each pair of plan and course."""
    for place, pair in enumerate(pairs):
        (plan,), (course,) = pair.plans, pair.courses
        of_pair = []
        for trial in range(trials):
            of_pair.append(next(outcomes))
            if on_progress is not None:
                on_progress(place * trials + trial + 1, len(pairs) * trials)
        recordings = [of.recording for of in of_pair if of.recording is not None]
        yield PlanTrials(
            plan=plan.name,
            course=course.name,
            cards=tuple(of.card for of in of_pair),
            first=recordings[0],
            outlook=of_pair[0].outlook,
        )
