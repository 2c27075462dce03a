"""Results as files for other programs: ``results.json`` and ``results.csv``.

Both hold the scenario, seed and version that made them, and nothing that changes when the same
comparison is made again. Lengths are in metres, angles in radians.
"""

import csv
import json
import math
from importlib.metadata import version
from pathlib import Path
from typing import Any

from posefuse.fusion.estimate import Outcome
from posefuse.report.comparison_tables import course_rankings
from posefuse.statistics.intervals import Interval
from posefuse.study.comparison import Comparison, PlanHits, PlanRow, Run

__all__ = ["results_of", "write_results"]

_FIGURES = (
    "distance_bias_m",
    "distance_p95_m",
    "bound_rms_m",
    "bearing_rms_rad",
    "pivot_rms_rad",
    "heading_rms_rad",
    "position_rms_m",
    "blind_share",
    "nees",
)


_INTERVALS = {
    "distance_rms_m": ("distance_rms", "_m"),
    "more_than_best_m": ("more_than_best", "_m"),
    "hits_per_100": ("hits", "_per_100"),
    "more_hits_than_best_per_100": ("more_hits_than_best", "_per_100"),
}
"""Name and unit of the figures that have an interval."""


def write_results(comparison: Comparison, folder: Path) -> None:
    """Writes ``results.json`` and ``results.csv`` into a folder that exists."""
    results = results_of(comparison)
    text = json.dumps(results, indent=2, ensure_ascii=False, allow_nan=False)
    (folder / "results.json").write_text(text + "\n", encoding="utf-8")
    _write_csv(results, folder / "results.csv")


def results_of(comparison: Comparison) -> dict[str, Any]:
    """Everything a comparison found, as plain values; what is not known is ``None``."""
    study = comparison.study
    by_course = course_rankings(comparison)
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
            {"name": plan.name, "rig": plan.rig.name, "filter": plan.settings.name}
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
        "ranking": [
            {"place": place, **_figures_of(row), **_counts_of(_runs(comparison, row.plan))}
            for place, row in enumerate(comparison.ranking, start=1)
        ],
        "courses_ranking": [
            {
                "course": course,
                "place": place,
                **_figures_of(row),
                **_counts_of([comparison.run(row.plan, course)]),
            }
            for course, rows in by_course.items()
            for place, row in enumerate(rows, start=1)
        ],
        "warnings": list(comparison.warnings),
    }


def _runs(comparison: Comparison, plan: str) -> list[Run]:
    return [run for run in comparison.runs if run.plan == plan]


def _figures_of(row: PlanRow) -> dict[str, Any]:
    return {
        "plan": row.plan,
        "distance_rms_m": _interval_of(row.distance_rms_m),
        "more_than_best_m": _interval_of(row.more_than_best_m),
        "is_tie": row.is_tie,
        **{name: _plain(getattr(row, name)) for name in _FIGURES},
        **_hits_of(row.hits),
    }


def _hits_of(hits: PlanHits | None) -> dict[str, Any]:
    """Hits in 100 shots; each ``None`` where it is not known."""
    moving = hits.moving if hits is not None else None
    return {
        "hits_per_100": _interval_of(hits.per_100 if hits is not None else None),
        "more_hits_than_best_per_100": _interval_of(hits.more_than_best if hits else None),
        "is_tie_in_hits": hits.is_tie if hits is not None else None,
        "perfect_hits_per_100": _plain(hits.perfect_per_100) if hits is not None else None,
        "moving_shots_count": moving.shot_count if moving is not None else None,
        "moving_led_hits_per_100": _plain(moving.led_per_100) if moving is not None else None,
        "moving_unled_hits_per_100": _plain(moving.unled_per_100) if moving is not None else None,
        "moving_stopped_hits_per_100": (
            _plain(moving.stopped_per_100) if moving is not None else None
        ),
    }


def _interval_of(interval: Interval | None) -> dict[str, float | None] | None:
    if interval is None:
        return None
    return {name: _plain(getattr(interval, name)) for name in ("value", "low", "high", "level")}


def _counts_of(runs: list[Run]) -> dict[str, int]:
    cards = [card for run in runs for card in run.cards]
    counts = {
        f"{outcome.name.lower()}_count": sum(
            card.outcomes.get(outcome.name.lower(), 0) for card in cards
        )
        for outcome in Outcome
    }
    return {**counts, "dropped_frame_count": sum(card.dropped_frame_count for card in cards)}


def _plain(value: float) -> float | None:
    """A float that JSON can hold: infinite and unknown numbers have no spelling there."""
    return float(value) if math.isfinite(value) else None


def _write_csv(results: dict[str, Any], path: Path) -> None:
    """One line for each plan over all courses, then one for each plan on each course."""
    head = {
        "study": results["study"],
        "posefuse_version": results["posefuse_version"],
        "seed": results["seed"],
        "trials": results["trials"],
    }
    lines = [
        _flat({**head, "course": row.get("course", "all"), **row})
        for row in (*results["ranking"], *results["courses_ranking"])
    ]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, lines[0], lineterminator="\n", restval="")
        writer.writeheader()
        writer.writerows(lines)


def _flat(row: dict[str, Any]) -> dict[str, Any]:
    """The same line with each interval in three columns; an empty cell is not known."""
    flat: dict[str, Any] = {}
    for name, value in row.items():
        if name in _INTERVALS:
            stem, unit = _INTERVALS[name]
            interval = value or {}
            flat[name] = interval.get("value")
            flat[f"{stem}_low{unit}"] = interval.get("low")
            flat[f"{stem}_high{unit}"] = interval.get("high")
        else:
            flat[name] = int(value) if isinstance(value, bool) else value
    return {name: "" if value is None else value for name, value in flat.items()}
