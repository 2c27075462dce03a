"""A replayed recording as one self-contained page."""

from datetime import datetime
from pathlib import Path

from posefuse.report.glossary import CAUTION, HIT_WORDS, REPLAY_WORDS
from posefuse.report.page import command_text, write_page
from posefuse.report.run_pictures import court_picture, nis_picture, timeline_picture
from posefuse.report.tables import build_table, nis_table, outcome_table, scores_table
from posefuse.report.tolerance_pictures import run_tolerance_picture
from posefuse.report.wording import (
    figure_text,
    length_text,
    length_with_unit,
    number_text,
    share_text,
)
from posefuse.scoring.scorecard import SpanScores
from posefuse.statistics.intervals import Interval
from posefuse.study.replay import Replay

__all__ = ["build_sentence", "replay_finding", "run_verdict", "write_replay_report"]


def write_replay_report(
    replay: Replay,
    path: Path,
    *,
    source: Path | None = None,
    settings_file: Path | None = None,
    length_unit: str = "cm",
    made_at: datetime | None = None,
) -> None:
    """Writes the page: figures, the run from above and over time, the filter's consistency.

    Parameters
    ----------
    source, settings_file
        The recording's folder and the file of the settings, for the command that reproduces the
        page.
    length_unit
        Of errors: m, cm, mm or in. Places on the floor are in metres, or in inches when the errors
        are.
    made_at
        The date on the page; ``None``: now.
    """
    trial = replay.trial
    write_page(
        path,
        "replay.html",
        made_at=made_at,
        title=f"Replay: {trial.title}",
        asked=_asked(replay),
        command=_command(source, settings_file),
        finding=replay_finding(replay, length_unit),
        warnings=replay.warnings,
        figures=scores_table(replay, length_unit=length_unit),
        court=court_picture(trial, length_unit=length_unit),
        timeline=timeline_picture(trial, length_unit=length_unit),
        tolerance=run_tolerance_picture(replay, length_unit=length_unit),
        nis_table=nis_table(replay),
        nis=nis_picture(trial),
        build=build_table(replay) if replay.build else None,
        build_finding=build_sentence(replay),
        counts=outcome_table(replay),
        glossary=REPLAY_WORDS | (HIT_WORDS if replay.card.hits is not None else {}),
        caution=CAUTION,
    )


def _command(source: Path | None, settings_file: Path | None) -> str:
    if source is None:
        return ""
    settings = () if settings_file is None else ("--settings", str(settings_file))
    return command_text("posefuse", "replay", str(source), *settings)


def _asked(replay: Replay) -> str:
    stored, settings = replay.stored, replay.settings
    recording = stored.recording
    shots = 0 if recording.shots is None else len(recording.shots.goals)
    on = f", recorded on {stored.recorded_on}" if stored.recorded_on else ""
    return (
        f"Asked: how well does the filter “{settings.name}” (measurement: "
        f"{settings.measurement.value}) know where the robot “{stored.rig.name}” is in "
        f"“{stored.arena.name}”{on}, over {replay.trial.t_s[-1]:.1f} s with "
        f"{len(recording.frames.sensor):,} frames, {len(recording.sightings.frame):,} sightings "
        f"and {shots} shots."
    )


def replay_finding(replay: Replay, length_unit: str = "cm") -> str:
    """What one run shows, in one paragraph."""
    card = replay.card
    span = card.scored_span
    where = "at the shots" if card.at_shots is not None else "over the whole run"
    sentences = []
    if span.distance_m is not None:
        rms = length_with_unit(span.distance_m.rms, length_unit)
        p95 = length_with_unit(span.distance_m.p95, length_unit)
        sentences.append(
            f"The error of the distance to the goal {where} is {rms} RMS, and 95 of 100 errors are "
            f"below {p95}."
        )
        sentences.append(_interval_sentence(span.intervals["distance_rms_m"], where, length_unit))
    elif span.position_rms_m is not None:
        rms = length_with_unit(span.position_rms_m, length_unit)
        sentences.append(f"The error of the position {where} is {rms} RMS.")
        sentences.append(_interval_sentence(span.intervals["position_rms_m"], where, length_unit))
    else:
        sentences.append("The recording holds no true path, so no error is known.")
    unseen = share_text(card.whole_course.no_update_share)
    sentences.append(f"For {unseen} % of the run no sighting had been fused for half a second.")
    sentences += _hits_sentences(replay)
    if card.whole_course.nees is not None:
        sentences.append(run_verdict(card.whole_course))
    return " ".join(sentences)


def _interval_sentence(rms: Interval, where: str, length_unit: str) -> str:
    """What the interval of the RMS is an interval of."""
    if not rms.is_known:
        return f"The errors {where} are too few to say how sure that RMS is."
    low, high = length_text(rms.low, length_unit), length_with_unit(rms.high, length_unit)
    return (
        f"The RMS has the 95 % interval {low} to {high}: where it would lie in repeats of this run "
        "by the robot as it is built. Another build errs by other constants, of which one run "
        "knows nothing."
    )


def _hits_sentences(replay: Replay) -> list[str]:
    rows = [replay.row("shots", name) for name in ("hits_per_100", "perfect_hits_per_100")]
    texts = [figure_text(row.figure, row.value) for row in rows if row is not None]
    if len(texts) < len(rows):
        return []
    return [f"Of 100 such shots {texts[0]} go in; a perfect estimate would score {texts[1]}."]


def build_sentence(replay: Replay) -> str:
    """How much of the build is off; empty where the filter does not estimate it."""
    if not replay.build:
        return ""
    off, count = sum(one.is_off for one in replay.build), len(replay.build)
    if not off:
        return f"None of the {count} constants of the build is shown to be off."
    which = "is" if off == 1 else "are"
    return (
        f"{off} of the {count} constants of the build {which} shown to be off; the farthest, for "
        f"what was believed, is “{replay.build[0].constant.label}”."
    )


def run_verdict(span: SpanScores) -> str:
    """Whether the filter's own covariance can be believed, for a single run; empty if unknown."""
    nees = span.nees
    if nees is None:
        return ""
    times, mean = number_text(nees.error_ratio, 1), number_text(nees.mean, 1)
    share = number_text(100.0 * nees.inside_share, 0)
    interval = span.intervals["nees_mean"]
    within = (
        f", 95 % interval {number_text(interval.low, 1)} to {number_text(interval.high, 1)} over "
        "repeats of this run"
        if interval.is_known
        else ""
    )
    return (
        f"Errors are {times} times as large as the filter's own covariance states (NEES {mean}"
        f"{within}, expected {nees.dof}); {share} % of the instants lie where a consistent filter "
        "has 95 %."
    )
