"""Every column of the ranking on scorecards made by hand, whose figures a pencil can check."""

import math
from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from posefuse.scoring.instants import InstantErrors
from posefuse.scoring.scorecard import ErrorFigures, Nees, Scorecard, SpanScores
from posefuse.scoring.shot_hits import ShotHits
from posefuse.statistics.best import hits_against_best
from posefuse.statistics.trial_means import hits_interval, mean_square_interval
from posefuse.study.comparison import PlanRow, PlanTrials
from posefuse.study.consistency import mean_nees
from posefuse.study.ranking import distance_errors_m, rank_plans, trial_mean_squares_m2
from posefuse.study.warnings import warnings_of
from small_court import small_study, stored_drive

STUDY = small_study()
PLANS = [plan.name for plan in STUDY.plans]


def errors_of(rms: float, *, bias: float = 0.0, p95: float = 0.0) -> ErrorFigures:
    return ErrorFigures(bias=bias, rms=rms, p95=p95)


def span(**changes: Any) -> SpanScores:
    given = {
        "count": 4,
        "scored_count": 4,
        "distance_m": errors_of(0.02, bias=0.01, p95=0.05),
        "bearing_rad": errors_of(0.1),
        "pivot_rad": errors_of(0.2),
        "unreachable_count": 0,
        "heading_rad": errors_of(0.3),
        "position_rms_m": 0.4,
        "nees": Nees(mean=3.0, dof=3, count=4, inside_share=1.0),
        "no_update_count": 0,
        "distance_bound_rms_m": 0.5,
    }
    return SpanScores(**{**given, **changes})


def shots(distance_error_m: Sequence[float], nees: Sequence[float] = ()) -> InstantErrors:
    count = len(distance_error_m)
    nothing = np.full(count, np.nan)
    return InstantErrors(
        rows=np.arange(count),
        stamps_s=np.arange(count, dtype=np.float64),
        goals=("crate",) * count,
        true_poses=np.zeros((count, 3)),
        errors=np.zeros((count, 3)),
        true_distance_m=nothing,
        distance_error_m=np.array(distance_error_m, dtype=np.float64),
        bearing_error_rad=nothing,
        pivot_error_rad=nothing,
        nees=np.array(nees) if len(nees) else nothing,
        dof=3,
    )


def card(
    distance_error_m: Sequence[float] | None = None,
    hits: ShotHits | None = None,
    outcomes: dict[str, int] | None = None,
    **of_span: Any,
) -> Scorecard:
    """One trial; its figures are at the shots where distance errors are given."""
    at_shots = None if distance_error_m is None else span(**of_span)
    return Scorecard(
        name="by hand",
        goal="crate",
        at_shots=at_shots,
        whole_course=span(**of_span) if at_shots is None else span(position_rms_m=99.0),
        shots=None if distance_error_m is None else shots(distance_error_m),
        shots_since_update_s=None,
        hits=hits,
        nis=(),
        outcomes={"fused": 5} if outcomes is None else outcomes,
        dropped_frame_count=0,
    )


def trials(
    plan: int, *cards: Scorecard, course: str = "half a round", outlook: Any = None
) -> PlanTrials:
    return PlanTrials(
        plan=PLANS[plan], course=course, cards=cards, first=RECORDING, outlook=outlook
    )


RECORDING = stored_drive(STUDY, goal=None).recording
STILL = trials(1, card([9.0]), card([9.0]))
"""A rival that comes last, so that the other plan's figures stand in the first row."""


def row(*of_first: PlanTrials) -> PlanRow:
    rivals = [replace(STILL, course=one.course) for one in of_first]
    if not of_first[0].has_shots:
        rivals = [replace(r, cards=(card(distance_m=errors_of(9.0)),) * 2) for r in rivals]
    best, _ = rank_plans(STUDY, [*of_first, *rivals])
    assert best.plan == PLANS[0]
    return best


def test_the_distance_rms_is_over_all_shots_of_all_courses() -> None:
    easy = trials(0, card([0.01, -0.03]), card([0.02, 0.02]), course="easy")
    hard = trials(0, card([0.05]), card([-0.04]), course="hard")
    errors = [[0.01, -0.03, 0.05], [0.02, 0.02, -0.04]]  # a line for each trial
    squares = [np.mean(np.square(each)) for each in errors]
    assert trial_mean_squares_m2([easy, hard]) == pytest.approx(squares)
    best = row(easy, hard)
    assert best.distance_rms_m.value == pytest.approx(math.sqrt(np.mean(squares)))
    assert best.distance_rms_m.low < best.distance_rms_m.value < best.distance_rms_m.high
    assert sorted(distance_errors_m([easy, hard])) == sorted(np.concatenate(errors))


