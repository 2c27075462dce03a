"""The tables that terminal and report share: headers with units, and rows of texts."""

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from posefuse.report.wording import (
    UNKNOWN,
    figure_header,
    figure_text,
    interval_text,
    length_text,
    number_text,
    share_text,
)
from posefuse.scoring.figures import OUTCOME_COUNTS
from posefuse.scoring.score_rows import ScoreRow
from posefuse.statistics.intervals import Interval
from posefuse.study.comparison import Comparison, PlanRow
from posefuse.study.findings import Findings
from posefuse.study.replay import Replay
from posefuse.units import length_label

__all__ = [
    "Table",
    "build_table",
    "comparison_table",
    "counts_table",
    "course_table",
    "further_table",
    "nis_table",
    "outcome_table",
    "plan_texts",
    "scores_table",
    "way_table",
]

_RANKED = (
    "distance_rms_m",
    "distance_forecast_rms_m",
    "difference_to_best_m",
    "best_probability",
    "hits_per_100",
    "hits_difference_to_best_per_100",
    "distance_attainable_rms_m",
    "distance_p95_m",
    "pivot_rms_rad",
    "no_update_share",
    "nees_mean",
)
_BARE = ("nees_mean",)
"""Shown without the interval in the ranking, which is wide enough: it stands in the other table."""
_FURTHER = (
    "distance_bias_m",
    "distance_bound_rms_m",
    "position_rms_m",
    "heading_rms_rad",
    "bearing_rms_rad",
    "nees_mean",
)
_MOST_CONSTANTS = 12
_COUNTED = (*OUTCOME_COUNTS, "dropped_frame_count")
_SCORED = (
    "distance_rms_m",
    "distance_bias_m",
    "distance_p95_m",
    "distance_bound_rms_m",
    "bearing_rms_rad",
    "pivot_rms_rad",
    "position_rms_m",
    "heading_rms_rad",
    "nees_mean",
    "no_update_share",
    "hits_per_100",
    "perfect_hits_per_100",
    "moving_led_hits_per_100",
    "moving_unled_hits_per_100",
    "moving_stopped_hits_per_100",
)
_SPANS = {"shots": "at the shots", "course": "whole course"}


class Table(NamedTuple):
    """Headers and rows of one length; the first column holds names, the others figures."""

    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def without(self, header: str) -> "Table":
        """The table without one of its columns."""
        kept = [place for place, name in enumerate(self.headers) if name != header]
        return Table(
            tuple(self.headers[place] for place in kept),
            tuple(tuple(row[place] for place in kept) for row in self.rows),
        )


def comparison_table(comparison: Comparison, *, length_unit: str = "cm") -> Table:
    """The ranking, best plan first, with 95 % intervals in square brackets."""
    has_hits = comparison.best_with_hits is not None
    names = [name for name in _RANKED if has_hits or not name.startswith("hits")]
    return _plan_table(comparison.ranking, names, length_unit, bare=_BARE)


def further_table(comparison: Comparison, *, length_unit: str = "cm") -> Table:
    """The other errors of each plan and its NEES, in the order of the ranking."""
    return _plan_table(comparison.ranking, _FURTHER, length_unit)


def _plan_table(
    ranking: Sequence[PlanRow], names: Sequence[str], length_unit: str, *, bare: Sequence[str] = ()
) -> Table:
    return Table(
        ("plan", *(figure_header(name, length_unit) for name in names)),
        tuple((row.plan, *plan_texts(row, names, length_unit, bare=bare)) for row in ranking),
    )


def plan_texts(
    row: PlanRow, names: Sequence[str], length_unit: str = "cm", *, bare: Sequence[str] = ()
) -> tuple[str, ...]:
    """Figures of a plan by their names; a difference says whether it is a tie.

    Parameters
    ----------
    bare
        Those to be shown without their intervals.
    """
    figures = row.figures()
    for name in bare:
        value = figures[name]
        figures[name] = value.value if isinstance(value, Interval) else value
    texts = {name: figure_text(name, figures[name], length_unit) for name in names}
    hits = row.hits
    for name, is_known, is_tie in (
        ("difference_to_best_m", True, row.is_tie),
        ("hits_difference_to_best_per_100", hits is not None, hits and hits.is_tie),
    ):
        if name in texts and is_known and figures[name] is None:
            texts[name] = "best"
        elif name in texts and is_tie:
            texts[name] += " tie"
    return tuple(texts.values())


def course_table(findings: Findings, *, length_unit: str = "cm") -> Table:
    """Each plan's distance RMS on each course; a star marks a course's best and its ties."""
    unit, rankings = length_label(length_unit), findings.course_rankings
    cells = {
        (row.plan, course): interval_text(row.distance_rms_m, length_unit)
        + (" ★" if row.is_tie or row.difference_to_best_m is None else "")
        for course, rows in rankings.items()
        for row in rows
    }
    return Table(
        ("plan", *(f"{course} ({unit})" for course in rankings)),
        tuple(
            (row.plan, *(cells[row.plan, course] for course in rankings))
            for row in findings.comparison.ranking
        ),
    )


