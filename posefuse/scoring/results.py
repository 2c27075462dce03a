"""The results of one run as files for other programs. Lengths in metres, angles in radians."""

import csv
import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from posefuse.checks import FloatArray
from posefuse.files.table_file import write_table
from posefuse.fusion.estimate import Estimate
from posefuse.fusion.settings import FilterSettings
from posefuse.recording.folder import StoredRecording
from posefuse.scoring.instants import InstantErrors
from posefuse.scoring.scorecard import ErrorFigures, Scorecard, SpanScores
from posefuse.scoring.shot_hits import ShotHits
from posefuse.scoring.trajectory import TrajectoryScores
from posefuse.statistics.trial_means import rms_interval
from posefuse.statistics.wilson import wilson_interval

__all__ = ["ScoreRow", "score_rows", "write_run_results"]


class ScoreRow(NamedTuple):
    """One figure of a scorecard.

    Parameters
    ----------
    span
        ``shots``, ``course`` (every odometry row) or ``run``.
    figure
        What it is, with its unit.
    low, high
        Its 95 % interval; for NEES and NIS the region in which theory wants it.
    """

    span: str
    figure: str
    value: float
    low: float = math.nan
    high: float = math.nan


def score_rows(card: Scorecard, trajectory: TrajectoryScores | None = None) -> list[ScoreRow]:
    """Every figure of a scorecard that is known, in a fixed order.

    Intervals stand at the shots only, taken as independent: rows of the course are not.
    """
    rows = []
    if card.at_shots is not None:
        rows += list(_span_rows("shots", card.at_shots, _shot_intervals(card)))
        rows += list(_hit_rows(card.hits))
    rows += list(_span_rows("course", card.whole_course, {}))
    for nis in card.nis:
        rows.append(ScoreRow("run", f"nis_mean_dof_{nis.dof}", nis.mean, nis.low, nis.high))
        rows.append(ScoreRow("run", f"nis_count_dof_{nis.dof}", nis.count))
        rows.append(ScoreRow("run", f"gated_share_dof_{nis.dof}", nis.gated_share))
    rows += [ScoreRow("run", f"{name}_count", count) for name, count in card.outcomes.items()]
    rows.append(ScoreRow("run", "dropped_frame_count", card.dropped_frame_count))
    if trajectory is not None:
        rows += [
            ScoreRow("run", name, value)
            for name, value in asdict(trajectory).items()
            if value is not None
        ]
    return rows


def _hit_rows(hits: ShotHits | None) -> Iterator[ScoreRow]:
    """Expected hits in 100 shots, and in 100 of those on the move."""
    if hits is None or not np.isfinite(hits.shares).any():
        return
    moving = hits.is_moving
    spans = {
        "hits_per_100": hits.shares,
        "perfect_hits_per_100": hits.perfect_shares,
        "moving_led_hits_per_100": hits.shares[moving],
        "moving_unled_hits_per_100": hits.unled_shares[moving],
        "moving_stopped_hits_per_100": hits.stopped_shares[moving],
    }
    for name, shares in spans.items():
        if len(shares):
            yield ScoreRow("shots", name, 100.0 * float(np.nanmean(shares)))


def _shot_intervals(card: Scorecard) -> dict[str, tuple[float, float]]:
    """Intervals (low, high) of the figures at the shots, by name."""
    intervals = {}
    if card.shots is not None and card.at_shots is not None:
        errors = card.shots.distance_error_m
        known = errors[np.isfinite(errors)]
        if len(known):
            rms = rms_interval(known**2)
            intervals["distance_rms_m"] = (rms.low, rms.high)
        share = wilson_interval(card.at_shots.no_tag_count, card.at_shots.count)
        intervals["no_tag_share"] = (share.low, share.high)
    return intervals


