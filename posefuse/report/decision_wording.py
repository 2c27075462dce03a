"""What a team should do after a comparison, in a few lines: the decision first."""

import math
from typing import NamedTuple

from posefuse.report.wording import (
    length_text,
    length_with_unit,
    listed,
    number_text,
)
from posefuse.statistics.intervals import Interval
from posefuse.study.budget import LEFT, ErrorBudget, ErrorPart
from posefuse.study.consistency import POSE_DOF, Confidence, confidence_of, error_ratio
from posefuse.study.decision import Decision, HitsVerdict
from posefuse.study.retuning import KeyChange, Retuning
from posefuse.units import length_label

__all__ = ["DecisionLine", "decision_lines", "filter_verdict", "headline"]

_MOST_PARTS, _LEAST_SHARE = 3, 0.05


class DecisionLine(NamedTuple):
    """One line under the decision: what it is about, and what it says."""

    label: str
    text: str


def headline(decision: Decision) -> str:
    """What to choose; what the hits say comes first where they cannot decide."""
    cameras = _cameras(decision.cameras)
    if decision.plan_count == 1:
        return f"“{decision.plan}” ({cameras}) is the only plan."
    return f"{_hits_first(decision)}Choose “{decision.plan}” ({cameras})."


def _hits_first(decision: Decision) -> str:
    low, high = (number_text(value, 1) for value in decision.hits_range_per_100)
    span = f"{low}" if low == high else f"{low} to {high}"
    if decision.hits is HitsVerdict.ALIKE:
        return f"In hits the plans cannot be told apart ({span} of 100 shots go in). "
    if decision.hits is HitsVerdict.CLOSE:
        return f"In hits the plans differ by less than 1 in 100 ({span}). "
    return ""


def decision_lines(decision: Decision, length_unit: str) -> list[DecisionLine]:
    """Why, what a cheaper plan costs, what to fix first, and whether to believe the filter."""
    lines = (
        DecisionLine("Why", _why(decision, length_unit)),
        DecisionLine("Fewer cameras", _cheaper(decision, length_unit)),
        DecisionLine("Fix first", _fix_first(decision.budget, length_unit)),
        DecisionLine("Its filter", _filter(decision, length_unit)),
    )
    return [line for line in lines if line.text]


def _why(decision: Decision, length_unit: str) -> str:
    rms = length_with_unit(decision.distance_rms_m.value, length_unit)
    within = _within(decision.distance_rms_m, length_unit)
    error = f"distance error is {rms} RMS{within}"
    if decision.plan_count == 1:
        return f"Its {error}."
    best = decision.most_accurate
    if best is None:
        few = f"; {_tied(decision)}, and none of them has fewer cameras" if decision.ties else ""
        return f"Its {error}, the smallest{few}."
    return (
        f"Of the plans that may be the most accurate it has the fewest cameras: its {error}; "
        f"“{best.plan}” ({_cameras(best.cameras)}) is better by "
        f"{_length_cost(best.distance_m, length_unit)}, which may be chance."
    )


def _tied(decision: Decision) -> str:
    verb = "ties with it" if len(decision.ties) == 1 else "tie with it"
    return f"{listed(decision.ties)} {verb}"


def _within(interval: Interval, length_unit: str) -> str:
    if not interval.is_known:
        return ""
    low, high = (length_text(end, length_unit) for end in (interval.low, interval.high))
    return f" (95 % interval {low} to {high})"


def _cheaper(decision: Decision, length_unit: str) -> str:
    cost = decision.cheaper
    if cost is None:
        return "No plan has fewer." if decision.plan_count > 1 else ""
    costs = [_length_cost(cost.distance_m, length_unit)]
    if cost.lost_hits_per_100 is not None:
        costs.insert(0, _hits_cost(cost.lost_hits_per_100))
    chance = "" if cost.distance_m.is_known else " (one trial: it may be chance)"
    return f"“{cost.plan}” ({_cameras(cost.cameras)}) costs {' and '.join(costs)}{chance}."


def _length_cost(more: Interval, length_unit: str) -> str:
    """A difference with its unit and its interval."""
    text = length_with_unit(more.value, length_unit)
    if not more.is_known:
        return text
    low, high = (length_text(end, length_unit) for end in (more.low, more.high))
    return f"{text} ({low} to {high})"


