"""The tables that terminal and report share: headers with units, and rows of strings."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from posefuse.checks import FloatArray
from posefuse.fusion.estimate import Outcome
from posefuse.report.wording import (
    UNKNOWN,
    angle_text,
    bracketed,
    interval_text,
    is_at_shots,
    length_text,
    number_text,
    share_text,
)
from posefuse.scoring.scorecard import ErrorFigures, Scorecard, SpanScores
from posefuse.scoring.shot_hits import ShotHits
from posefuse.study.comparison import Comparison, PlanRow, Run
from posefuse.study.ranking import rank_plans
from posefuse.units import length_label

__all__ = [
    "HITS_HEADERS",
    "Table",
    "comparison_table",
    "counts_table",
    "course_rankings",
    "course_table",
    "further_table",
    "hits_texts",
    "outcome_table",
    "scorecard_table",
]

HITS_HEADERS = ("hits per 100", "hits: more than the best")
_OUTCOMES = {
    Outcome.FUSED: "fused",
    Outcome.GATED: "gated",
    Outcome.TOO_LATE: "too late",
    Outcome.NO_SOLUTION: "no solution",
    Outcome.AMBIGUOUS: "ambiguous",
    Outcome.OUTSIDE_RUN: "outside the run",
}


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
    unit = length_label(length_unit)
    has_hits = any(row.hits is not None for row in comparison.ranking)
    headers = (
        "plan",
        f"distance error RMS ({unit})",
        f"more than the best ({unit})",
        *(HITS_HEADERS if has_hits else ()),
        f"bound ({unit})",
        f"95 % below ({unit})",
        "pivot RMS (°)",
        f"blind {'shots' if is_at_shots(comparison) else 'time'} (%)",
        "NEES",
    )
    return Table(
        headers,
        tuple(
            (
                row.plan,
                interval_text(row.distance_rms_m, length_unit),
                _more_text(row, length_unit),
                *(hits_texts(row) if has_hits else ()),
                length_text(row.bound_rms_m, length_unit),
                length_text(row.distance_p95_m, length_unit),
                angle_text(row.pivot_rms_rad),
                share_text(row.blind_share),
                number_text(row.nees, 1),
            )
            for row in comparison.ranking
        ),
    )


def hits_texts(row: PlanRow) -> tuple[str, str]:
    """A plan's hits per 100 shots, and how many more than the best plan, with intervals."""
    hits = row.hits
    if hits is None:
        return UNKNOWN, UNKNOWN
    if hits.more_than_best is None:
        best = "best" if row.more_than_best_m is None else UNKNOWN
        return bracketed(hits.per_100, 1), best
    text = bracketed(hits.more_than_best, 1, is_signed=True)
    return bracketed(hits.per_100, 1), f"{text} tie" if hits.is_tie else text


def _more_text(row: PlanRow, length_unit: str) -> str:
    if row.more_than_best_m is None:
        return "best"
    text = interval_text(row.more_than_best_m, length_unit, is_signed=True)
    return f"{text} tie" if row.is_tie else text


def further_table(comparison: Comparison, *, length_unit: str = "cm") -> Table:
    """The other errors of each plan, in the order of the ranking."""
    headers = (
        "plan",
        f"distance bias ({length_label(length_unit)})",
        f"position RMS ({length_label(length_unit)})",
        "heading RMS (°)",
        "bearing to the goal RMS (°)",
    )
    return Table(
        headers,
        tuple(
            (
                row.plan,
                length_text(row.distance_bias_m, length_unit, is_signed=True),
                length_text(row.position_rms_m, length_unit),
                angle_text(row.heading_rms_rad),
                angle_text(row.bearing_rms_rad),
            )
            for row in comparison.ranking
        ),
    )


def course_rankings(comparison: Comparison) -> dict[str, tuple[PlanRow, ...]]:
    """The ranking on each course alone, by the course's name."""
    return {
        course.name: rank_plans(
            comparison.study,
            [run for run in comparison.runs if run.course == course.name],
            seed=comparison.seed,
        )
        for course in comparison.study.courses
    }


def course_table(
    comparison: Comparison,
    rankings: dict[str, tuple[PlanRow, ...]],
    *,
    length_unit: str = "cm",
) -> Table:
    """Each plan's distance RMS on each course; a star marks a course's best and its ties.

    Parameters
    ----------
    rankings
        From ``course_rankings``.
    """
    unit = length_label(length_unit)
    cells = {
        (row.plan, course): interval_text(row.distance_rms_m, length_unit)
        + (" ★" if row.is_tie or row.more_than_best_m is None else "")
        for course, rows in rankings.items()
        for row in rows
    }
    return Table(
        ("plan", *(f"{course} ({unit})" for course in rankings)),
        tuple(
            (row.plan, *(cells[row.plan, course] for course in rankings))
            for row in comparison.ranking
        ),
    )