def _span_rows(
    span: str, scores: SpanScores, intervals: dict[str, tuple[float, float]]
) -> Iterator[ScoreRow]:
    def row(figure: str, value: float) -> ScoreRow:
        return ScoreRow(span, figure, value, *intervals.get(figure, (math.nan, math.nan)))

    yield row("count", scores.count)
    yield row("scored_count", scores.scored_count)
    for name in ("distance_m", "bearing_rad", "pivot_rad", "heading_rad"):
        figures: ErrorFigures | None = getattr(scores, name)
        if figures is not None:
            stem, _, unit = name.rpartition("_")
            for kind, value in asdict(figures).items():
                yield row(f"{stem}_{kind}_{unit}", value)
    if scores.unreachable_count is not None:
        yield row("unreachable_count", scores.unreachable_count)
    if scores.position_rms_m is not None:
        yield row("position_rms_m", scores.position_rms_m)
    if scores.nees is not None:
        nees = scores.nees
        yield ScoreRow(span, f"nees_mean_dof_{nees.dof}", nees.mean, nees.low, nees.high)
        yield row("nees_inside_share", nees.inside_share)
    yield row("no_tag_share", scores.no_tag_share)
    if scores.bound_distance_rms_m is not None:
        yield row("bound_distance_rms_m", scores.bound_distance_rms_m)


def write_run_results(
    folder: Path,
    *,
    stored: StoredRecording,
    source: Path,
    settings: FilterSettings,
    estimate: Estimate,
    card: Scorecard,
    rows: Sequence[ScoreRow],
) -> None:
    """Writes ``results.json``, ``scorecard.csv``, ``estimate.csv`` and, with shots, ``shots.csv``.

    Parameters
    ----------
    folder
        Exists already.
    source
        The recording's folder.
    """
    results = {
        "posefuse_version": version("posefuse"),
        "recording": stored.recording.name,
        "recording_folder": source.as_posix(),
        "recorded_on": stored.recorded_on,
        "rig": stored.rig.name,
        "arena": stored.arena.name,
        "goal": stored.goal,
        "filter": asdict(settings),
        "figures": [{name: _plain(value) for name, value in row._asdict().items()} for row in rows],
    }
    text = json.dumps(results, indent=2, ensure_ascii=False, allow_nan=False)
    (folder / "results.json").write_text(text + "\n", encoding="utf-8", newline="\n")
    _write_csv(folder / "scorecard.csv", ScoreRow._fields, rows)
    _write_estimate(folder / "estimate.csv", estimate)
    if card.shots is not None and card.shots_since_tag_s is not None:
        _write_shots(folder / "shots.csv", card.shots, card.shots_since_tag_s, card.hits)


def _write_estimate(path: Path, estimate: Estimate) -> None:
    """Pose and standard deviations at every odometry row."""
    x, y, heading = estimate.poses.T
    stds = np.sqrt(np.diagonal(estimate.covs, axis1=1, axis2=2))
    write_table(
        path,
        {
            "t_s": estimate.stamps_s,
            "x_m": x,
            "y_m": y,
            "heading_rad": heading,
            "x_std_m": stds[:, 0],
            "y_std_m": stds[:, 1],
            "heading_std_rad": stds[:, 2],
        },
    )


def _write_shots(
    path: Path, shots: InstantErrors, since_tag_s: FloatArray, hits: ShotHits | None
) -> None:
    columns: dict[str, Sequence[Any]] = {
        "t_s": shots.stamps_s.tolist(),
        "goal": shots.goals,
        "true_distance_m": shots.true_distance_m.tolist(),
        "distance_error_m": shots.distance_error_m.tolist(),
        "bearing_error_rad": shots.bearing_error_rad.tolist(),
        "pivot_error_rad": shots.pivot_error_rad.tolist(),
        "heading_error_rad": shots.errors[:, 2].tolist(),
        "position_error_m": shots.position_error_m.tolist(),
        "nees": shots.nees.tolist(),
        "since_tag_s": since_tag_s.tolist(),
    }
    if hits is not None:
        columns["hit_probability"] = hits.shares.tolist()
        columns["perfect_hit_probability"] = hits.perfect_shares.tolist()
    _write_csv(path, tuple(columns), list(zip(*columns.values(), strict=True)))


def _write_csv(path: Path, header: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """A table in which an empty cell is not known, or endless."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows([["" if _plain(v) is None else v for v in row] for row in rows])


def _plain(value: Any) -> Any:  # noqa: ANN401  (numbers and texts alike)
    """A value that JSON and CSV can hold: ``None`` for numbers that are not finite."""
    return None if isinstance(value, float) and not math.isfinite(value) else value
