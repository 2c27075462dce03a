"""What a comparison says about the shots."""

import re
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from posefuse.report.comparison import write_comparison_report
from posefuse.report.hits_section import (
    cost_sentence,
    hits_table,
    moving_sentence,
    moving_table,
    perfect_sentence,
    rivals_sentence,
    terminal_sentences,
)
from posefuse.report.replay import write_replay_report
from posefuse.report.tables import comparison_table
from posefuse.report.tolerance_pictures import run_tolerance_picture
from posefuse.robot.shooter import ShooterSpread
from posefuse.statistics.intervals import Interval
from posefuse.study.comparison import Comparison, MovingHits, PlanHits
from posefuse.study.findings import Findings
from posefuse.study.replay import Replay
from small_court import SHOOTER, armed

MADE_AT = datetime(2026, 3, 1, 12, 30)


def hits(per_100: float, more: tuple[float, float, float] | None = None, **changes) -> PlanHits:
    given = {
        "per_100": Interval(value=per_100, low=per_100 - 1.0, high=per_100 + 1.0),
        "difference_to_best": None
        if more is None
        else Interval(value=more[0], low=more[1], high=more[2]),
        "is_tie": more is not None and more[1] <= 0.0 <= more[2],
        "perfect_per_100": 95.0,
        "moving": None,
    }
    return PlanHits(**{**given, **changes})


def with_hits(comparison: Comparison, *of_plans: PlanHits | None) -> Comparison:
    rows = zip(comparison.ranking, of_plans, strict=True)
    return replace(comparison, ranking=tuple(replace(row, hits=each) for row, each in rows))


def test_the_estimates_costs_are_set_apart_from_the_shooters(comparison: Comparison) -> None:
    some = with_hits(comparison, hits(91.5), hits(85.5, (-6.0, -7.5, -4.5)))
    name = comparison.ranking[0].plan
    assert cost_sentence(some) == (
        f"With “{name}” 91.5 of 100 shots go in; a perfect estimate would score 95.0: its errors "
        "cost 3.5 shots in 100, the shooter's own spread 5.0."
    )
    other = comparison.ranking[1].plan
    assert rivals_sentence(some) == (
        f"The most go in with “{name}”; against it “{other}” costs 6.0 (4.5 to 7.5) shots in 100."
    )
    assert perfect_sentence(some).endswith("a perfect estimate would score 95.0 per 100.")


def test_ties_the_best_in_hits_and_one_trial(comparison: Comparison) -> None:
    tie = with_hits(comparison, hits(91.0), hits(90.0, (-1.0, -2.0, 0.5)))
    assert rivals_sentence(tie).startswith("In hits these trials cannot separate the plans")
    first, second = (row.plan for row in comparison.ranking)
    win = with_hits(comparison, hits(91.0, (-1.0, -2.0, -0.5)), hits(92.0))
    assert rivals_sentence(win) == (
        f"The most go in with “{second}”; against it “{first}” costs 1.0 (0.5 to 2.0) shots in 100."
    )
    lone = with_hits(comparison, hits(91.0), hits(90.0, (-1.0, np.nan, np.nan)))
    assert "costs 1.0 shots in 100" in rivals_sentence(lone)
    two = with_hits(comparison, hits(91.0), hits(90.0, (-1.0, -2.0, 0.5), perfect_per_100=99.0))
    assert "95.0 to 99.0 (by the plan) per 100" in perfect_sentence(two)


def test_without_hits_nothing_is_said(comparison: Comparison) -> None:
    assert cost_sentence(comparison) == ""
    assert rivals_sentence(comparison) == ""
    assert perfect_sentence(comparison) == ""
    assert terminal_sentences(comparison) == []
    assert moving_sentence(comparison) == ""
    assert moving_table(comparison) is None


def test_the_terminal_gives_costs_and_why_hits_are_missing(comparison: Comparison) -> None:
    some = with_hits(comparison, hits(91.5), hits(85.5, (-6.0, -7.5, -4.5)))
    assert terminal_sentences(some) == [perfect_sentence(some), rivals_sentence(some)]
    plain = replace(SHOOTER, projectile=None, spread=ShooterSpread())
    study = armed(comparison.study, plain, plain)
    (why,) = terminal_sentences(replace(comparison, study=study))
    assert why.startswith("No hits are given: [shooter] has no [shooter.projectile] (")
    assert "no spread such as exit_speed_std_m_per_s (every throw goes where it is aimed)." in why


