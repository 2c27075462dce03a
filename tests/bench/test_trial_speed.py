"""One trial, simulated and fused, against the plain loop; and the bound, the threads, the memory.

Both ways simulate the sightings (projection and noise) and fuse every late frame by replay; the
plain loop is timed over the whole 120 s once, posefuse as the median of many trials, one thread,
both by the processor time they take, so that other work on the machine counts little.
"""

import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from plain_loop import plain_trial
from posefuse.build_errors.constants import constants_of
from posefuse.build_errors.draw import as_drawn
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.fusion.bound import posterior_bound
from posefuse.fusion.fuse import fuse
from posefuse.fusion.settings import BuildErrors, Measurement
from posefuse.scoring.score import shot_rows
from posefuse.simulation.simulate import simulate, simulate_trial
from posefuse.study.forecast import forecast
from posefuse.study.linear_run import linear_run
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


BUILD = BuildSpreads.of(
    mount_angle_rad=0.009,
    mount_position_m=0.003,
    focal_fraction=0.003,
    clock_offset_s=0.003,
    tag_position_m=0.005,
    tag_heading_rad=0.005,
    lean_rad=0.0035,
    wheel_radius_fraction=0.005,
)


@by_processor_time
@pytest.mark.parametrize("how", [BuildErrors.CONSIDERED, BuildErrors.ESTIMATED])
@pytest.mark.parametrize("measurement", [Measurement.POSE, Measurement.CORNERS])
def test_trial_that_knows_the_build(
    benchmark, report_ratio, scene, measurement: Measurement, how: BuildErrors
) -> None:
    """Beside the plain loop, which ignores the build, and beside posefuse's filter that does."""
    ignoring = reference_settings(measurement)
    settings = replace(ignoring, build_errors=how, believed=BUILD)
    what = f"trial, {measurement.value} fused, build {how.value}"
    fuse_corners = measurement is Measurement.CORNERS
    plain_s = _seconds(lambda: plain_trial(scene, ignoring, fuse_corners=fuse_corners, seed=1))
    for given in (ignoring, settings):
        _trial(scene, given, 0)
    ours_s = min(_seconds(lambda: _trial(scene, ignoring, 1)) for _ in range(20))
    benchmark.pedantic(lambda: _trial(scene, settings, 1), rounds=10, iterations=1)
    report_ratio(f"{what}, against the plain loop", plain_s, benchmark.stats.stats.median)
    report_ratio(f"{what}, against ignored", ours_s, benchmark.stats.stats.min)


@by_processor_time
def test_forecast(benchmark, report_ratio, scene) -> None:
    """The forecast of a plan on a course, its one simulated run included, against 30 trials."""
    scene = replace(scene, spreads=BUILD)
    settings = reference_settings(Measurement.POSE)
    constants = constants_of(scene.rig, scene.arena, BUILD)
    exact = as_drawn(scene.rig, scene.arena)

    def forecast_of_plan() -> None:
        run = simulate_trial(scene, seed=1, trial=0, as_built=exact)
        linear = linear_run(run, settings=settings, constants=constants)
        forecast(linear, shot_rows=shot_rows(run.recording))

    forecast_of_plan()
    _trial(scene, settings, 0)
    trials_s = _seconds(lambda: [_trial(scene, settings, trial) for trial in range(30)])
    benchmark.pedantic(forecast_of_plan, rounds=10, iterations=1)
    report_ratio("forecast against 30 trials", trials_s, benchmark.stats.stats.median)


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
