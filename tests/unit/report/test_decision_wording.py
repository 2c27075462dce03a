"""The decision in words: every figure of a hand-made decision, and what is left out."""

import math
from dataclasses import replace

import pytest

from made_decision import DECISION, MOUNT, RETUNING, interval
from posefuse.report.decision_wording import decision_lines, filter_verdict, headline
from posefuse.study.budget import KNOWN, LEFT, NOISE, ErrorBudget, ErrorPart
from posefuse.study.decision import Cost, Decision, HitsVerdict
from posefuse.study.retuning import KeyChange


def lines(decision: Decision, unit: str = "cm") -> dict[str, str]:
    return dict(decision_lines(decision, unit))


def test_every_figure_is_said() -> None:
    assert headline(DECISION) == "Choose “four” (4 cameras)."
    assert lines(DECISION) == {
        "Why": "Its distance error is 1.11 cm RMS (95 % interval 1.01 to 1.22), the smallest; "
        "“five” ties with it, and none of them has fewer cameras.",
        "Fewer cameras": "“two” (2 cameras) costs 5.6 hits in 100 (4.0 to 7.0) and 2.70 cm (2.10 "
        "to 3.40).",
        "Fix first": "Mount angle (±0.5°): 36 % of the mean square error; tag position (±5 mm): "
        f"25 %; {KNOWN}: 21 %. Without the first 0.80 would be left of 1.00 cm (forecast).",
        "Its filter": "Overconfident (NEES 12.0, 95 % interval 10.1 to 15.3, expected 3): errors "
        "are about 2.0 times as large as it states. Change in [noise] of its file: "
        "position_floor_m from 0.02 to 0.13, heading_floor_deg from 0.5 to 3.3 (NEES 3.1, error "
        "1.85 instead of 1.33 cm, over 10 trials).",
    }
    assert "0.44 inch RMS (95 % interval 0.40 to 0.48)" in lines(DECISION, "in")["Why"]


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        (
            HitsVerdict.ALIKE,
            "In hits the plans cannot be told apart (91.0 to 96.7 of 100 shots go in). Choose",
        ),
        (
            HitsVerdict.CLOSE,
            "In hits the plans differ by less than 1 in 100 (91.0 to 96.7). Choose",
        ),
        (HitsVerdict.APART, "Choose"),
        (HitsVerdict.UNKNOWN, "Choose"),
    ],
)
def test_hits_that_cannot_decide_come_first(verdict: HitsVerdict, words: str) -> None:
    assert headline(replace(DECISION, hits=verdict)) == f"{words} “four” (4 cameras)."


def test_hits_that_are_equal_are_one_number() -> None:
    same = replace(DECISION, hits=HitsVerdict.ALIKE, hits_range_per_100=(96.61, 96.64))
    assert "told apart (96.6 of 100 shots go in)" in headline(same)


def test_a_cheaper_tie_says_what_it_gives_up() -> None:
    behind = Cost(
        plan="best",
        cameras=5,
        distance_m=interval(0.0012, -0.0004, 0.0031),
        lost_hits_per_100=None,
    )
    found = lines(replace(DECISION, most_accurate=behind, ties=("best",)))
    assert found["Why"] == (
        "Of the plans that may be the most accurate it has the fewest cameras: its distance error "
        "is 1.11 cm RMS (95 % interval 1.01 to 1.22); “best” (5 cameras) is better by 0.12 cm "
        "(−0.04 to 0.31), which may be chance."
    )


def test_one_trial_may_be_chance_and_hits_may_be_unknown() -> None:
    cheaper = replace(DECISION.cheaper, distance_m=interval(0.027), lost_hits_per_100=None)
    few = replace(DECISION, cheaper=cheaper, distance_rms_m=interval(0.0111), ties=())
    assert lines(few)["Fewer cameras"] == (
        "“two” (2 cameras) costs 2.70 cm (one trial: it may be chance)."
    )
    assert lines(few)["Why"] == "Its distance error is 1.11 cm RMS, the smallest."
    lone = replace(cheaper, lost_hits_per_100=interval(2.0))
    assert "costs 2.0 hits in 100 and 2.70 cm" in lines(replace(few, cheaper=lone))["Fewer cameras"]


