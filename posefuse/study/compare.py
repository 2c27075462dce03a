"""Rival plans on the same courses with identical random draws, trial by trial."""

import os
from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import Executor, Future
from contextlib import closing, nullcontext
from dataclasses import replace
from itertools import zip_longest
from uuid import uuid4

from posefuse.errors import InputError
from posefuse.study.comparison import Comparison, PlanTrials
from posefuse.study.ranking import rank_plans
from posefuse.study.study import Study
from posefuse.study.trial import TrialOutcome, TrialTask, forget_scenes, prepare_ahead, run_trial
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
    firsts = [
        TrialTask(
            study=replace(study, plans=(plan,), courses=(course,)),
            scene_key=uuid4().hex,
            seed=seed,
            trial=0,
        )
        for plan in study.plans
        for course in study.courses
    ]
    try:
        with (
            side_by_side(workers) if executor is None else nullcontext(executor) as pool,
            closing(_outcomes(firsts, trials, pool, workers=workers)) as outcomes,
        ):
            plan_trials = tuple(_gathered(outcomes, firsts, trials, on_progress))
    finally:
        forget_scenes(first.scene_key for first in firsts)
    return Comparison(
        study=study,
        trials=trials,
        seed=seed,
        plan_trials=plan_trials,
        ranking=rank_plans(study, plan_trials),
        warnings=warnings_of(plan_trials),
    )


def _outcomes(
    firsts: Sequence[TrialTask], trials: int, pool: Executor, *, workers: int
) -> Generator[TrialOutcome, None, None]:
    """The outcomes of all trials, in order; no more of them are handed out than keep a pool busy.

    Parameters
    ----------
    firsts
        The first trial of each plan on each course.
    """
    waiting: deque[Future[TrialOutcome]] = deque()
    ahead: list[Future[None]] = []
    try:
        for first, following in zip_longest(firsts, firsts[1:]):
            for trial in range(trials):
                waiting.append(pool.submit(run_trial, replace(first, trial=trial)))
                if trial == 0 and following is not None and trials >= workers:
                    ahead.append(pool.submit(prepare_ahead, following))
                if len(waiting) == _WAITING * workers:
                    yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        for preparing in ahead:
            preparing.cancel()
        for running in waiting:
            running.cancel()


def _gathered(
    outcomes: Iterator[TrialOutcome],
    firsts: Sequence[TrialTask],
    trials: int,
    on_progress: Progress | None,
) -> Iterator[PlanTrials]:
    """The trials of each plan on each course."""
    for place, first in enumerate(firsts):
        (plan,), (course,) = first.study.plans, first.study.courses
        of_pair = []
        for trial in range(trials):
            of_pair.append(next(outcomes))
            if on_progress is not None:
                on_progress(place * trials + trial + 1, len(firsts) * trials)
        recordings = [of.recording for of in of_pair if of.recording is not None]
        yield PlanTrials(
            plan=plan.name,
            course=course.name,
            cards=tuple(of.card for of in of_pair),
            first=recordings[0],
            outlook=of_pair[0].outlook,
        )
