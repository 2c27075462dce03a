"""Tables that terminal and page share."""

import math
from dataclasses import replace

import pytest

from posefuse.build_errors.catalogue import build_error
from posefuse.build_errors.constants import Constant
from posefuse.report.replay import build_sentence
from posefuse.report.tables import (
    Table,
    build_table,
    comparison_table,
    counts_table,
    course_table,
    further_table,
    nis_table,
    outcome_table,
    scores_table,
    way_table,
)
from posefuse.scoring.scorecard import SpanScores
from posefuse.statistics.intervals import Interval
from posefuse.study.build_findings import BuildFinding
from posefuse.study.comparison import Comparison
from posefuse.study.findings import Findings
from posefuse.study.replay import Replay, replay
from small_court import small_study, stored_drive


def test_what_is_said_of_the_build() -> None:
    """Radians become degrees, metres millimetres; as many digits as the spread is worth."""
    replayed = replay(stored_drive(small_study(), goal=None))
    assert replayed.build == ()
    assert build_sentence(replayed) == ""
    tilt = BuildFinding(
        constant=Constant(error=build_error("mount_angle_rad"), owner="front", axis="tilt"),
        value=math.radians(0.8),
        std=math.radians(0.052),
        believed_std=math.radians(0.5),
        is_off=True,
    )
    place = BuildFinding(
        constant=Constant(error=build_error("tag_position_m"), owner="tag 3", axis="x"),
        value=-0.0021,
        std=0.0034,
        believed_std=0.005,
        is_off=False,
    )
    told = replace(replayed, build=(tilt, place))
    assert whole(build_table(told)).rows == (
        ("front: mount angle, tilt (°)", "+0.800", "0.052", "0.5", "off"),
        ("tag 3: tag position, x (mm)", "−2.1", "3.4", "5", "as stated"),
    )
    assert build_sentence(told) == (
        "1 of the 2 constants of the build is shown to be off; the farthest, for what was "
        "believed, is “front: mount angle, tilt”."
    )
    exact = replace(told, build=(place, place))
    assert build_sentence(exact) == "None of the 2 constants of the build is shown to be off."


def whole(table: Table) -> Table:
    assert all(len(row) == len(table.headers) for row in table.rows)
    return table


@pytest.mark.parametrize(("unit", "spelt"), [("cm", "cm"), ("in", "inch"), ("m", "m")])
def test_ranking_says_its_units(comparison: Comparison, unit: str, spelt: str) -> None:
    headers, rows = whole(comparison_table(comparison, length_unit=unit))
    assert f"distance error RMS ({spelt})" in headers
    assert [row[0] for row in rows] == [row.plan for row in comparison.ranking]
    assert rows[0][headers.index(f"difference to the best ({spelt})")] == "best"
    assert rows[0][headers.index(f"forecast ({spelt})")] != "–"
    assert rows[0][headers.index("pivot error RMS (°)")] == "–"


def test_every_cell_of_the_ranking_is_its_figure(armed_comparison: Comparison) -> None:
    """Figures by hand, each unlike the others."""
    best, other = armed_comparison.ranking
    made = replace(
        other,
        distance_rms_m=Interval(value=0.0111, low=0.0101, high=0.0121),
        difference_to_best_m=Interval(value=0.002, low=-0.001, high=0.005),
        is_tie=True,
        best_probability=0.123,
        distance_forecast_rms_m=0.0122,
        distance_attainable_rms_m=0.0033,
        distance_p95_m=0.0444,
        pivot_rms_rad=math.radians(0.55),
        no_update_share=0.066,
        nees_mean=Interval(value=7.77, low=5.55, high=9.99),
    )
    hits = replace(
        other.hits,
        per_100=Interval(value=88.8, low=87.8, high=89.8),
        difference_to_best=Interval(value=-9.9, low=-11.0, high=-8.0),
        is_tie=False,
    )
    ranking = (best, replace(made, hits=hits))
    table = whole(comparison_table(replace(armed_comparison, ranking=ranking)))
    assert dict(zip(table.headers, table.rows[1], strict=True)) == {
        "plan": other.plan,
        "distance error RMS (cm)": "1.11 [1.01, 1.21]",
        "forecast (cm)": "1.22",
        "difference to the best (cm)": "+0.20 [−0.10, 0.50] tie",
        "probability of being the best": "0.12",
        "hits per 100": "88.8 [87.8, 89.8]",
        "hits: difference to the best": "−9.9 [−11.0, −8.0]",
        "attainable (cm)": "0.33",
        "distance error 95th percentile (cm)": "4.44",
        "pivot error RMS (°)": "0.55",
        "no recent update (%)": "6.6",
        "NEES": "7.8",
    }
    without = replace(armed_comparison, ranking=(best, replace(made, hits=None)))
    cells = dict(zip(table.headers, whole(comparison_table(without)).rows[1], strict=True))
    assert cells["hits per 100"] == cells["hits: difference to the best"] == "–"
    unlike = replace(armed_comparison, ranking=(replace(best, hits=None), ranking[1]))
    cells = dict(zip(table.headers, whole(comparison_table(unlike)).rows[0], strict=True))
    assert cells["difference to the best (cm)"] == "best"
    assert cells["hits: difference to the best"] == "–"