def test_the_percentile_is_of_the_sizes_of_the_errors() -> None:
    """101 sizes from 0 to 0.1 m; those above 0.05 m are all too short."""
    sizes = np.linspace(0.0, 0.1, 101)
    one = row(trials(0, *(card(np.where(sizes > 0.05, -sizes, sizes)),) * 2))
    assert one.distance_p95_m == pytest.approx(0.095)


@pytest.mark.parametrize(
    ("field", "column", "values", "expected"),
    [
        # a mean, which neither the largest, the least nor the median of the four would be
        ("distance_m", "distance_bias_m", [-0.03, 0.01, 0.02, 0.12], 0.03),
        # root mean squares of 1, 1, 1 and 5: sqrt(7); a mean would be 2
        ("bearing_rad", "bearing_rms_rad", [1.0, 1.0, 1.0, 5.0], math.sqrt(7.0)),
        ("pivot_rad", "pivot_rms_rad", [1.0, 1.0, 1.0, 5.0], math.sqrt(7.0)),
        ("heading_rad", "heading_rms_rad", [1.0, 1.0, 1.0, 5.0], math.sqrt(7.0)),
        ("position_rms_m", "position_rms_m", [1.0, 1.0, 1.0, 5.0], math.sqrt(7.0)),
        ("distance_bound_rms_m", "distance_bound_rms_m", [1.0, 1.0, 1.0, 5.0], math.sqrt(7.0)),
        ("no_update_count", "no_update_share", [0, 0, 1, 2], 3.0 / 16.0),
        ("nees", "nees_mean", [1.0, 2.0, 3.0, 10.0], 4.0),
    ],
)
@pytest.mark.parametrize("where", ["at the shots", "whole course"])
def test_the_other_columns_are_over_all_trials_of_all_courses(
    field: str, column: str, values: list[float], expected: float, where: str
) -> None:
    def made(value: float) -> Any:
        if field == "nees":
            return Nees(mean=value, dof=3, count=4, inside_share=1.0)
        if field == "distance_m":
            return errors_of(0.02, bias=value, p95=0.05)
        return errors_of(value) if field.endswith("_rad") else value

    errors_m = [0.01, 0.01] if where == "at the shots" else None
    cards = [card(errors_m, **{field: made(value)}) for value in values]
    easy, hard = trials(0, *cards[:2], course="easy"), trials(0, *cards[2:], course="hard")
    found = getattr(row(easy, hard), column)
    assert getattr(found, "value", found) == pytest.approx(expected)


def test_without_shots_the_distance_is_that_of_the_whole_courses() -> None:
    cards = [card(distance_m=errors_of(rms, p95=2.0 * rms)) for rms in (0.01, 0.02, 0.03, 0.06)]
    easy, hard = trials(0, *cards[:2], course="easy"), trials(0, *cards[2:], course="hard")
    # the first trial drove 0.01 and 0.03, the second 0.02 and 0.06
    assert trial_mean_squares_m2([easy, hard]) == pytest.approx([5e-4, 20e-4])
    best = row(easy, hard)
    assert best.distance_rms_m.value == pytest.approx(math.sqrt(12.5e-4))
    assert best.distance_p95_m == pytest.approx(0.06)
    assert distance_errors_m([easy, hard]).tolist() == [0.01, 0.02, 0.03, 0.06]


def test_a_course_without_shots_counts_for_nothing_beside_one_with() -> None:
    marked = trials(0, card([0.01]), card([0.03]), course="easy")
    bare = trials(0, card(distance_m=errors_of(7.0)), card(distance_m=errors_of(7.0)), course="b")
    assert trial_mean_squares_m2([marked, bare]) == pytest.approx([1e-4, 9e-4])
    assert distance_errors_m([marked, bare]).tolist() == [0.01, 0.03]


def test_what_is_not_known_of_any_trial_is_nan() -> None:
    one = row(trials(0, *(card([0.01], pivot_rad=None, distance_bound_rms_m=None),) * 2))
    assert math.isnan(one.pivot_rms_rad)
    assert math.isnan(one.distance_bound_rms_m)
    assert math.isnan(one.distance_forecast_rms_m)
    assert math.isnan(one.distance_attainable_rms_m)
    assert math.isnan(one.attainable_ratio)


