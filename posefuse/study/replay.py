"""The filter on a recorded run: estimate, scores and all that is said of them, computed once."""

from dataclasses import dataclass

from posefuse.fusion.estimate import Estimate
from posefuse.fusion.fuse import fuse
from posefuse.fusion.settings import (
    FilterSettings,
    Measurement,
    NoiseKind,
    NoiseModel,
    StartFrom,
)
from posefuse.recording.folder import StoredRecording
from posefuse.recording.recording import Recording, SightingKind
from posefuse.scoring.score import score
from posefuse.scoring.score_rows import ScoreRow, score_rows
from posefuse.scoring.scorecard import Scorecard
from posefuse.scoring.trajectory import TrajectoryScores, trajectory_scores
from posefuse.study.build_findings import BuildFinding, build_findings
from posefuse.study.pictured_trial import PicturedTrial, pictured_trial
from posefuse.study.shot_room import PlaceSpreads, ShotRoom, shot_room, spreads_at_places

__all__ = ["Replay", "default_settings", "replay"]

_FEW_FUSED = 0.8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Replay:
    """What a filter made of a recorded run.

    Parameters
    ----------
    trajectory
        ``None`` where the truth is known at fewer than two rows.
    rows
        Every figure of the scorecard.
    room, spreads
        How large errors might have been at the shots, and how large they were; ``None`` where that
        cannot be worked out.
    build
        How the robot and its tags were built; empty where the filter does not estimate that.
    warnings
        What a user should know before believing the scores, one line each.
    """

    stored: StoredRecording
    settings: FilterSettings
    estimate: Estimate
    card: Scorecard
    trajectory: TrajectoryScores | None
    rows: tuple[ScoreRow, ...]
    trial: PicturedTrial
    room: ShotRoom | None
    spreads: PlaceSpreads | None
    build: tuple[BuildFinding, ...]
    warnings: tuple[str, ...]

    def row(self, span: str, figure: str) -> ScoreRow | None:
        """The first row of a figure; ``None`` where it is not known."""
        return next((row for row in self.rows if (row.span, row.figure) == (span, figure)), None)


def replay(stored: StoredRecording, *, settings: FilterSettings | None = None) -> Replay:
    """The recording fused and scored.

    Parameters
    ----------
    settings
        Those of ``default_settings`` when not given.
    """
    recording = stored.recording
    settings = default_settings(recording) if settings is None else settings
    estimate = fuse(recording, rig=stored.rig, arena=stored.arena, settings=settings)
    truth = recording.truth
    card = score(
        recording,
        estimate=estimate,
        truth=truth,
        arena=stored.arena,
        goal=stored.goal,
        shooter=stored.rig.body.shooter,
        with_intervals=True,
    )
    trajectory = trajectory_scores(estimate=estimate, truth=truth) if truth is not None else None
    room = _room(stored, card)
    return Replay(
        stored=stored,
        settings=settings,
        estimate=estimate,
        card=card,
        trajectory=trajectory,
        rows=tuple(score_rows(card, trajectory)),
        trial=pictured_trial(
            recording,
            estimate=estimate,
            title=recording.name,
            arena=stored.arena,
            rig=stored.rig,
            goal=None if stored.goal is None else stored.arena.goal(stored.goal),
        ),
        room=room,
        spreads=(
            None
            if room is None or card.shots is None
            else spreads_at_places([card.shots], arena=stored.arena, goal=room.goal)
        ),
        build=() if estimate.build is None else build_findings(estimate.build),
        warnings=_warnings(card),
    )


def default_settings(recording: Recording) -> FilterSettings:
    """Settings that fit what the recording holds: solved poses of tags, or ranges as they are."""
    kind = recording.sightings.kind
    if kind is SightingKind.CORNERS:
        is_stated = recording.start is not None
        return FilterSettings(start_from=StartFrom.STATED if is_stated else StartFrom.TAGS)
    return FilterSettings(
        measurement=Measurement(kind.value), noise=NoiseModel(kind=NoiseKind.FIXED)
    )


def _room(stored: StoredRecording, card: Scorecard) -> ShotRoom | None:
    shooter = stored.rig.body.shooter
    if card.hits is None or card.shots is None or shooter is None:
        return None
    goal = stored.arena.goal(stored.goal or card.shots.goals[0])
    return shot_room([card.shots], arena=stored.arena, goal=goal, shooter=shooter)


def _warnings(card: Scorecard) -> tuple[str, ...]:
    warnings = [
        f"the truth is not known at {span.count - span.scored_count:,} of {span.count:,} {what}: "
        "they are not scored"
        for what, span in (("odometry rows", card.whole_course), ("shots", card.at_shots))
        if span is not None and 0 < span.scored_count < span.count
    ]
    fused, whole = card.outcomes.get("fused", 0), sum(card.outcomes.values())
    if not fused:
        warnings.append("no measurement was fused: the estimate is wheel odometry alone")
    elif fused < _FEW_FUSED * whole:
        warnings.append(
            f"only {fused:,} of {whole:,} measurements were fused: "
            "the counts say what became of the others"
        )
    return tuple(warnings)