def test_hits_stand_in_the_ranking_where_they_are_known(
    comparison: Comparison, armed_comparison: Comparison
) -> None:
    plain, with_hits = comparison_table(comparison), whole(comparison_table(armed_comparison))
    assert not any("hits" in header for header in plain.headers)
    place = with_hits.headers.index("hits per 100")
    assert with_hits.headers[place + 1] == "hits: difference to the best"
    best, other = armed_comparison.ranking
    assert with_hits.rows[0][place].startswith(f"{best.hits.per_100.value:.1f} [")
    assert with_hits.rows[0][place + 1] == "best"
    more = with_hits.rows[1][place + 1]
    assert more.endswith(" tie") == other.hits.is_tie
    assert "[" in more


def test_one_run_has_its_hits(armed_replay: Replay) -> None:
    hits = armed_replay.card.hits
    figures = {row[0]: row[1:] for row in whole(scores_table(armed_replay)).rows}
    assert figures["hits per 100"] == (f"{100.0 * hits.shares.mean():.1f}", "–")
    perfect = figures["hits per 100 with a perfect estimate"]
    assert perfect == (f"{100.0 * hits.perfect_shares.mean():.1f}", "–")
    moving = hits.is_moving
    for header, shares in (
        ("hits per 100 on the move", hits.shares),
        ("hits per 100 on the move, aimed as if at rest", hits.unled_shares),
        ("hits per 100 from a standstill instead", hits.stopped_shares),
    ):
        assert figures[header][0] == f"{100.0 * shares[moving].mean():.1f}"


def test_a_star_marks_the_best_of_each_course(findings: Findings) -> None:
    table = whole(course_table(findings))
    assert table.headers == ("plan", "half a round (cm)")
    assert table.rows[0][1].endswith("★")
    far = replace(findings.comparison.ranking[1], is_tie=False)
    best = findings.comparison.ranking[0]
    worse = replace(findings, course_rankings={"half a round": (best, far)})
    assert not course_table(worse).rows[1][1].endswith("★")


def test_the_error_all_the_way_stands_beside_that_at_the_shots(findings: Findings) -> None:
    best = replace(
        findings.comparison.ranking[0],
        distance_rms_m=Interval(value=0.0111, low=0.01, high=0.012),
    )
    made = replace(
        findings,
        comparison=replace(findings.comparison, ranking=(best,)),
        whole_rms_m={best.plan: 0.0222},
        whole_course_rms_m={(best.plan, "half a round"): 0.0333},
    )
    table = whole(way_table(made))
    assert dict(zip(table.headers, table.rows[0], strict=True)) == {
        "plan": best.plan,
        "at the shots (cm)": "1.11",
        "all the way (cm)": "2.22",
        "half a round, all the way (cm)": "3.33",
    }
    trials = tuple(
        replace(of, cards=tuple(replace(card, shots=None) for card in of.cards))
        for of in findings.comparison.plan_trials
    )
    without = replace(findings, comparison=replace(findings.comparison, plan_trials=trials))
    assert way_table(without) is None


def test_counts_add_up_to_all_measurements(findings: Findings) -> None:
    table = whole(counts_table(findings))
    for row in table.rows:
        of_plan = [t for t in findings.comparison.plan_trials if t.plan == row[0]]
        cards = [card for trials in of_plan for card in trials.cards]
        measured = sum(sum(card.outcomes.values()) for card in cards)
        counted = sum(int(cell.split()[0].replace(",", "")) for cell in row[1:-1])
        assert counted == measured > 0
        assert row[-1] == f"{sum(card.dropped_frame_count for card in cards):,}"
    assert table.headers[1] == "fused"
    assert table.headers[-1] == "frames lost"


def test_counts_have_their_share_of_all_measurements(findings: Findings) -> None:
    plan = findings.comparison.ranking[0].plan
    counts = dict.fromkeys(findings.counts_of(plan), 0)
    counts |= {"fused_count": 1500, "gated_count": 500, "dropped_frame_count": 40}
    made = replace(
        findings,
        comparison=replace(findings.comparison, ranking=findings.comparison.ranking[:1]),
        counts={(plan, "half a round"): counts},
    )
    table = counts_table(made)
    cells = dict(zip(table.headers, table.rows[0], strict=True))
    assert cells["fused"] == "1,500 (75.0 %)"
    assert cells["gated"] == "500 (25.0 %)"
    assert cells["too late"] == "0"
    assert cells["frames lost"] == "40"