def _hits_cost(lost: Interval) -> str:
    text = f"{number_text(lost.value, 1)} hits in 100"
    if not lost.is_known:
        return text
    return f"{text} ({number_text(lost.low, 1)} to {number_text(lost.high, 1)})"


def _cameras(count: int) -> str:
    return f"{count} camera{'s' * (count != 1)}"


def _fix_first(budget: ErrorBudget | None, length_unit: str) -> str:
    if budget is None:
        return ""
    named = [part for part in budget.parts[:_MOST_PARTS] if part.square_share >= _LEAST_SHARE]
    first, *others = named
    if first.label == LEFT:
        rms = length_with_unit(budget.rms_m, length_unit)
        return (
            "No part can be named: the filter estimates errors of the build, and what is left of "
            f"them counts as noise ({rms} in all, forecast)."
        )
    shares = [f"{_part_text(first)} of the mean square error", *map(_part_text, others)]
    text = _capitalised("; ".join(shares))
    if first.error is None:
        return f"{text} (forecast)."
    left = length_text(budget.rms_without_m(first), length_unit)
    whole = length_with_unit(budget.rms_m, length_unit)
    return f"{text}. Without the first {left} would be left of {whole} (forecast)."


def _part_text(part: ErrorPart) -> str:
    spread = ""
    if part.error is not None:
        spread = f" ({part.error.spread_text(part.each_std)})"
    return f"{part.label}{spread}: {number_text(100.0 * part.square_share, 0)} %"


def _capitalised(text: str) -> str:
    return text[:1].upper() + text[1:]


def _filter(decision: Decision, length_unit: str) -> str:
    sentences = [filter_verdict(decision.nees)]
    if decision.belief_changes:
        changes = ", ".join(_key_text(change) for change in decision.belief_changes)
        sentences.append(
            f"Its [as_built] states other spreads than the builds of this study have: {changes}."
            " Put these right before any noise."
        )
    if decision.retuning is not None:
        sentences.append(_change_text(decision, decision.retuning, length_unit))
    return " ".join(sentence for sentence in sentences if sentence)


def filter_verdict(nees: Interval) -> str:
    """Whether the filter's own covariance can be believed; empty if unknown."""
    if not math.isfinite(nees.value):
        return ""
    confidence, mean = confidence_of(nees), number_text(nees.value, 1)
    if confidence is Confidence.UNKNOWN:
        return (
            f"One trial does not tell whether it is consistent (NEES {mean}, expected {POSE_DOF})."
        )
    low, high = number_text(nees.low, 1), number_text(nees.high, 1)
    figures = f"NEES {mean}, 95 % interval {low} to {high}, expected {POSE_DOF}"
    if confidence is Confidence.CONSISTENT:
        return f"As far as these trials tell it is consistent ({figures})."
    times = number_text(error_ratio(nees), 1)
    return (
        f"{_capitalised(confidence.value)} ({figures}): errors are about {times} times as large as "
        "it states."
    )


def _change_text(decision: Decision, retuning: Retuning, length_unit: str) -> str:
    changes = ", ".join(_key_text(change) for change in retuning.changes)
    nees = number_text(retuning.nees_after.value, 1)
    before, after = (
        length_text(value, length_unit)
        for value in (retuning.distance_rms_before_m, retuning.distance_rms_after_m)
    )
    runs = f"{retuning.trials} trial{'s' * (retuning.trials > 1)}"
    found = (
        f"NEES {nees}, error {after} instead of {before} {length_label(length_unit)}, over {runs}"
    )
    if confidence_of(retuning.nees_after) is Confidence.CONSISTENT:
        return f"Change in [noise] of its file: {changes} ({found})."
    why, budget = "", decision.budget
    if budget is not None and not decision.knows_build:
        share = number_text(100.0 * budget.constant_share, 0)
        why = f": {share} % of the error is constant, and no noise describes that"
    return f"No spread of the measurements mends it{why}; nearest comes {changes} ({found})."


def _key_text(change: KeyChange) -> str:
    return f"{change.key} from {change.old_noise:.3g} to {change.new_noise:g}"