def test_forecast_and_attainable_are_over_all_shots_of_all_courses() -> None:
    """Mean squares 1, 3 and 5 of the shots of one course, 7 of the other: 4 over all four."""
    one = SimpleNamespace(
        forecast_squares_m2=np.array([1.0, 3.0, 5.0]), attainable_squares_m2=np.full(3, 0.01)
    )
    other = SimpleNamespace(
        forecast_squares_m2=np.array([7.0]), attainable_squares_m2=np.array([0.05])
    )
    cards = (card([0.06]),) * 2
    found = row(
        trials(0, *cards, course="easy", outlook=one), trials(0, *cards, course="b", outlook=other)
    )
    assert found.distance_forecast_rms_m == pytest.approx(2.0)
    assert found.distance_attainable_rms_m == pytest.approx(math.sqrt(0.02))
    assert found.attainable_ratio == pytest.approx(0.06 / math.sqrt(0.02))


def test_every_shot_counts_alike() -> None:
    """NEES 2 over one shot, 6 over three: 5 over all; likewise squares of the bound."""
    few, many = (
        card([0.01] * count, nees=nees(value, count), distance_bound_rms_m=bound,
             count=count, scored_count=count, no_update_count=lost)
        for count, value, bound, lost in ((1, 2.0, 1.0, 1), (3, 6.0, 3.0, 0))
    )  # fmt: skip
    found = row(trials(0, few, few, course="easy"), trials(0, many, many, course="hard"))
    assert found.nees_mean.value == pytest.approx(5.0)
    assert found.distance_bound_rms_m == pytest.approx(math.sqrt(7.0))
    assert found.no_update_share == pytest.approx(0.25)


def nees(mean: float, count: int) -> Nees:
    return Nees(mean=mean, dof=3, count=count, inside_share=1.0)


def test_differences_are_paired_and_the_best_has_none() -> None:
    """Both plans are worse in the second trial; their difference is 0.02 in each."""
    first = trials(0, *(card([size]) for size in (0.03, 0.13) * 12))
    second = trials(1, *(card([size]) for size in (0.01, 0.11) * 12))
    best, other = rank_plans(STUDY, [first, second])
    assert (best.plan, other.plan) == (PLANS[1], PLANS[0])
    assert best.best_probability > 0.99 > 0.01 > other.best_probability
    assert best.difference_to_best_m is None
    assert not best.is_tie
    difference = other.difference_to_best_m
    rms = [math.sqrt(np.mean(np.square(s))) for s in ((0.03, 0.13), (0.01, 0.11))]
    assert difference.value == pytest.approx(rms[0] - rms[1])
    assert 0.0 < difference.low < difference.value < difference.high
    assert difference.high - difference.low < 0.02  # unpaired it would be 0.05
    assert not other.is_tie


def test_a_difference_that_changes_its_sign_is_a_tie() -> None:
    first = trials(0, *(card([size]) for size in (0.01, 0.05, 0.01, 0.06)))
    second = trials(1, *(card([size]) for size in (0.05, 0.01, 0.05, 0.01)))
    best, other = rank_plans(STUDY, [first, second])
    assert other.is_tie
    assert other.difference_to_best_m.holds(0.0)
    assert not best.is_tie


def shares(*values: float, moving: Sequence[bool] = (), **changes: Any) -> ShotHits:
    led = np.array(values)
    given = {
        "shares": led,
        "perfect_shares": np.minimum(led + 0.1, 1.0),
        "is_moving": np.array(moving or (False,) * len(values)),
        "unled_shares": led - 0.3,
        "stopped_shares": led + 0.05,
    }
    return ShotHits(**{**given, **changes})


def test_hits_are_means_over_the_shots_of_each_trial() -> None:
    first = trials(
        0,
        card([0.01] * 3, hits=shares(0.5, 0.7, 0.9, moving=(True, False, False))),
        card([0.01] * 3, hits=shares(0.6, 0.6, 0.6, moving=(True, False, False))),
    )
    second = trials(
        1,
        card([0.02] * 3, hits=shares(0.4, 0.6, 0.8)),
        card([0.02] * 3, hits=shares(0.4, 0.4, 0.4)),
    )
    best, other = rank_plans(STUDY, [first, second])
    assert best.hits.per_100.value == pytest.approx(65.0)
    assert best.hits.perfect_per_100 == pytest.approx(75.0)
    assert best.hits.difference_to_best is None
    assert best.hits.lost_by_errors_per_100 == pytest.approx(10.0)
    assert best.hits.lost_by_shooter_per_100 == pytest.approx(25.0)
    assert other.hits.per_100.value == pytest.approx(50.0)
    assert other.hits.difference_to_best.value == pytest.approx(-15.0)
    assert best.hits.per_100.low == pytest.approx(hits_interval([70.0, 60.0]).low)
    moving = best.hits.moving
    assert moving.shot_count == 1
    assert moving.led_per_100 == pytest.approx(55.0)
    assert moving.unled_per_100 == pytest.approx(25.0)
    assert moving.stopped_per_100 == pytest.approx(60.0)
    assert moving.stopping_gain_per_100 == pytest.approx(5.0)
    assert other.hits.moving is None


