"""Findings in words: winners, ties, lone plans, figures that are not known."""

import math
from dataclasses import replace

import pytest

from posefuse.report.comparison_wording import finding
from posefuse.report.replay import replay_finding, run_verdict
from posefuse.report.wording import (
    figure_header,
    figure_text,
    interval_text,
    length_text,
    number_text,
    share_text,
)
from posefuse.scoring.scorecard import Nees
from posefuse.statistics.intervals import Interval
from posefuse.study.comparison import Comparison, PlanRow
from posefuse.study.replay import Replay


def row(plan: str, rms_m: float, more_m: tuple[float, float, float] | None = None) -> PlanRow:
    more = None if more_m is None else Interval(value=more_m[0], low=more_m[1], high=more_m[2])
    return PlanRow(
        plan=plan,
        distance_rms_m=Interval(value=rms_m, low=0.9 * rms_m, high=1.2 * rms_m),
        distance_bias_m=0.001,
        distance_p95_m=2.0 * rms_m,
        bearing_rms_rad=0.01,
        pivot_rms_rad=math.nan,
        heading_rms_rad=0.01,
        position_rms_m=2.0 * rms_m,
        distance_forecast_rms_m=1.1 * rms_m,
        distance_attainable_rms_m=0.5 * rms_m,
        distance_bound_rms_m=0.1 * rms_m,
        no_update_share=0.0,
        nees_mean=Interval(value=3.0, low=2.5, high=4.0),
        difference_to_best_m=more,
        is_tie=more is not None and more.holds(0.0),
        best_probability=0.25,
    )


BEST = row("first", 0.01)
TIE = row("level", 0.011, (0.001, -0.001, 0.002))
WORSE = row("third", 0.02, (0.01, 0.008, 0.013))
LAST = row("last", 0.05, (0.04, 0.03, 0.05))


def found(comparison: Comparison, *rows: PlanRow, unit: str = "cm") -> str:
    return finding(replace(comparison, ranking=rows), unit)


def test_winner_ties_next_and_last_are_named(comparison: Comparison) -> None:
    text = found(comparison, BEST, TIE, WORSE, LAST)
    assert text.startswith(
        "“first” estimates the distance to the goal most accurately: its error at the shots is "
        "1.00 cm RMS (95 % interval 0.90 to 1.20), and 95 of 100 errors are below 2.00 cm."
    )
    assert "“level” ties with it: these trials cannot separate them." in text
    assert "Next comes “third”, worse by 1.00 cm (0.80 to 1.30)." in text
    assert "Last comes “last”, worse by 4.00 cm (3.00 to 5.00)." in text
    assert "the best filter that is told how exact builds are could reach 0.50 cm" in text
    assert "the best plan's filter is at 2.0 times that" in text


def test_two_ties_and_one_that_is_worse(comparison: Comparison) -> None:
    text = found(comparison, BEST, TIE, replace(TIE, plan="even"), WORSE)
    assert "“level” and “even” tie with it" in text
    assert "“third” is worse by 1.00 cm (0.80 to 1.30)." in text
    assert "Last comes" not in text


def test_a_lone_plan_wins_over_nobody(comparison: Comparison) -> None:
    text = found(comparison, BEST, unit="in")
    assert text.startswith("With “first” the error of the distance to the goal at the shots is ")
    assert "0.39 inch RMS" in text
    assert "best plan" in text


def test_one_trial_may_be_chance(comparison: Comparison) -> None:
    unsure = replace(WORSE, difference_to_best_m=Interval(value=0.01, low=math.nan, high=math.nan))
    assert "“third” is worse by 1.00 cm (one trial: it may be chance)." in found(
        comparison, BEST, unsure
    )


def test_what_is_not_known_is_left_out(comparison: Comparison) -> None:
    alone = replace(
        BEST,
        distance_rms_m=Interval(value=0.01, low=math.nan, high=math.nan),
        distance_attainable_rms_m=math.nan,
    )
    text = found(comparison, alone)
    assert "nan" not in text
    assert "interval" not in text


