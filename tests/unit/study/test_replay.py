"""A replay is the filter, the scores and what is said of them, put together."""

import math
from dataclasses import replace

import numpy as np
import pytest

from posefuse.fusion.fuse import fuse
from posefuse.fusion.settings import (
    FilterSettings,
    LateFrames,
    Measurement,
    NoiseKind,
    NoiseModel,
    StartFrom,
)
from posefuse.recording.recording import SightingKind, Sightings
from posefuse.scoring.score import score, shot_rows
from posefuse.scoring.score_rows import score_rows
from posefuse.scoring.trajectory import trajectory_scores
from posefuse.study.pictured_trial import PicturedTrial, pictured_trial
from posefuse.study.replay import Replay, default_settings, replay
from posefuse.study.shot_room import shot_room, spreads_at_places
from small_court import SHOOTER, armed, small_study, stored_drive

ARMED = armed(small_study(), SHOOTER, SHOOTER)
GOAL = ARMED.goal


@pytest.fixture(scope="module")
def played() -> Replay:
    return replay(stored_drive(ARMED, goal=GOAL.name))


def test_it_is_fused_and_scored_with_the_settings_given() -> None:
    stored = stored_drive(ARMED, goal=GOAL.name)
    settings = FilterSettings(late_frames=LateFrames.DROP)
    played = replay(stored, settings=settings)
    recording = stored.recording
    estimate = fuse(recording, rig=stored.rig, arena=stored.arena, settings=settings)
    np.testing.assert_array_equal(played.estimate.poses, estimate.poses)
    card = score(
        recording,
        estimate=estimate,
        truth=recording.truth,
        arena=stored.arena,
        goal=GOAL.name,
        shooter=SHOOTER,
        with_intervals=True,
    )
    path = trajectory_scores(estimate=estimate, truth=recording.truth)
    assert repr(played.rows) == repr(tuple(score_rows(card, path)))
    assert played.settings is settings
    assert played.row("run", "aligned_position_rms_m").value == path.aligned_position_rms_m
    assert played.row("run", "no such figure") is None


def test_room_and_spreads_are_those_of_its_shots(played: Replay) -> None:
    shots = [played.card.shots]
    given = {"arena": ARMED.arena, "goal": GOAL}
    assert repr(played.room) == repr(shot_room(shots, **given, shooter=SHOOTER))
    assert repr(played.spreads) == repr(spreads_at_places(shots, **given))
    unarmed = replay(stored_drive(small_study(), goal=None))
    assert unarmed.room is unarmed.spreads is None


def test_settings_fit_what_was_recorded() -> None:
    recording = stored_drive(ARMED, goal=None).recording
    assert default_settings(recording).start_from is StartFrom.STATED
    assert default_settings(replace(recording, start=None)).start_from is StartFrom.TAGS
    ranges = Sightings(kind=SightingKind.RANGE, frame=[0], id=[4], values=[[3.0]])
    settings = default_settings(replace(recording, sightings=ranges))
    assert settings.measurement is Measurement.RANGE
    assert settings.noise.kind is NoiseKind.FIXED


def test_a_user_is_warned_of_what_was_not_scored_or_fused() -> None:
    stored = stored_drive(ARMED, goal=GOAL.name)
    recording = stored.recording
    assert replay(stored).warnings == ()
    known = recording.truth.stamps_s < 4.0
    cut = replace(
        recording.truth,
        stamps_s=recording.truth.stamps_s[known],
        poses=recording.truth.poses[known],
    )
    rows = len(recording.odometry.stamps_s)
    warned = replay(replace(stored, recording=replace(recording, truth=cut))).warnings
    lost = rows - int(known.sum())
    assert warned == (
        f"the truth is not known at {lost} of {rows} odometry rows: they are not scored",
        "the truth is not known at 1 of 3 shots: they are not scored",
    )
    none = replace(
        recording.sightings,
        frame=recording.sightings.frame[:0],
        id=recording.sightings.id[:0],
        values=recording.sightings.values[:0],
    )
    blind = replay(replace(stored, recording=replace(recording, sightings=none)))
    assert blind.warnings == ("no measurement was fused: the estimate is wheel odometry alone",)


