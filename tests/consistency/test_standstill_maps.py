"""The demo's floor maps against its own filter on many builds."""

import math
from pathlib import Path

import numpy as np
import pytest

from posefuse.fusion.fuse import fuse
from posefuse.motion.course import Course, Shot
from posefuse.motion.path import TruePath
from posefuse.simulation.scene import prepare_scene
from posefuse.simulation.simulate import simulate
from posefuse.study.floor_map import floor_map
from posefuse.study.load import load_study
from posefuse.study.standstill import Arrival

ORCHARD = Path(__file__).parents[2] / "datasets" / "orchard"
NEAR = Arrival(position_std_m=0.02, heading_std_rad=math.radians(0.5))
"""Where a filter that estimates the build takes its first frames well enough for straight."""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("file", "plan_name", "arrival"),
    [
        ("study.toml", "four corners", Arrival()),
        ("study.toml", "two cameras", Arrival()),
        ("filters.toml", "considers its errors", Arrival()),
        ("filters.toml", "estimates them", NEAR),
    ],
)
def test_cells_of_the_map_are_what_the_filter_reaches_there(file, plan_name, arrival, tell) -> None:
    """30 cells, 100 builds: with the gate and the choice of solutions that are not linear."""
    study = load_study(ORCHARD / file)
    plan = study.plan(plan_name)
    made = floor_map(
        arena=study.arena,
        rig=plan.rig,
        goal=study.goal,
        settings=plan.settings,
        spreads=study.spreads,
        arrival=arrival,
    )
    cells = np.argwhere(made.is_standable)
    chosen = cells[np.random.default_rng(0).choice(len(cells), 30, replace=False)]
    known = f"{100 * arrival.position_std_m:g} cm and {math.degrees(arrival.heading_std_rad):g}°"
    ratios = np.array(
        [_rms_at(study, plan, made, *cell) / made.distance_rms_m[tuple(cell)] for cell in chosen]
    )
    tell(
        f"floor map of “{plan_name}”, arrival known to {known}: the real filter at 30 cells over "
        f"100 builds is {np.median(ratios):.2f} times as far off (median; {ratios.min():.2f} to "
        f"{ratios.max():.2f})"
    )
    assert 0.85 < np.median(ratios) < 1.2
    assert np.mean((ratios > 0.7) & (ratios < 1.6)) > 0.85


def _rms_at(study, plan, made, row, column) -> float:
    """RMS of the distance error after a standstill in a cell, each trial another build."""
    place = np.array(
        [made.x_edges_m[column : column + 2].mean(), made.y_edges_m[row : row + 2].mean()]
    )
    to_goal = study.goal.xy_in_world_m - place
    pose = np.array([*place, math.atan2(to_goal[1], to_goal[0])])
    latest_s = max(
        mount.camera.timing.latency_s + mount.camera.timing.latency_jitter_s
        for mount in plan.rig.mounts
    )
    arrival = made.arrival
    end_s = arrival.standstill_s + latest_s + 0.005
    scene = prepare_scene(
        arena=study.arena,
        rig=plan.rig,
        course=Course(
            name="standstill",
            path=TruePath.through([0.0, end_s], [pose, pose]),
            shots=(Shot(at_s=end_s, goal=study.goal.name),),
        ),
        spreads=study.spreads,
        start_std=np.array(
            [arrival.position_std_m, arrival.position_std_m, arrival.heading_std_rad]
        ),
    )
    errors = []
    for trial in range(100):
        recording = simulate(scene, seed=11, trial=trial)
        estimate = fuse(recording, rig=plan.rig, arena=study.arena, settings=plan.settings)
        off = study.goal.xy_in_world_m - estimate.poses[-1, :2]
        errors.append(np.linalg.norm(off) - np.linalg.norm(to_goal))
    return math.sqrt(np.mean(np.square(errors)))
