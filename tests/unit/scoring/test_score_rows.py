"""Scores as flat rows."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posefuse.arena.arena import Arena, Goal
from posefuse.fusion.estimate import Estimate, Innovations, Outcome
from posefuse.recording.folder import StoredRecording
from posefuse.recording.recording import (
    Frames,
    Odometry,
    Recording,
    Shots,
    SightingKind,
    Sightings,
    Truth,
)
from posefuse.robot.body import Body
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind, Wheel
from posefuse.robot.rig import Ranger, Rig
from posefuse.robot.shooter import Shooter
from posefuse.scoring.figures import FIGURES, OUTCOME_COUNTS
from posefuse.scoring.instants import instant_errors
from posefuse.scoring.score import score
from posefuse.scoring.score_rows import score_rows
from posefuse.scoring.trajectory import trajectory_scores
from posefuse.statistics.correlated import correlated_mean_interval, correlated_rms_interval

STAMPS_S = 1_700_000_000.0 + np.arange(0.0, 10.0, 0.1)
GATE = Goal(
    name="gate, far",
    centre_in_world_m=np.array([9.0, 3.0, 1.0]),
    width_m=1.0,
    height_m=1.0,
    facing_rad=0.0,
)
ARENA = Arena(name="lawn", length_m=10.0, width_m=6.0, goals=(GATE,))
RIG = Rig(
    name="mower",
    body=Body(length_m=1.0, width_m=0.8),
    drivetrain=Drivetrain(
        kind=DrivetrainKind.DIFFERENTIAL,
        wheels=tuple(Wheel(position_in_robot_m=np.array([0.0, y])) for y in (0.3, -0.3)),
        wheel_radius_m=0.1,
        rate_hz=10.0,
        speed_m_per_s=3.0,
        acceleration_m_per_s2=2.0,
        turn_rate_rad_per_s=3.0,
    ),
    rangers=(Ranger(name="radio", position_in_robot_m=np.zeros(3)),),
)
ROWS = len(STAMPS_S)


@pytest.fixture
def run():
    """A stored recording and an estimate of it that is off by a normal error."""
    generator = np.random.default_rng(4)
    truth = np.column_stack([np.linspace(1, 8, ROWS), np.full(ROWS, 2.0), np.zeros(ROWS)])
    recording = Recording(
        name="lawn, first run",
        sensor_names=("radio",),
        odometry=Odometry(stamps_s=STAMPS_S, twists=np.zeros((ROWS, 3))),
        frames=Frames(sensor=[0], captured_at_s=STAMPS_S[5:6], arrived_at_s=STAMPS_S[5:6]),
        sightings=Sightings(kind=SightingKind.RANGE, frame=[0], id=[4], values=[[3.0]]),
        truth=Truth(stamps_s=STAMPS_S, poses=truth),
        shots=Shots(stamps_s=STAMPS_S[[3, 7, 40]], goals=(GATE.name,) * 3),
        dropped_frame_count=2,
    )
    estimate = Estimate(
        stamps_s=STAMPS_S,
        poses=truth + 0.1 * generator.normal(size=(ROWS, 3)),
        covs=np.tile(0.01 * np.eye(3), (ROWS, 1, 1)),
        innovations=Innovations(
            frame=np.array([0]),
            sighting=np.array([0]),
            outcome=np.array([int(Outcome.FUSED)]),
            nis=np.array([0.5]),
            dof=np.array([1]),
        ),
    )
    stored = StoredRecording(
        recording=recording,
        rig=RIG,
        arena=ARENA,
        rig_path=Path("rig.toml"),
        arena_path=Path("arena.toml"),
        goal=GATE.name,
    )
    return stored, estimate


def scored(stored, estimate):
    recording = stored.recording
    card = score(
        recording,
        estimate=estimate,
        truth=recording.truth,
        arena=ARENA,
        goal=stored.goal,
        with_intervals=True,
    )
    path = None
    if recording.truth is not None:
        path = trajectory_scores(estimate=estimate, truth=recording.truth)
    return card, score_rows(card, path)


def test_every_known_figure_is_there_with_its_interval(run):
    card, rows = scored(*run)
    figures = {(row.span, row.figure): row for row in rows}
    assert len(figures) == len(rows)
    rms = figures["shots", "distance_rms_m"]
    assert rms.value == card.at_shots.distance_m.rms
    assert np.isnan(rms.low)  # three shots
    assert figures["course", "position_rms_m"].value == card.whole_course.position_rms_m
    course = card.whole_course
    errors = instant_errors(
        np.arange(ROWS), estimate=run[1], truth=run[0].recording.truth, goals=(GATE,)
    )
    for name, expected in {
        "distance_rms_m": correlated_rms_interval(errors.distance_error_m),
        "heading_rms_rad": correlated_rms_interval(errors.errors[:, 2]),
        "position_rms_m": correlated_rms_interval(errors.position_error_m),
        "nees_mean": correlated_mean_interval(errors.nees),
    }.items():
        found = figures["course", name]
        assert found.value == pytest.approx(expected.value)
        assert (found.low, found.high) == pytest.approx((expected.low, expected.high))
        assert found.low < found.value < found.high
    assert figures["course", "no_update_share"].high < 1.0
    share = figures["shots", "no_update_share"]
    assert (share.value, figures["course", "no_update_share"].value) == (2 / 3, 0.94)
    assert 0.0 < share.low < 2 / 3 < share.high < 1.0
    nees = figures["course", "nees_mean"]
    assert (nees.value, nees.dof) == (course.nees.mean, 3)
    nis = figures["run", "nis_mean"]
    assert (nis.value, nis.dof) == (0.5, 1)
    assert np.isnan([nis.low, nis.high]).all()  # one innovation
    assert figures["run", "nis_count"].value == 1
    assert figures["run", "gated_share"].value == 0.0
    assert figures["run", "fused_count"].value == 1
    assert figures["run", "dropped_frame_count"].value == 2
    assert 0.0 < figures["run", "aligned_position_rms_m"].value < 0.2
    assert ("shots", "pivot_rms_rad") not in figures
    assert {row.figure for row in rows} <= set(FIGURES)


def test_without_truth_and_shots_the_rest_is_there(run):
    stored, estimate = run
    bare = replace(stored, recording=replace(stored.recording, truth=None, shots=None))
    _, rows = scored(bare, estimate)
    assert {row.span for row in rows} == {"course", "run"}
    assert not any(row.figure.endswith(("rms_m", "rms_rad")) for row in rows)
    assert ("course", "no_update_share") in {(row.span, row.figure) for row in rows}


def test_pivot_and_bound_stand_among_the_figures_where_they_are_known(run):
    stored, estimate = run
    card = score(
        stored.recording,
        estimate=estimate,
        truth=stored.recording.truth,
        arena=ARENA,
        goal=stored.goal,
        shooter=Shooter(
            release_in_robot_m=np.array([0.0, 0.0, 0.5]),
            exit_speed_m_per_s=7.0,
            pivot_low_rad=0.1,
            pivot_high_rad=1.4,
        ),
        bound_covs=np.tile(0.0025 * np.eye(3), (ROWS, 1, 1)),
    )
    figures = {(row.span, row.figure): row.value for row in score_rows(card)}
    assert figures["course", "distance_bound_rms_m"] == pytest.approx(0.05)
    assert figures["course", "pivot_rms_rad"] == card.whole_course.pivot_rad.rms
    assert figures["course", "unreachable_count"] == card.whole_course.unreachable_count > 0
    assert (
        figures["shots", "unreachable_count"] == 3 - np.isfinite(card.shots.pivot_error_rad).sum()
    )
    assert ("run", "aligned_position_rms_m") not in figures


def test_shots_without_truth_keep_their_coverage(run):
    stored, estimate = run
    bare = replace(stored, recording=replace(stored.recording, truth=None))
    _, rows = scored(bare, estimate)
    figures = {(row.span, row.figure): row.value for row in rows}
    assert figures["shots", "scored_count"] == 0
    assert figures["shots", "no_update_share"] == 2 / 3
    assert ("shots", "distance_rms_m") not in figures


def test_every_outcome_of_a_measurement_has_a_name() -> None:
    assert list(OUTCOME_COUNTS) == [f"{outcome.name.lower()}_count" for outcome in Outcome]
    assert set(OUTCOME_COUNTS) < set(FIGURES)
    headers = [figure.header for figure in FIGURES.values()]
    assert len(set(headers)) == len(headers)