def counts_table(comparison: Comparison) -> Table:
    """What became of each plan's measurements and frames, all trials of all courses together."""
    rows = []
    for row in comparison.ranking:
        runs = [run for run in comparison.runs if run.plan == row.plan]
        rows.append((row.plan, *_counts(runs)))
    headers = ("plan", *_OUTCOMES.values(), "frames lost on the way")
    return Table(headers, tuple(rows))


def _counts(runs: Sequence[Run]) -> tuple[str, ...]:
    cards = [card for run in runs for card in run.cards]
    totals = [sum(card.outcomes.get(o.name.lower(), 0) for card in cards) for o in _OUTCOMES]
    lost = sum(card.dropped_frame_count for card in cards)
    return (*count_texts(totals), f"{lost:,}")


def count_texts(totals: Sequence[int]) -> tuple[str, ...]:
    """Counts, each with its share of all of them."""
    whole = max(sum(totals), 1)
    return tuple(f"{n:,} ({share_text(n / whole)} %)" if n else "0" for n in totals)


def outcome_table(card: Scorecard) -> Table:
    """What became of the measurements and frames of one run."""
    totals = [card.outcomes.get(outcome.name.lower(), 0) for outcome in _OUTCOMES]
    lost = ("frames lost on the way", f"{card.dropped_frame_count:,}")
    return Table(
        ("measurements", "count"),
        (*zip(_OUTCOMES.values(), count_texts(totals), strict=True), lost),
    )


def scorecard_table(card: Scorecard, *, length_unit: str = "cm") -> Table:
    """One run's figures: a line for each, a column for the shots and one for the whole course."""
    spans = [("at the shots", card.at_shots), ("whole course", card.whole_course)]
    known = [(title, span) for title, span in spans if span is not None]
    lines = [_span_lines(span, length_unit) for _, span in known]
    if card.hits is not None:
        lines[0] |= _hits_lines(card.hits)
        lines[1] |= dict.fromkeys(_hits_lines(card.hits), UNKNOWN)
    return Table(
        ("figure", *(title for title, _ in known)),
        tuple(
            (name, *(figures[name] for figures in lines))
            for name in lines[0]
            if any(figures[name] != UNKNOWN for figures in lines)
        ),
    )


def _hits_lines(hits: ShotHits) -> dict[str, str]:
    """Expected hits in 100 of a run's shots."""

    def per_100(shares: FloatArray) -> str:
        known = shares[np.isfinite(shares)]
        return number_text(100.0 * float(known.mean()), 1) if known.size else UNKNOWN

    lines = {
        "hits per 100": per_100(hits.shares),
        "hits per 100 with a perfect estimate": per_100(hits.perfect_shares),
    }
    if hits.is_moving.any():
        moving = hits.is_moving
        lines |= {
            "hits per 100 on the move": per_100(hits.shares[moving]),
            "hits per 100 on the move, aimed as if at rest": per_100(hits.unled_shares[moving]),
            "hits per 100 stopping there instead": per_100(hits.stopped_shares[moving]),
        }
    return lines


def _span_lines(span: SpanScores, length_unit: str) -> dict[str, str]:
    unit = length_label(length_unit)

    def length(value_m: float | None, *, is_signed: bool = False) -> str:
        return (
            UNKNOWN if value_m is None else length_text(value_m, length_unit, is_signed=is_signed)
        )

    def angle(figures: ErrorFigures | None) -> str:
        return UNKNOWN if figures is None else angle_text(figures.rms)

    distance = span.distance_m
    rms_m, bias_m, p95_m = (
        (distance.rms, distance.bias, distance.p95) if distance else (None, None, None)
    )
    return {
        "instants scored": f"{span.scored_count:,} of {span.count:,}",
        f"distance error RMS ({unit})": length(rms_m),
        f"distance bias ({unit})": length(bias_m, is_signed=True),
        f"distance error, 95 % below ({unit})": length(p95_m),
        f"bound on the distance error RMS ({unit})": length(span.bound_distance_rms_m),
        "bearing to the goal RMS (°)": angle(span.bearing_rad),
        "pivot RMS (°)": angle(span.pivot_rad),
        f"position RMS ({unit})": length(span.position_rms_m),
        "heading RMS (°)": angle(span.heading_rad),
        "NEES": UNKNOWN
        if span.nees is None
        else f"{number_text(span.nees.mean, 1)} (honest: {span.nees.dof})",
        "nothing seen and used for 0.5 s (%)": share_text(span.no_tag_share),
    }