def test_other_errors_follow_the_ranking(comparison: Comparison) -> None:
    table = whole(further_table(comparison))
    assert [row[0] for row in table.rows] == [row.plan for row in comparison.ranking]
    best = replace(
        comparison.ranking[0],
        distance_bias_m=-0.0123,
        distance_bound_rms_m=0.0008,
        position_rms_m=0.0345,
        heading_rms_rad=math.radians(0.67),
        bearing_rms_rad=math.radians(0.89),
        nees_mean=Interval(value=7.77, low=5.55, high=9.99),
    )
    table = further_table(replace(comparison, ranking=(best,)))
    assert dict(zip(table.headers, table.rows[0], strict=True)) == {
        "plan": best.plan,
        "distance error bias (cm)": "−1.23",
        "white-noise bound (cm)": "0.08",
        "position error RMS (cm)": "3.45",
        "heading error RMS (°)": "0.67",
        "bearing error RMS (°)": "0.89",
        "NEES": "7.8 [5.5, 10.0]",
    }


def test_one_run_has_a_line_for_each_figure_that_is_known() -> None:
    study = small_study()
    played = replay(stored_drive(study, goal=study.goal.name))
    table = whole(scores_table(played, length_unit="mm"))
    figures = {row[0]: row[1:] for row in table.rows}
    assert table.headers == ("figure", "at the shots", "whole course")
    card = played.card
    shots, course = card.at_shots, card.whole_course
    rows = len(played.estimate.stamps_s)
    assert figures == {
        "instants scored": ("3 of 3", f"{rows} of {rows}"),
        **{
            header: (text(shots), text(course))
            for header, text in {
                "distance error RMS (mm)": lambda s: within(s, "distance_rms_m", 1000.0, 1),
                "distance error bias (mm)": lambda s: signed(1000.0 * s.distance_m.bias),
                "distance error 95th percentile (mm)": lambda s: f"{1000.0 * s.distance_m.p95:.1f}",
                "bearing error RMS (°)": lambda s: within(s, "bearing_rms_rad", DEGREES, 2),
                "position error RMS (mm)": lambda s: within(s, "position_rms_m", 1000.0, 1),
                "heading error RMS (°)": lambda s: within(s, "heading_rms_rad", DEGREES, 2),
                "NEES, expected 3": lambda s: within(s, "nees_mean", 1.0, 1),
                "no recent update (%)": lambda s: within(s, "no_update_share", 100.0, 1),
            }.items()
        },
    }  # no pivot without a shooter, no bound of a recording
    assert "[" in figures["distance error RMS (mm)"][1]  # three shots have no interval
    assert f"{1000.0 * shots.distance_m.rms:.1f}" == figures["distance error RMS (mm)"][0]
    bare = replay(stored_drive(study, goal=None, truth=None, shots=None))
    assert whole(scores_table(bare)).rows == (
        ("instants scored", f"0 of {rows}"),
        ("no recent update (%)", within(bare.card.whole_course, "no_update_share", 100.0, 1)),
    )


DEGREES = math.degrees(1.0)


def within(span: SpanScores, name: str, scale: float, digits: int) -> str:
    """A figure with its interval, where there are instants enough for one."""
    interval = span.intervals[name]
    value, low, high = (
        f"{scale * end:.{digits}f}" for end in (interval.value, interval.low, interval.high)
    )
    return value if math.isnan(interval.low) else f"{value} [{low}, {high}]"


def signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "−")


def test_one_run_has_its_counts_and_its_innovations(armed_replay: Replay) -> None:
    card = armed_replay.card
    counts = dict(whole(outcome_table(armed_replay)).rows)
    measured = sum(card.outcomes.values())
    fused = card.outcomes["fused"]
    assert counts["fused"] == f"{fused} ({100.0 * fused / measured:.1f} %)"
    assert counts["frames lost"] == f"{card.dropped_frame_count}"
    (nis,) = card.nis
    table = whole(nis_table(armed_replay))
    assert table.headers == (
        "measurement",
        "NIS",
        "expected",
        "innovations",
        "share gated (%)",
    )
    assert table.rows == (
        (
            "3 numbers",
            f"{nis.mean:.2f} [{nis.interval.low:.2f}, {nis.interval.high:.2f}]",
            "3",
            f"{nis.count}",
            f"{100.0 * nis.gated_share:.1f}",
        ),
    )
