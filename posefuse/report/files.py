"""Results as files for other programs, under the names of ``scoring.figures``.

They hold the scenario, seed and version that made them, and nothing that changes when the same
command is run again. Lengths are in metres, angles in radians; what is not known is ``null`` in
JSON and an empty cell in CSV.
"""

import csv
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from posefuse.files.table_file import write_table
from posefuse.scoring.figures import bound_names
from posefuse.scoring.score_rows import ScoreRow
from posefuse.scoring.scorecard import Scorecard
from posefuse.statistics.intervals import Interval
from posefuse.study.comparison import PlanRow
from posefuse.study.consistency import confidence_of
from posefuse.study.decision import Cost, Decision
from posefuse.study.findings import Findings
from posefuse.study.replay import Replay

__all__ = ["comparison_results", "write_comparison_results", "write_replay_results"]

_WITH_INTERVAL = (
    "distance_rms_m",
    "difference_to_best_m",
    "hits_per_100",
    "hits_difference_to_best_per_100",
    "nees_mean",
)


def write_comparison_results(findings: Findings, folder: Path) -> None:
    """Writes ``results.json`` and ``results.csv`` into a folder that exists."""
    results = comparison_results(findings)
    _write_json(folder / "results.json", results)
    head = {name: results[name] for name in ("study", "posefuse_version", "seed", "trials")}
    lines = [
        _flat({**head, "course": row.get("course", "all"), **row})
        for row in (*results["ranking"], *results["courses_ranking"])
    ]
    _write_csv(folder / "results.csv", tuple(lines[0]), [tuple(line.values()) for line in lines])


def comparison_results(findings: Findings) -> dict[str, Any]:
    """What a comparison found, as plain values."""
    comparison = findings.comparison
    study = comparison.study
    return {
        "posefuse_version": version("posefuse"),
        "study": study.name,
        "study_file": study.path.as_posix() if study.path is not None else None,
        "arena": study.arena.name,
        "goal": study.goal.name,
        "trials": comparison.trials,
        "seed": comparison.seed,
        "sightings": study.sightings.value,
        "plans": [
            {
                "name": plan.name,
                "rig": plan.rig.name,
                "cameras": sorted({mount.camera.name for mount in plan.rig.mounts}),
                "filter": plan.settings.name,
            }
            for plan in study.plans
        ],
        "courses": [
            {
                "name": course.name,
                "duration_s": _plain(course.path.end_s - course.path.start_s),
                "shots": len(course.shots),
            }
            for course in study.courses
        ],
        "decision": _decision(findings.decision),
        "ranking": [
            {"place": place, **_figures_of(row), **findings.counts_of(row.plan)}
            for place, row in enumerate(comparison.ranking, start=1)
        ],
        "courses_ranking": [
            {
                "course": course,
                "place": place,
                **_figures_of(row),
                **findings.counts[row.plan, course],
            }
            for course, rows in findings.course_rankings.items()
            for place, row in enumerate(rows, start=1)
        ],
        "warnings": list(comparison.warnings),
    }


def _decision(decision: Decision) -> dict[str, Any]:
    budget, retuning = decision.budget, decision.retuning
    return {
        "plan": decision.plan,
        "cameras": decision.cameras,
        "ties": list(decision.ties),
        "hits": decision.hits.value,
        "most_accurate": _cost(decision.most_accurate),
        "cheaper": _cost(decision.cheaper),
        "error_shares": {} if budget is None else {p.label: p.square_share for p in budget.parts},
        "filter": confidence_of(decision.nees).value,
        "nees_mean": _interval(decision.nees),
        "as_built_changes": {change.key: change.new_noise for change in decision.belief_changes},
        "retuning": None
        if retuning is None
        else {
            "noise": {change.key: change.new_noise for change in retuning.changes},
            "trials": retuning.trials,
            "nees_mean": _interval(retuning.nees_after),
            "distance_rms_m": _plain(retuning.distance_rms_after_m),
        },
    }


def _cost(cost: Cost | None) -> dict[str, Any] | None:
    if cost is None:
        return None
    lost = cost.lost_hits_per_100
    return {
        "plan": cost.plan,
        "cameras": cost.cameras,
        "distance_m": _interval(cost.distance_m),
        "lost_hits_per_100": None if lost is None else _interval(lost),
    }


