"""Tables that terminal and page share."""

import pytest

from posefuse.report.comparison_tables import (
    Table,
    comparison_table,
    counts_table,
    course_rankings,
    course_table,
    further_table,
    outcome_table,
    scorecard_table,
)
from posefuse.study.comparison import Comparison


def whole(table: Table) -> Table:
    assert all(len(row) == len(table.headers) for row in table.rows)
    return table


@pytest.mark.parametrize(("unit", "spelt"), [("cm", "cm"), ("in", "inch"), ("m", "m")])
def test_ranking_says_its_units(comparison: Comparison, unit: str, spelt: str) -> None:
    headers, rows = whole(comparison_table(comparison, length_unit=unit))
    assert f"distance error RMS ({spelt})" in headers
    assert [row[0] for row in rows] == [row.plan for row in comparison.ranking]
    assert rows[0][2] == "best"
    assert rows[0][headers.index("pivot RMS (°)")] == "–"


def test_hits_stand_in_the_ranking_where_they_are_known(
    comparison: Comparison, armed_comparison: Comparison
) -> None:
    plain, with_hits = comparison_table(comparison), whole(comparison_table(armed_comparison))
    assert not any("hits" in header for header in plain.headers)
    place = with_hits.headers.index("hits per 100")
    assert with_hits.headers[place + 1] == "hits: more than the best"
    best, other = armed_comparison.ranking
    assert with_hits.rows[0][place].startswith(f"{best.hits.per_100.value:.1f} [")
    assert with_hits.rows[0][place + 1] == "best"
    more = with_hits.rows[1][place + 1]
    assert more.endswith(" tie") == other.hits.is_tie
    assert "[" in more


def test_one_run_tells_its_hits(armed_comparison: Comparison) -> None:
    card = armed_comparison.runs[0].cards[0]
    figures = {row[0]: row[1:] for row in whole(scorecard_table(card)).rows}
    assert figures["hits per 100"] == (f"{100.0 * card.hits.shares.mean():.1f}", "–")
    assert "hits per 100 with a perfect estimate" in figures
    assert "hits per 100 on the move, aimed as if at rest" in figures


def test_a_star_marks_the_best_of_each_course(comparison: Comparison) -> None:
    rankings = course_rankings(comparison)
    table = whole(course_table(comparison, rankings))
    assert table.headers == ("plan", "half a round (cm)")
    assert table.rows[0][1].endswith("★")


def test_counts_add_up_to_all_measurements(comparison: Comparison) -> None:
    table = whole(counts_table(comparison))
    for row in table.rows:
        runs = [run for run in comparison.runs if run.plan == row[0]]
        measured = sum(sum(card.outcomes.values()) for run in runs for card in run.cards)
        told = sum(int(cell.split()[0].replace(",", "")) for cell in row[1:-1])
        assert told == measured > 0
    assert table.headers[-1] == "frames lost on the way"


def test_other_errors_follow_the_ranking(comparison: Comparison) -> None:
    table = whole(further_table(comparison))
    assert [row[0] for row in table.rows] == [row.plan for row in comparison.ranking]


def test_one_run_tells_what_is_known(comparison: Comparison) -> None:
    card = comparison.runs[0].cards[0]
    table = whole(scorecard_table(card, length_unit="mm"))
    figures = {row[0]: row[1:] for row in table.rows}
    assert table.headers == ("figure", "at the shots", "whole course")
    assert "distance error RMS (mm)" in figures
    assert "pivot RMS (°)" not in figures  # no shooter
    assert figures["instants scored"][0] == "3 of 3"
    assert whole(outcome_table(card)).rows[0][0] == "fused"
