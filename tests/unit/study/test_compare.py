"""Whatever runs the trials: the same figures, few scenes alive, faults that end it all."""

import weakref
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, replace
from multiprocessing import get_context
from threading import Lock
from typing import Any

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.simulation.scene import Scene, prepare_scene
from posefuse.study import trial
from posefuse.study.compare import compare
from posefuse.study.comparison import Comparison
from posefuse.study.study import Study
from posefuse.study.trial import TrialTask, run_trial
from small_court import small_study


class Serial(Executor):
    """Runs each task when it is handed over, in the thread of whoever does."""

    def submit(self, work: Callable[..., Any], /, *given: Any, **named: Any) -> Future[Any]:
        done: Future[Any] = Future()
        try:
            done.set_result(work(*given, **named))
        except BaseException as error:
            done.set_exception(error)
        return done


@contextmanager
def spawned() -> Iterator[Executor]:
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        yield pool


@pytest.fixture(scope="module")
def by_default() -> Comparison:
    return compare(small_study(), trials=2)


def assert_same(one: Comparison, other: Comparison) -> None:
    for left, right in zip(one.plan_trials, other.plan_trials, strict=True):
        assert (left.plan, left.course) == (right.plan, right.course)
        for a, b in zip(left.cards, right.cards, strict=True):
            assert a.at_shots == b.at_shots
            assert a.whole_course == b.whole_course
            assert a.nis == b.nis
            assert a.outcomes == b.outcomes
            np.testing.assert_array_equal(a.shots.errors, b.shots.errors)
        sightings = left.first.sightings, right.first.sightings
        np.testing.assert_array_equal(sightings[0].values, sightings[1].values)
    for a, b in zip(one.ranking, other.ranking, strict=True):
        assert repr(asdict(a)) == repr(asdict(b))  # nan is like nan
    assert one.warnings == other.warnings


@pytest.mark.parametrize("executor", [Serial, lambda: ThreadPoolExecutor(3), spawned])
def test_every_executor_finds_the_same(by_default: Comparison, executor: Any) -> None:
    with executor() as pool:
        assert_same(compare(small_study(), trials=2, executor=pool, workers=2), by_default)
        assert pool.submit(int, "7").result() == 7  # it is left open


def many_plans(count: int) -> Study:
    study = small_study()
    plans = [replace(study.plans[0], name=f"plan {n}") for n in range(count)]
    return replace(study, plans=tuple(plans))


class Alive:
    """How many scenes are alive, and how many there were at most."""

    def __init__(self) -> None:
        self.now = self.most = self.made = 0
        self._lock = Lock()

    def prepare(self, **given: Any) -> Scene:
        scene = prepare_scene(**given)
        with self._lock:
            self.now += 1
            self.made += 1
            self.most = max(self.most, self.now)
        weakref.finalize(scene.information, self._gone)
        return scene

    def _gone(self) -> None:
        with self._lock:
            self.now -= 1


@pytest.mark.parametrize(("trials", "workers"), [(1, 1), (3, 1), (1, 3), (2, 2)])
def test_few_scenes_are_alive_and_each_is_prepared_once(
    trials: int, workers: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    alive = Alive()
    monkeypatch.setattr(trial, "prepare_scene", alive.prepare)
    compare(many_plans(9), trials=trials, workers=workers)
    assert alive.made == 9
    assert alive.most <= 2 + workers
    assert alive.now == 0


def test_trials_that_need_the_same_scene_at_once_share_it(monkeypatch: pytest.MonkeyPatch) -> None:
    alive = Alive()
    monkeypatch.setattr(trial, "prepare_scene", alive.prepare)
    compare(many_plans(1), trials=8, workers=4)
    assert alive.made == 1


class Failing(Executor):
    """Its first task fails; the others never begin."""

    def __init__(self) -> None:
        self.tasks: list[Future[Any]] = []

    def submit(self, *_: Any, **__: Any) -> Future[Any]:
        self.tasks.append(Future())
        if len(self.tasks) == 1:
            self.tasks[0].set_exception(InputError("no such scene"))
        return self.tasks[-1]


def test_a_fault_in_a_trial_ends_the_comparison() -> None:
    pool = Failing()
    with pytest.raises(InputError, match="no such scene"):
        compare(many_plans(9), trials=3, executor=pool, workers=2)
    first, *others = pool.tasks
    assert 1 <= len(others) < 9 * 3 - 1
    assert not first.cancelled()
    assert all(task.cancelled() for task in others)


class Noting(Serial):
    """Notes what is handed over: the trial, or -1 for a scene to be prepared, and whose."""

    def __init__(self) -> None:
        self.jobs: list[tuple[str, int]] = []

    def submit(self, work: Callable[..., Any], /, *given: Any, **named: Any) -> Future[Any]:
        task: TrialTask = given[0]
        self.jobs.append((task.study.plans[0].name, task.trial if work is run_trial else -1))
        return super().submit(work, *given, **named)


def test_no_more_trials_are_handed_over_than_keep_the_workers_busy() -> None:
    pool, most = Noting(), 0

    def on_progress(done: int, _: int) -> None:
        nonlocal most
        begun = sum(trial >= 0 for _, trial in pool.jobs)
        most = max(most, begun - done + 1)

    compare(many_plans(3), trials=5, executor=pool, workers=2, on_progress=on_progress)
    assert 2 <= most <= 4


def test_the_next_scene_is_prepared_while_trials_run() -> None:
    pool = Noting()
    compare(many_plans(2), trials=3, executor=pool, workers=2)
    assert pool.jobs == [
        ("plan 0", 0),
        ("plan 1", -1),
        ("plan 0", 1),
        ("plan 0", 2),
        ("plan 1", 0),
        ("plan 1", 1),
        ("plan 1", 2),
    ]
    few = Noting()
    compare(many_plans(2), trials=1, executor=few, workers=2)
    assert few.jobs == [("plan 0", 0), ("plan 1", 0)]  # each worker prepares its own


def test_each_scorecard_stands_in_its_place() -> None:
    study = small_study()
    drive = study.courses[0]
    two = replace(study, courses=(drive, replace(drive, name="again")), trials=3)
    made = compare(two, workers=2)
    assert [(t.plan, t.course) for t in made.plan_trials] == [
        (plan.name, course.name) for plan in two.plans for course in two.courses
    ]
    for trials in made.plan_trials:
        names = [f"two cameras, {trials.course}, seed 7, trial {n}" for n in range(3)]
        assert [card.name for card in trials.cards] == names
        assert trials.first.name == names[0]
    assert made.trials_of("three ways", "again") is made.plan_trials[3]


def test_a_scene_that_failed_is_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    study = many_plans(1)
    task = TrialTask(study=study, scene_key="a key of its own", seed=1, trial=0)

    def faulty(**_: Any) -> Scene:
        raise InputError("no such scene")

    with monkeypatch.context() as patched:
        patched.setattr(trial, "prepare_scene", faulty)
        with pytest.raises(InputError):
            run_trial(task)
    assert run_trial(task).recording is not None
    assert run_trial(replace(task, trial=1)).recording is None
    trial.forget_scenes([task.scene_key])


def test_progress_counts_every_trial() -> None:
    calls: list[tuple[int, int]] = []
    compare(small_study(), trials=3, on_progress=lambda *call: calls.append(call))
    assert calls == [(n, 6) for n in range(1, 7)]