def test_a_lone_plan_is_not_chosen() -> None:
    lone = replace(DECISION, plan_count=1, ties=(), cheaper=None, cameras=1)
    assert headline(lone) == "“four” (1 camera) is the only plan."
    assert lines(lone)["Why"].startswith("Its distance error is 1.11 cm RMS (")
    assert "Fewer cameras" not in lines(lone)
    assert lines(replace(DECISION, cheaper=None))["Fewer cameras"] == "No plan has fewer."


def test_noise_cannot_be_built_away() -> None:
    parts = (ErrorPart(label=NOISE, square_share=0.9), replace(MOUNT, square_share=0.1))
    found = lines(replace(DECISION, budget=ErrorBudget(rms_m=0.01, parts=parts)))["Fix first"]
    assert found == "Noise: 90 % of the mean square error; mount angle (±0.5°): 10 % (forecast)."
    assert "Fix first" not in lines(replace(DECISION, budget=None))


def test_noise_that_does_not_mend_a_filter_is_said() -> None:
    stuck = replace(RETUNING, nees_after=interval(9.0, 5.0, 15.0), trials=1)
    found = lines(replace(DECISION, retuning=stuck))["Its filter"]
    assert found.endswith(
        "No spread of the measurements mends it: 86 % of the error is constant, and no noise "
        "describes that; nearest comes position_floor_m from 0.02 to 0.13, heading_floor_deg from "
        "0.5 to 3.3 (NEES 9.0, error 1.85 instead of 1.33 cm, over 1 trial)."
    )
    bare = lines(replace(DECISION, retuning=stuck, budget=None))["Its filter"]
    assert "mends it; nearest comes" in bare


def test_a_filter_that_knows_the_build_is_not_told_that_constants_are_to_blame() -> None:
    stuck = replace(RETUNING, nees_after=interval(9.0, 5.0, 15.0))
    knows = replace(DECISION, retuning=stuck, knows_build=True)
    assert "mends it; nearest comes" in lines(knows)["Its filter"]


def test_other_spreads_of_the_build_come_before_any_noise() -> None:
    changes = (
        KeyChange(key="mount_angle_deg", old_noise=0.2, new_noise=0.5),
        KeyChange(key="focal_fraction", old_noise=0.003, new_noise=0.0),
    )
    misled = replace(DECISION, retuning=None, belief_changes=changes)
    assert lines(misled)["Its filter"].endswith(
        "as it states. Its [as_built] states other spreads than the builds of this study have: "
        "mount_angle_deg from 0.2 to 0.5, focal_fraction from 0.003 to 0. Put these right before "
        "any noise."
    )


def test_a_filter_that_estimates_the_build_has_no_part_to_fix() -> None:
    budget = ErrorBudget(rms_m=0.01, parts=(ErrorPart(label=LEFT, square_share=1.0),))
    assert lines(replace(DECISION, budget=budget))["Fix first"] == (
        "No part can be named: the filter estimates errors of the build, and what is left of them "
        "counts as noise (1.00 cm in all, forecast)."
    )


def test_what_is_not_known_of_the_filter_is_left_out() -> None:
    unknown = replace(DECISION, nees=interval(math.nan), retuning=None)
    assert "Its filter" not in lines(unknown)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (
            2.0,
            14.0,
            "As far as these trials tell it is consistent (NEES 12.0, 95 % interval 2.0 to 14.0, "
            "expected 3).",
        ),
        (
            9.0,
            20.0,
            "Overconfident (NEES 12.0, 95 % interval 9.0 to 20.0, expected 3): errors are about "
            "2.0 times as large as it states.",
        ),
        (1.0, 2.5, "Underconfident ("),
        (
            math.nan,
            math.nan,
            "One trial does not tell whether it is consistent (NEES 12.0, expected 3).",
        ),
    ],
)
def test_the_filter_is_judged_by_the_interval_of_its_mean(
    low: float, high: float, words: str
) -> None:
    assert filter_verdict(interval(12.0, low, high)).startswith(words)
