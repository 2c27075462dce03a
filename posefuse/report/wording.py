"""Numbers and findings in plain words."""

import math
from collections.abc import Sequence

from posefuse.scoring.scorecard import Nees
from posefuse.statistics.chi_square import chi_square_average_interval
from posefuse.statistics.intervals import Interval
from posefuse.study.comparison import Comparison, PlanRow
from posefuse.units import length_label, metres_to, to_degrees

__all__ = [
    "angle_text",
    "bracketed",
    "filter_verdict",
    "finding",
    "interval_text",
    "is_at_shots",
    "length_text",
    "length_with_unit",
    "listed",
    "number_text",
    "run_verdict",
    "share_text",
]

_DIGITS = {"m": 4, "cm": 2, "mm": 1, "in": 2}
UNKNOWN = "–"


def number_text(value: float, digits: int, *, is_signed: bool = False) -> str:
    """A number with so many decimals, or a dash for what is not known.

    >>> number_text(float("nan"), 2)
    '–'
    """
    if not math.isfinite(value):
        return UNKNOWN
    text = f"{value:+.{digits}f}" if is_signed else f"{value:.{digits}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("+-")


def length_text(length_m: float, length_unit: str, *, is_signed: bool = False) -> str:
    """A length without its unit, to a tenth of a millimetre or a hundredth of an inch.

    >>> length_text(0.01234, "cm")
    '1.23'
    """
    return number_text(metres_to(length_unit, length_m), _DIGITS[length_unit], is_signed=is_signed)


def length_with_unit(length_m: float, length_unit: str) -> str:
    """A length with its unit."""
    return f"{length_text(length_m, length_unit)} {length_label(length_unit)}"


def interval_text(interval: Interval, length_unit: str, *, is_signed: bool = False) -> str:
    """A length with the interval it lies in, without its unit.

    >>> interval_text(Interval(value=0.01, low=0.008, high=0.013), "cm")
    '1.00 [0.80, 1.30]'
    """
    scaled = Interval(
        value=metres_to(length_unit, interval.value),
        low=metres_to(length_unit, interval.low),
        high=metres_to(length_unit, interval.high),
    )
    return bracketed(scaled, _DIGITS[length_unit], is_signed=is_signed)


def bracketed(interval: Interval, digits: int, *, is_signed: bool = False) -> str:
    """A number with the interval it lies in, where that is known.

    >>> bracketed(Interval(value=96.04, low=95.5, high=96.5), 1)
    '96.0 [95.5, 96.5]'
    """
    value = number_text(interval.value, digits, is_signed=is_signed)
    low, high = (number_text(v, digits) for v in (interval.low, interval.high))
    return value if UNKNOWN in (low, high) else f"{value} [{low}, {high}]"


def angle_text(angle_rad: float, digits: int = 2) -> str:
    """An angle in degrees, without its unit."""
    return number_text(to_degrees(angle_rad), digits)


def share_text(share: float) -> str:
    """A share in per cent, without its sign; small ones keep a digit that tells them from none."""
    percent = 100.0 * share
    if 0.0 < percent < 0.005:
        return "<0.01"
    return number_text(percent, 2 if 0.0 < percent < 0.1 else 1)


def listed(names: Sequence[str]) -> str:
    """Names in quotes, the last after an "and".

    >>> listed(["a", "b", "c"])
    '“a”, “b” and “c”'
    """
    quoted = [f"“{name}”" for name in names]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} and {quoted[-1]}"


def is_at_shots(comparison: Comparison) -> bool:
    """Whether the figures are at the shots; over the whole courses where none marks a shot."""
    return any(run.cards[0].at_shots is not None for run in comparison.runs)


def finding(comparison: Comparison, length_unit: str) -> str:
    """What the comparison found, in one paragraph."""
    return " ".join(
        sentence
        for sentence in (
            _winner(comparison, length_unit),
            _rivals(comparison, length_unit),
            _beside_bound(comparison.ranking[0], length_unit),
            filter_verdict(comparison.ranking[0].nees, trials=comparison.trials),
        )
        if sentence
    )


def _winner(comparison: Comparison, length_unit: str) -> str:
    best = comparison.ranking[0]
    where = "at the shots" if is_at_shots(comparison) else "over the whole courses"
    rms = best.distance_rms_m
    sentence = (
        f"“{best.plan}” tells the distance to the goal best: its error {where} is "
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
        verb = "is a tie with it" if len(ties) == 1 else "are ties with it"
        sentences.append(f"{listed(ties)} {verb}: these trials cannot tell them apart.")
    if len(worse) == 1:
        sentences.append(f"“{worse[0].plan}” is {_worse_by(worse[0], length_unit)}.")
    elif worse:
        sentences.append(f"Next comes “{worse[0].plan}”, {_worse_by(worse[0], length_unit)}.")
        sentences.append(f"Last comes “{worse[-1].plan}”, {_worse_by(worse[-1], length_unit)}.")
    return " ".join(sentences)


def _worse_by(row: PlanRow, length_unit: str) -> str:
    more = row.more_than_best_m
    if more is None:
        return "the best"
    text = f"worse by {length_with_unit(more.value, length_unit)}"
    if math.isfinite(more.low):
        low, high = (length_text(v, length_unit) for v in (more.low, more.high))
        return f"{text} ({low} to {high})"
    return f"{text} (one trial: it may be luck)"


def _beside_bound(best: PlanRow, length_unit: str) -> str:
    if not best.bound_rms_m > 0.0:
        return ""
    ratio = best.distance_rms_m.value / best.bound_rms_m
    bound = length_with_unit(best.bound_rms_m, length_unit)
    return (
        f"On the same sightings no filter gets below {bound} when everything is built exactly as "
        f"drawn and the corners are found without bias; the best plan is at "
        f"{number_text(ratio, 1)} times that."
    )


def filter_verdict(nees: float, *, trials: int) -> str:
    """Whether the filter's own spread of the pose can be believed, in one sentence.

    Parameters
    ----------
    nees
        Mean normalised estimation error squared.
    trials
        Independent runs behind it: shots of one run are not independent.
    """
    dof = 3
    if not math.isfinite(nees):
        return ""
    low, high = chi_square_average_interval(dof, trials)
    told = f"NEES {number_text(nees, 1)}, an honest filter has {dof}"
    times = number_text(math.sqrt(nees / dof), 1)
    if nees > high:
        return (
            f"Its filter is too sure of itself ({told}): "
            f"errors are about {times} times as large as it believes."
        )
    if nees < low:
        return f"Its filter is too timid ({told}): errors are about {times} times what it believes."
    return f"Its filter is honest ({told})."


def run_verdict(nees: Nees) -> str:
    """The same for a single run, whose instants are too much alike to give an interval."""
    times = number_text(math.sqrt(nees.mean / nees.dof), 1)
    share = number_text(100.0 * nees.inside_share, 0)
    return (
        f"Errors are {times} times as large as the filter's own spread says (NEES "
        f"{number_text(nees.mean, 1)}, an honest filter has {nees.dof}); {share} % of the instants "
        "lie where an honest filter has 95 %."
    )
