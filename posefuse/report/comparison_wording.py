"""What a comparison found, in sentences."""

import math

from posefuse.report.wording import length_text, length_with_unit, listed, number_text
from posefuse.study.comparison import Comparison, PlanRow

__all__ = ["finding"]


def finding(comparison: Comparison, length_unit: str) -> str:
    """What the comparison found, in one paragraph."""
    best = comparison.ranking[0]
    sentences = (
        _winner(comparison, length_unit),
        _rivals(comparison, length_unit),
        _beside_attainable(best, length_unit),
    )
    return " ".join(sentence for sentence in sentences if sentence)


def _winner(comparison: Comparison, length_unit: str) -> str:
    best = comparison.ranking[0]
    where = "at the shots" if comparison.is_at_shots else "over the whole courses"
    rms = best.distance_rms_m
    sentence = (
        f"“{best.plan}” estimates the distance to the goal most accurately: its error {where} is "
        f"{length_with_unit(rms.value, length_unit)} RMS"
        if len(comparison.ranking) > 1
        else f"With “{best.plan}” the error of the distance to the goal {where} is "
        f"{length_with_unit(rms.value, length_unit)} RMS"
    )
    if math.isfinite(rms.low):
        low, high = (length_text(v, length_unit) for v in (rms.low, rms.high))
        sentence += f" (95 % interval {low} to {high})"
    p95 = length_with_unit(best.distance_p95_m, length_unit)
    return f"{sentence}, and 95 of 100 errors are below {p95}."


def _rivals(comparison: Comparison, length_unit: str) -> str:
    rivals = comparison.ranking[1:]
    ties = [row.plan for row in rivals if row.is_tie]
    worse = [row for row in rivals if not row.is_tie]
    sentences = []
    if ties:
        verb = "ties with it" if len(ties) == 1 else "tie with it"
        sentences.append(f"{listed(ties)} {verb}: these trials cannot separate them.")
    if len(worse) == 1:
        sentences.append(f"“{worse[0].plan}” is {_worse_by(worse[0], length_unit)}.")
    elif worse:
        sentences.append(f"Next comes “{worse[0].plan}”, {_worse_by(worse[0], length_unit)}.")
        sentences.append(f"Last comes “{worse[-1].plan}”, {_worse_by(worse[-1], length_unit)}.")
    return " ".join(sentences)


def _worse_by(row: PlanRow, length_unit: str) -> str:
    difference = row.difference_to_best_m
    if difference is None:
        return "the best"
    text = f"worse by {length_with_unit(difference.value, length_unit)}"
    if math.isfinite(difference.low):
        low, high = (length_text(v, length_unit) for v in (difference.low, difference.high))
        return f"{text} ({low} to {high})"
    return f"{text} (one trial: it may be chance)"


def _beside_attainable(best: PlanRow, length_unit: str) -> str:
    if not best.distance_attainable_rms_m > 0.0:
        return ""
    least = length_with_unit(best.distance_attainable_rms_m, length_unit)
    return (
        "On the same sightings the best filter that is told how exact builds are could reach "
        f"{least}; the best plan's filter is at {number_text(best.attainable_ratio, 1)} times that."
    )