@pytest.mark.parametrize(
    ("stopped", "words"),
    [(99.0, "stopping would win 9.0 shots in 100 of these."), (88.0, "would win nothing.")],
)
def test_moving_is_set_against_stopping(comparison: Comparison, stopped: float, words: str) -> None:
    moving = MovingHits(shot_count=4, led_per_100=90.0, unled_per_100=20.0, stopped_per_100=stopped)
    some = with_hits(comparison, hits(91.0, moving=moving), hits(90.0, (-1.0, -2.0, 0.5)))
    assert moving_sentence(some).startswith("4 shots a trial are taken on the move: ")
    assert moving_sentence(some).endswith(words)
    table = moving_table(some)
    assert table.rows == ((comparison.ranking[0].plan, "4", "90.0", "20.0", f"{stopped:.1f}"),)


def test_the_table_has_a_column_a_course(armed_findings: Findings) -> None:
    comparison = armed_findings.comparison
    table = hits_table(armed_findings)
    assert table.headers == (
        "plan",
        "hits per 100",
        "hits: difference to the best",
        "hits per 100 with a perfect estimate",
        "half a round",
    )
    for row, plan in zip(table.rows, comparison.ranking, strict=True):
        hits = plan.hits
        assert row[0] == plan.plan
        assert row[1].startswith(f"{hits.per_100.value:.1f} [")
        assert row[3] == f"{hits.perfect_per_100:.1f}"
        assert row[4] == f"{hits.per_100.value:.1f}"  # one course: that over all
    assert "hits per 100" not in comparison_table(comparison).without("hits per 100").headers


def test_the_page_shows_what_errors_mean_for_the_shots(
    armed_findings: Findings, tmp_path: Path
) -> None:
    write_comparison_report(armed_findings, tmp_path / "r.html", made_at=MADE_AT)
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    figures = re.findall(r'<figure id="(\w+)"', page)
    first = figures.index("tolerance")
    assert figures[first - 1 : first + 3] == ["rigs", "tolerance", "hit_map", "expected_error"]
    assert "What it means for the shots" in page
    assert "Better vision adds less than one hit in 100 once" in page
    assert len(re.findall(r" cm at \d\.\d\d m[,:]", page)) == 3
    assert "taken on the move" in page
    assert "errors of the build included" in " ".join(page.split())
    assert "<dt>Hits per 100</dt>" in page
    assert page.count("the supervising adult decide") == 1
    assert "nan" not in page.lower().split()


def test_a_replay_shows_hits_and_how_large_errors_may_be(
    armed_replay: Replay, tmp_path: Path
) -> None:
    write_replay_report(armed_replay, tmp_path / "r.html", made_at=MADE_AT)
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    hits = armed_replay.card.hits
    assert f"Of 100 such shots {100.0 * hits.shares.mean():.1f} go in" in page
    assert f"estimate would score {100.0 * hits.perfect_shares.mean():.1f}." in page
    assert '<figure id="tolerance"' in page


def test_the_most_exacting_place_is_named_beside_the_largest_error(armed_replay: Replay) -> None:
    room, spreads = armed_replay.room, armed_replay.spreads
    place = int(np.argmin(room.places_enough_m))
    picture = run_tolerance_picture(armed_replay)
    assert (
        f"The most exacting place, {room.places_m[place]:.2f} m away: "
        f"{100.0 * room.places_enough_m[place]:.1f} cm (1 sigma) cost one hit in 100; 95 of 100 "
        f"errors are below {100.0 * spreads.largest_distance_error_m:.2f} cm everywhere"
    ) in picture.alt
    nowhere = replace(room, places_enough_m=np.zeros(3))
    lost = run_tolerance_picture(replace(armed_replay, room=nowhere))
    assert "From none of the places does the shooter score; 95 of 100" in lost.alt
    assert run_tolerance_picture(replace(armed_replay, room=None)) is None