@pytest.mark.parametrize(
    ("of_nearest", "is_tie"), [((0.70, 0.60, 0.71, 0.62), False), ((0.81, 0.69, 0.82, 0.70), True)]
)
def test_hits_are_set_against_the_plan_of_which_the_most_go_in(
    of_nearest: Sequence[float], *, is_tie: bool
) -> None:
    """The plan with the smaller distance error hits less often; a tie is called one."""
    of_most = (0.80, 0.72, 0.81, 0.71)
    nearest, most = (
        trials(place, *(card([error_m], hits=shares(share)) for share in of_plan))
        for place, (error_m, of_plan) in enumerate(((0.01, of_nearest), (0.02, of_most)))
    )
    best, other = rank_plans(STUDY, [nearest, most])
    assert best.plan == PLANS[0]
    assert other.hits.difference_to_best is None
    assert not other.hits.is_tie
    expected = hits_against_best(100.0 * np.array([of_nearest, of_most]))[0]
    lost = best.hits.difference_to_best
    assert (lost.value, lost.low, lost.high) == pytest.approx(
        (expected.difference.value, expected.difference.low, expected.difference.high)
    )
    assert best.hits.is_tie == expected.may_be_best == is_tie


def test_the_nees_of_a_plan_is_known_by_the_spread_between_trials() -> None:
    """Means over the shots of both courses, one a trial: 2, 4, 9."""
    of_trials = [(1.0, 3.0), (4.0, 4.0), (6.0, 12.0)]
    easy = trials(0, *(card([0.01], nees=nees(a, 5)) for a, _ in of_trials), course="easy")
    hard = trials(0, *(card([0.01], nees=nees(b, 5)) for _, b in of_trials), course="hard")
    assert mean_nees([easy, hard]) == mean_square_interval([2.0, 4.0, 9.0], [10.0, 10.0, 10.0])
    unknown = trials(0, *(card([0.01], nees=None),) * 2)
    assert math.isnan(mean_nees([unknown]).value)


def test_figures_bear_their_names_and_what_is_not_known_is_none() -> None:
    hits = shares(0.5, moving=(True,))
    one = row(trials(0, card([0.01], hits=hits), card([0.01], hits=hits)))
    figures = one.figures()
    assert None not in [figures[name] for name in figures if "difference" not in name]
    moving = one.hits.moving
    assert figures["moving_shot_count"] == 1
    assert figures["moving_led_hits_per_100"] == moving.led_per_100
    assert figures["moving_unled_hits_per_100"] == moving.unled_per_100
    assert figures["moving_stopped_hits_per_100"] == moving.stopped_per_100
    assert figures["hits_per_100"] is one.hits.per_100
    assert figures["perfect_hits_per_100"] == one.hits.perfect_per_100
    assert figures["nees_mean"] == one.nees_mean
    bare = row(trials(0, card([0.01]), card([0.01]))).figures()
    assert set(bare) == set(figures)
    assert {name for name, value in bare.items() if value is None} == {
        "difference_to_best_m",
        *(name for name in figures if "hits" in name or "moving" in name),
    }


def test_only_a_user_who_should_know_is_warned() -> None:
    enough = trials(0, *(card([0.01]),) * 10)
    assert warnings_of([enough]) == ()
    few = trials(0, card([0.01]))
    assert warnings_of([few]) == (
        "only 1 trial: the intervals are rough; to tell plans apart takes 10 or more",
    )
    nine = warnings_of([trials(0, *(card([0.01]),) * 9)])
    assert [line.partition(":")[0] for line in nine] == ["only 9 trials"]


def test_a_plan_that_sees_no_tag_in_any_trial_is_named() -> None:
    nothing = {"fused": 0, "gated": 0}
    blind = trials(0, *(card([0.01], outcomes=nothing),) * 10, course="dark")
    once = trials(1, *(card([0.01], outcomes=nothing),) * 9, card([0.01]))
    assert warnings_of([blind, once]) == (
        f"plan {PLANS[0]!r} never sees a tag on course 'dark': "
        "its estimate is wheel odometry alone",
    )


def test_courses_without_shots_are_mentioned_where_there_is_no_other() -> None:
    bare, marked = trials(0, *(card(),) * 10), trials(1, *(card([0.01]),) * 10)
    assert warnings_of([bare]) == ("no course marks a shot: the ranking is over the whole courses",)
    assert warnings_of([bare, marked]) == ()