def test_few_fused_measurements_are_counted(played: Replay) -> None:
    tight = NoiseModel(kind=NoiseKind.FIXED, position_std_m=0.01, heading_std_rad=0.01)
    strict = FilterSettings(gate_probability=0.5, noise=tight)
    few = replay(stored_drive(ARMED, goal=GOAL.name), settings=strict)
    fused, whole = few.card.outcomes["fused"], sum(few.card.outcomes.values())
    assert 0 < fused < 0.8 * whole
    assert few.warnings == (
        f"only {fused:,} of {whole:,} measurements were fused: "
        "the counts say what became of the others",
    )
    assert played.card.outcomes["fused"] >= 0.8 * sum(played.card.outcomes.values())


def test_a_picture_has_errors_to_the_goal_of_the_next_shot(played: Replay) -> None:
    trial, recording = played.trial, played.stored.recording
    rows = shot_rows(recording)
    assert trial.has_shots
    assert trial.has_distance
    assert trial.marks.rows.tolist() == rows.tolist()
    np.testing.assert_array_equal(trial.marks.errors, trial.course.errors[rows])
    toward = GOAL.xy_in_world_m - played.estimate.poses[:, :2]
    toward /= np.linalg.norm(toward, axis=1, keepdims=True)
    variance = [u @ cov[:2, :2] @ u for u, cov in zip(toward, played.estimate.covs, strict=True)]
    assert trial.distance_std_m == pytest.approx(np.sqrt(variance))
    errors = trial.course.distance_error_m
    assert trial.distance_rms_m == pytest.approx(np.sqrt(np.mean(errors**2)))
    inside = np.abs(errors) <= 2.0 * np.sqrt(variance)
    assert trial.share_within_two_sigma == pytest.approx(inside.mean())
    assert trial.worst_mark == int(np.argmax(np.abs(errors[rows])))
    assert trial.t_s[0] == 0.0
    assert trial.nis.dof == 3


def test_the_goal_changes_after_each_shot(played: Replay) -> None:
    second = replace(GOAL, name="second", centre_in_world_m=np.array([0.3, 2.5, 1.4]))
    arena = replace(ARMED.arena, goals=(GOAL, second))
    recording = played.stored.recording
    names = (GOAL.name, "second", GOAL.name)
    shots = replace(recording.shots, goals=names)
    trial = _pictured(played, arena=arena, recording=replace(recording, shots=shots))
    first, middle, last = shot_rows(recording)
    goals = trial.course.goals
    assert set(goals[: first + 1]) == {GOAL.name}
    assert set(goals[first + 1 : middle + 1]) == {"second"}
    assert set(goals[middle + 1 :]) == {GOAL.name}
    assert trial.marks.goals == names
    to_second = np.linalg.norm(second.xy_in_world_m - trial.course.true_poses[middle, :2])
    assert trial.marks.true_distance_m[1] == pytest.approx(to_second)
    assert last > middle


def test_without_shots_or_goal_instants_are_spread_evenly(played: Replay) -> None:
    bare = replace(played.stored.recording, shots=None)
    trial = _pictured(played, recording=bare, goal=None)
    assert not trial.has_shots
    assert not trial.has_distance
    assert len(trial.distance_std_m) == 0
    steps = np.diff(trial.marks.rows)
    assert len(trial.marks.rows) == 16
    assert (trial.marks.rows[0], trial.marks.rows[-1]) == (0, len(trial.t_s) - 1)
    assert steps.max() - steps.min() <= 1
    assert trial.worst_mark is None
    assert math.isnan(trial.distance_rms_m)
    assert math.isnan(trial.share_within_two_sigma)
    with_goal = _pictured(played, recording=bare, goal=GOAL)
    assert with_goal.has_distance
    assert with_goal.distance_rms_m == pytest.approx(played.trial.distance_rms_m)
    assert with_goal.worst_mark is None


def _pictured(played: Replay, **changes) -> PicturedTrial:
    given = {
        "recording": played.stored.recording,
        "estimate": played.estimate,
        "title": "a run",
        "arena": ARMED.arena,
        "rig": played.stored.rig,
        "goal": GOAL,
    }
    given |= changes
    return pictured_trial(given.pop("recording"), **given)