def test_one_run_gives_a_ratio_and_no_verdict(armed_replay: Replay) -> None:
    nees = Nees(mean=12.0, dof=3, count=7500, inside_share=0.61)
    known = {"nees_mean": Interval(value=12.0, low=7.0, high=31.0)}
    span = replace(armed_replay.card.whole_course, nees=nees, intervals=known)
    assert run_verdict(span) == (
        "Errors are 2.0 times as large as the filter's own covariance states (NEES 12.0, 95 % "
        "interval 7.0 to 31.0 over repeats of this run, expected 3); 61 % of the instants lie "
        "where a consistent filter has 95 %."
    )
    few = {"nees_mean": Interval(value=12.0, low=math.nan, high=math.nan)}
    assert "(NEES 12.0, expected 3)" in run_verdict(replace(span, intervals=few))
    assert run_verdict(replace(span, nees=None)) == ""


def test_the_interval_of_one_run_says_what_it_is_of(armed_replay: Replay) -> None:
    card = armed_replay.card
    known = replace(
        card.at_shots,
        intervals={"distance_rms_m": Interval(value=0.03, low=0.021, high=0.055)},
    )
    text = replay_finding(replace(armed_replay, card=replace(card, at_shots=known)))
    assert (
        "The RMS has the 95 % interval 2.10 to 5.50 cm: where it would lie in repeats of this run "
        "by the robot as it is built. Another build errs by other constants"
    ) in text
    # three shots
    assert "The errors at the shots are too few to say how sure that RMS is." in replay_finding(
        armed_replay
    )


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.0123, "m", "0.0123"),
        (0.0123, "cm", "1.23"),
        (0.0123, "mm", "12.3"),
        (0.0254, "in", "1.00"),
    ],
)
def test_lengths_keep_the_digits_that_matter(value: float, unit: str, text: str) -> None:
    assert length_text(value, unit) == text


def test_signs_and_unknown_numbers() -> None:
    assert number_text(-0.004, 2, is_signed=True) == "0.00"
    assert number_text(-0.4, 1) == "−0.4"
    assert number_text(0.4, 1, is_signed=True) == "+0.4"
    assert number_text(math.inf, 1) == "–"
    more = Interval(value=0.002, low=-0.001, high=0.004)
    assert interval_text(more, "cm", is_signed=True) == "+0.20 [−0.10, 0.40]"
    assert interval_text(replace(more, low=math.nan), "cm") == "0.20"


@pytest.mark.parametrize(
    ("share", "text"), [(0.0, "0.0"), (0.00001, "<0.01"), (0.0004, "0.04"), (0.123, "12.3")]
)
def test_small_shares_do_not_look_like_none(share: float, text: str) -> None:
    assert share_text(share) == text


@pytest.mark.parametrize(
    ("name", "value", "header", "text"),
    [
        ("distance_rms_m", 0.0123, "distance error RMS (inch)", "0.48"),
        ("difference_to_best_m", 0.0254, "difference to the best (inch)", "+1.00"),
        ("pivot_rms_rad", math.radians(0.123), "pivot error RMS (°)", "0.12"),
        ("no_update_share", 0.0004, "no recent update (%)", "0.04"),
        (
            "hits_per_100",
            Interval(value=9.0, low=8.0, high=10.0),
            "hits per 100",
            "9.0 [8.0, 10.0]",
        ),
        ("fused_count", 12345, "fused", "12,345"),
        ("nees_mean", 3.14, "NEES", "3.1"),
        ("nis_mean", 3.14159, "NIS", "3.14"),
        ("pivot_rms_rad", math.nan, "pivot error RMS (°)", "–"),
        ("distance_rms_m", None, "distance error RMS (inch)", "–"),
    ],
)
def test_a_figure_is_shown_in_its_unit(
    name: str, value: Interval | float | None, header: str, text: str
) -> None:
    assert figure_header(name, "in") == header
    assert figure_text(name, value, "in") == text