def _figures_of(row: PlanRow) -> dict[str, Any]:
    return {
        "plan": row.plan,
        "is_tie": row.is_tie,
        "is_tie_in_hits": row.hits.is_tie if row.hits is not None else None,
        **{
            name: _interval(value) if isinstance(value, Interval) else _plain(value)
            for name, value in row.figures().items()
        },
    }


def _interval(interval: Interval) -> dict[str, float | None]:
    return {name: _plain(getattr(interval, name)) for name in ("value", "low", "high", "level")}


def _flat(row: Mapping[str, Any]) -> dict[str, Any]:
    """The same line with each interval in three columns."""
    flat: dict[str, Any] = {}
    for name, value in row.items():
        if name in _WITH_INTERVAL:
            interval = value or {}
            low, high = bound_names(name)
            flat |= {
                name: interval.get("value"),
                low: interval.get("low"),
                high: interval.get("high"),
            }
        else:
            flat[name] = int(value) if isinstance(value, bool) else value
    return flat


def write_replay_results(replay: Replay, folder: Path, *, source: Path) -> None:
    """Writes ``results.json``, ``scorecard.csv``, ``estimate.csv``.

    With shots also ``shots.csv``; where the filter estimates the build also ``build.csv``.

    Parameters
    ----------
    folder
        Exists already.
    source
        The recording's folder.
    """
    stored = replay.stored
    results = {
        "posefuse_version": version("posefuse"),
        "recording": stored.recording.name,
        "recording_folder": source.as_posix(),
        "recorded_on": stored.recorded_on,
        "rig": stored.rig.name,
        "arena": stored.arena.name,
        "goal": stored.goal,
        "filter": asdict(replay.settings),
        "figures": [
            {name: _plain(value) for name, value in row._asdict().items()} for row in replay.rows
        ],
    }
    _write_json(folder / "results.json", results)
    _write_csv(folder / "scorecard.csv", ScoreRow._fields, replay.rows)
    _write_estimate(replay, folder / "estimate.csv")
    if replay.build:
        _write_build(replay, folder / "build.csv")
    if replay.card.shots is not None:
        columns = _shot_columns(replay.card)
        _write_csv(folder / "shots.csv", tuple(columns), list(zip(*columns.values(), strict=True)))


def _write_build(replay: Replay, path: Path) -> None:
    """Constants of the build, estimated, in metres, radians, seconds, pixels or fractions."""
    header = ("owner", "error", "axis", "value", "std", "believed_std", "is_off")
    rows = [
        (
            one.constant.owner,
            one.constant.error.name,
            one.constant.axis,
            one.value,
            one.std,
            one.believed_std,
            int(one.is_off),
        )
        for one in replay.build
    ]
    _write_csv(path, header, rows)


def _write_estimate(replay: Replay, path: Path) -> None:
    """Pose and standard deviations at every odometry row."""
    estimate = replay.estimate
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


def _shot_columns(card: Scorecard) -> dict[str, Sequence[Any]]:
    """Every shot's figures; ``since_update_s`` is empty before the first update."""
    shots, since_update_s, hits = card.shots, card.shots_since_update_s, card.hits
    if shots is None or since_update_s is None:
        return {}
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
        "since_update_s": since_update_s.tolist(),
    }
    if hits is not None:
        columns["hit_probability"] = hits.shares.tolist()
        columns["perfect_hit_probability"] = hits.perfect_shares.tolist()
    return columns


def _write_json(path: Path, results: Mapping[str, Any]) -> None:
    text = json.dumps(results, indent=2, ensure_ascii=False, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


def _write_csv(path: Path, header: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """A table in which an empty cell is not known, or endless."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows([["" if _plain(v) is None else v for v in row] for row in rows])


def _plain(value: Any) -> Any:  # noqa: ANN401  (numbers and texts alike)
    """A value that JSON and CSV can hold: ``None`` for numbers that are not finite."""
    return None if isinstance(value, float) and not math.isfinite(value) else value
