"""A replayed recording as one self-contained page."""

from datetime import datetime
from pathlib import Path

import numpy as np

from posefuse.fusion.estimate import Estimate
from posefuse.fusion.settings import FilterSettings
from posefuse.recording.folder import StoredRecording
from posefuse.report.comparison_tables import Table, outcome_table, scorecard_table
from posefuse.report.glossary import CAUTION, HIT_WORDS, REPLAY_WORDS
from posefuse.report.hit_pictures import run_tolerance_picture
from posefuse.report.page import command_text, write_page
from posefuse.report.picture import Picture
from posefuse.report.run_pictures import PicturedTrial, court_picture, nis_picture, timeline_picture
from posefuse.report.shot_room import shot_room, spreads_at_places
from posefuse.report.wording import length_with_unit, number_text, run_verdict, share_text
from posefuse.scoring.scorecard import Scorecard

__all__ = ["replay_finding", "write_replay_report"]


def write_replay_report(
    stored: StoredRecording,
    path: Path,
    *,
    estimate: Estimate,
    card: Scorecard,
    settings: FilterSettings,
    source: Path | None = None,
    settings_file: Path | None = None,
    length_unit: str = "cm",
    made_at: datetime | None = None,
) -> None:
    """Writes the page: figures, the run from above and over time, the filter's consistency.

    Parameters
    ----------
    source, settings_file
        The recording's folder and the file of the settings, for the command that makes the page
        again.
    length_unit
        Of errors: m, cm, mm or in. Places on the floor are in metres, or in inches when the errors
        are.
    made_at
        The date on the page; ``None``: now.
    """
    recording = stored.recording
    run = PicturedTrial(
        title=recording.name,
        recording=recording,
        estimate=estimate,
        arena=stored.arena,
        rig=stored.rig,
        goal=None if stored.goal is None else stored.arena.goal(stored.goal),
    )
    write_page(
        path,
        "replay.html",
        made_at=made_at,
        title=f"Replay: {recording.name}",
        asked=_asked(stored, estimate, settings),
        command=_command(source, settings_file),
        finding=replay_finding(card, length_unit),
        warnings=_warnings(card),
        figures=scorecard_table(card, length_unit=length_unit),
        court=court_picture(run, length_unit=length_unit),
        timeline=timeline_picture(run, length_unit=length_unit),
        tolerance=_tolerance(stored, card, length_unit),
        nis_table=_nis_table(card),
        nis=nis_picture(run),
        counts=outcome_table(card),
        glossary=REPLAY_WORDS | (HIT_WORDS if card.hits is not None else {}),
        caution=CAUTION,
    )


def _tolerance(stored: StoredRecording, card: Scorecard, length_unit: str) -> Picture | None:
    """How far off the estimate might have been at the shots, and how far off it was."""
    shooter = stored.rig.body.shooter
    if card.hits is None or card.shots is None or shooter is None:
        return None
    goal = stored.arena.goal(stored.goal or card.shots.goals[0])
    room = shot_room([card.shots], arena=stored.arena, goal=goal, shooter=shooter)
    if room is None:
        return None
    spreads = spreads_at_places("this run", 0, [card.shots], arena=stored.arena, goal=room.goal)
    return run_tolerance_picture(room, spreads, length_unit=length_unit)


def _command(source: Path | None, settings_file: Path | None) -> str:
    if source is None:
        return ""
    settings = () if settings_file is None else ("--settings", str(settings_file))
    return command_text("posefuse", "replay", str(source), *settings)


def _asked(stored: StoredRecording, estimate: Estimate, settings: FilterSettings) -> str:
    recording = stored.recording
    lasts_s = float(estimate.stamps_s[-1] - estimate.stamps_s[0])
    shots = 0 if recording.shots is None else len(recording.shots.goals)
    on = f", recorded on {stored.recorded_on}" if stored.recorded_on else ""
    return (
        f"Asked: how well does the filter “{settings.name}” (measurement: "
        f"{settings.measurement.value}) know where the robot “{stored.rig.name}” is in "
        f"“{stored.arena.name}”{on}, over {lasts_s:.1f} s with {len(recording.frames.sensor):,} "
        f"frames, {len(recording.sightings.frame):,} sightings and {shots} shots."
    )


def replay_finding(card: Scorecard, length_unit: str = "cm") -> str:
    """What one run shows, in one paragraph."""
    span = card.at_shots or card.whole_course
    where = "at the shots" if card.at_shots is not None else "over the whole run"
    sentences = []
    if span.distance_m is not None:
        rms = length_with_unit(span.distance_m.rms, length_unit)
        p95 = length_with_unit(span.distance_m.p95, length_unit)
        sentences.append(
            f"The error of the distance to the goal {where} is {rms} RMS, and 95 of 100 errors are "
            f"below {p95}."
        )
    elif span.position_rms_m is not None:
        rms = length_with_unit(span.position_rms_m, length_unit)
        sentences.append(f"The error of the position {where} is {rms} RMS.")
    else:
        sentences.append("The recording holds no true path, so no error can be told.")
    blind = share_text(card.whole_course.no_tag_share)
    sentences.append(f"For {blind} % of the run no sighting had been used for half a second.")
    if card.hits is not None and np.isfinite(card.hits.shares).any():
        hits, perfect = (
            number_text(100.0 * float(np.nanmean(shares)), 1)
            for shares in (card.hits.shares, card.hits.perfect_shares)
        )
        sentences.append(
            f"Of 100 such shots {hits} go in; a perfect estimate would score {perfect}."
        )
    if card.whole_course.nees is not None:
        sentences.append(run_verdict(card.whole_course.nees))
    return " ".join(sentences)


def _warnings(card: Scorecard) -> list[str]:
    told = []
    for what, span in (("odometry rows", card.whole_course), ("shots", card.at_shots)):
        if span is not None and 0 < span.scored_count < span.count:
            told.append(
                f"the truth is not known at {span.count - span.scored_count:,} of {span.count:,} "
                f"{what}: they are not scored"
            )
    fused = card.outcomes.get("fused", 0)
    whole = sum(card.outcomes.values())
    if not fused:
        told.append("no measurement was fused: the estimate is wheel odometry alone")
    elif fused < 0.8 * whole:
        told.append(
            f"only {share_text(fused / whole)} % of the measurements were fused: see below what "
            "became of the others"
        )
    return told


def _nis_table(card: Scorecard) -> Table:
    headers = ("measurement", "mean NIS", "honest: between", "count", "gated (%)")
    return Table(
        headers,
        tuple(
            (
                f"{nis.dof} number{'s' * (nis.dof > 1)}",
                number_text(nis.mean, 2),
                f"{number_text(nis.low, 2)} and {number_text(nis.high, 2)}",
                f"{nis.count:,}",
                share_text(nis.gated_share),
            )
            for nis in card.nis
        ),
    )