def way_table(findings: Findings, *, length_unit: str = "cm") -> Table | None:
    """Each plan's distance RMS at the shots beside that all the way; ``None`` without shots."""
    comparison, unit = findings.comparison, length_label(length_unit)
    if not comparison.is_at_shots:
        return None
    courses = tuple(findings.course_rankings)
    return Table(
        (
            "plan",
            f"at the shots ({unit})",
            f"all the way ({unit})",
            *(f"{course}, all the way ({unit})" for course in courses),
        ),
        tuple(
            (
                row.plan,
                length_text(row.distance_rms_m.value, length_unit),
                length_text(findings.whole_rms_m[row.plan], length_unit),
                *(
                    length_text(findings.whole_course_rms_m[row.plan, course], length_unit)
                    for course in courses
                ),
            )
            for row in comparison.ranking
        ),
    )


def counts_table(findings: Findings) -> Table:
    """What became of each plan's measurements and frames, all trials of all courses together."""
    return Table(
        ("plan", *(figure_header(name) for name in _COUNTED)),
        tuple(
            (row.plan, *_count_texts(findings.counts_of(row.plan)))
            for row in findings.comparison.ranking
        ),
    )


def _count_texts(counts: Mapping[str, float]) -> tuple[str, ...]:
    """Counts, those of measurements each with its share of all of them."""
    whole = max(sum(counts[name] for name in OUTCOME_COUNTS), 1)
    texts = {name: figure_text(name, counts[name]) for name in _COUNTED}
    for name in OUTCOME_COUNTS:
        if counts[name]:
            texts[name] += f" ({share_text(counts[name] / whole)} %)"
    return tuple(texts.values())


def outcome_table(replay: Replay) -> Table:
    """What became of the measurements and frames of one run."""
    counts = {row.figure: row.value for row in replay.rows if row.figure in _COUNTED}
    headers = (figure_header(name) for name in _COUNTED)
    return Table(
        ("measurements and frames", "count"),
        tuple(zip(headers, _count_texts(counts), strict=True)),
    )


def build_table(replay: Replay) -> Table:
    """How the robot and its tags were built, as far as the run has shown: what is off, at most."""
    rows = []
    for one in replay.build[:_MOST_CONSTANTS]:
        unit = one.constant.error.unit
        scale, symbol = unit.per_code_unit, f" ({unit.symbol})" if unit.symbol else ""
        digits = 1 - math.floor(math.log10(scale * one.std)) if one.std > 0.0 else 2
        texts = (
            number_text(scale * one.value, max(digits, 0), is_signed=True),
            number_text(scale * one.std, max(digits, 0)),
            f"{scale * one.believed_std:.2g}",
            "off" if one.is_off else "as stated",
        )
        rows.append((one.constant.label + symbol, *texts))
    headers = ("constant of the build", "estimate", "its spread (±)", "believed (±)", "verdict")
    return Table(headers, tuple(rows))


def scores_table(replay: Replay, *, length_unit: str = "cm") -> Table:
    """One run's figures: a line for each, a column for the shots and one for the whole course."""
    rows = {(row.span, row.figure): row for row in replay.rows}
    spans = [span for span in _SPANS if (span, "instant_count") in rows]
    lines = [("instants scored", *(_scored_text(rows, span) for span in spans))]
    for name in _SCORED:
        known = [rows.get((span, name)) for span in spans]
        if any(row is not None for row in known):
            texts = [_row_text(row, length_unit) for row in known]
            dof = next((row.dof for row in known if row is not None), None)
            expected = f", expected {dof}" if dof is not None else ""
            lines.append((figure_header(name, length_unit) + expected, *texts))
    return Table(("figure", *(_SPANS[span] for span in spans)), tuple(lines))


def _scored_text(rows: Mapping[tuple[str, str], ScoreRow], span: str) -> str:
    scored, whole = (rows[span, name].value for name in ("scored_count", "instant_count"))
    return f"{scored:,} of {whole:,}"


def _row_text(row: ScoreRow | None, length_unit: str) -> str:
    if row is None:
        return UNKNOWN
    value = row.interval if row.interval.is_known else row.value
    return figure_text(row.figure, value, length_unit)


def nis_table(replay: Replay) -> Table:
    """The innovations of each kind of measurement, beside what a consistent filter has."""
    return Table(
        (
            "measurement",
            "NIS",
            "expected",
            *map(figure_header, ("nis_count", "gated_share")),
        ),
        tuple(
            (
                f"{nis.dof} number{'s' * (nis.dof > 1)}",
                figure_text("nis_mean", nis.mean if nis.interval is None else nis.interval),
                f"{nis.dof}",
                figure_text("nis_count", nis.count),
                figure_text("gated_share", nis.gated_share),
            )
            for nis in replay.card.nis
        ),
    )
