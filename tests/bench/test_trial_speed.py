"""One trial, simulated and fused, against the plain loop; and the bound, the threads, the memory.

Both ways simulate the sightings (projection and noise) and fuse every late frame by replay; the
plain loop is timed over the whole 120 s once, posefuse as the median of many trials, one thread,
both by the processor time they take, so that other work on the machine counts little.
"""

import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from plain_loop import plain_trial
from posefuse.fusion.bound import posterior_bound
from posefuse.fusion.fuse import fuse
from posefuse.fusion.settings import Measurement
from posefuse.simulation.simulate import simulate, simulate_trial
from reference_trial import reference_scene, reference_settings

pytestmark = pytest.mark.bench


@pytest.fixture(scope="module")
def scene():
    return reference_scene()


def _trial(scene, settings, trial: int) -> None:
    recording = simulate(scene, seed=1, trial=trial)
    fuse(recording, rig=scene.rig, arena=scene.arena, settings=settings)


def _seconds(work, timer=time.process_time) -> float:
    begun = timer()
    work()
    return timer() - begun


by_processor_time = pytest.mark.benchmark(timer=time.process_time)


@by_processor_time
@pytest.mark.parametrize("measurement", [Measurement.POSE, Measurement.CORNERS])
def test_trial(benchmark, report_ratio, scene, measurement: Measurement) -> None:
    settings = reference_settings(measurement)
    fuse_corners = measurement is Measurement.CORNERS
    _trial(scene, settings, 0)
    plain_s = _seconds(lambda: plain_trial(scene, settings, fuse_corners=fuse_corners, seed=1))
    benchmark.pedantic(lambda: _trial(scene, settings, 1), rounds=40, iterations=1)
    report_ratio(f"trial, {measurement.value} fused", plain_s, benchmark.stats.stats.median)


@by_processor_time
def test_bound(benchmark, report_ratio, scene) -> None:
    """The plain way to a plan's accuracy is to run a trial."""
    run = simulate_trial(scene, seed=1, trial=0)

    def bound() -> None:
        posterior_bound(
            run.recording, frame_information=run.frame_information(), step_covs=run.step_covs
        )

    bound()
    settings = reference_settings(Measurement.POSE)
    plain_s = _seconds(lambda: plain_trial(scene, settings, fuse_corners=False, seed=1))
    benchmark.pedantic(bound, rounds=40, iterations=1)
    report_ratio("bound of one plan", plain_s, benchmark.stats.stats.median)


def test_two_threads(benchmark, report_ratio, scene) -> None:
    """Sixty trials by one thread and by two."""
    settings = reference_settings(Measurement.CORNERS)

    def by(workers: int) -> None:
        with ThreadPoolExecutor(workers) as pool:
            list(pool.map(lambda trial: _trial(scene, settings, trial), range(60)))

    by(2)
    one_s = min(_seconds(lambda: by(1), time.perf_counter) for _ in range(3))
    benchmark.pedantic(lambda: by(2), rounds=3, iterations=1)
    report_ratio("two threads against one", one_s, benchmark.stats.stats.min)


def test_memory_of_many_trials(scene) -> None:
    """Trials leave nothing behind: 200 of them raise the peak by less than 200 MB."""
    resource = pytest.importorskip("resource", reason="tells the peak memory on POSIX systems only")
    settings = reference_settings(Measurement.POSE)
    for trial in range(3):
        _trial(scene, settings, trial)
    scale = 1024 if sys.platform == "linux" else 1
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * scale
    for trial in range(200):
        _trial(scene, settings, trial)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * scale
    assert after - before < 200e6


def test_both_ways_are_equally_exact(scene) -> None:
    """The ratio compares equal work: position errors agree within a third over 30 s."""
    settings = reference_settings(Measurement.CORNERS)
    rows = 1501
    plain, truth = plain_trial(scene, settings, fuse_corners=True, seed=1, rows=rows)
    recording = simulate(scene, seed=1, trial=0)
    estimate = fuse(recording, rig=scene.rig, arena=scene.arena, settings=settings)
    rms = [
        np.sqrt(((poses[:rows, :2] - truth[:, :2]) ** 2).sum(axis=1).mean())
        for poses in (plain, estimate.poses)
    ]
    assert rms[1] == pytest.approx(rms[0], rel=0.35)
