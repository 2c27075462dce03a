"""Numbers and figures as texts."""

import math
from collections.abc import Sequence

from posefuse.scoring.figures import FIGURES, Kind
from posefuse.statistics.intervals import Interval
from posefuse.units import length_label, metres_to, to_degrees

__all__ = [
    "UNKNOWN",
    "angle_text",
    "bracketed",
    "figure_header",
    "figure_text",
    "interval_text",
    "length_text",
    "length_with_unit",
    "listed",
    "number_text",
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
    scaled = _scaled(interval, metres_to(length_unit, 1.0))
    return bracketed(scaled, _DIGITS[length_unit], is_signed=is_signed)


def _scaled(interval: Interval, scale: float) -> Interval:
    value, low, high = (scale * end for end in (interval.value, interval.low, interval.high))
    return Interval(value=value, low=low, high=high, level=interval.level)


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
    """A share in per cent, without its sign; small ones keep a digit, not to look like none."""
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


def figure_header(name: str, length_unit: str = "cm") -> str:
    """How a table calls a figure, with its unit.

    >>> figure_header("distance_rms_m", "in")
    'distance error RMS (inch)'
    """
    figure = FIGURES[name]
    units = {Kind.LENGTH: length_label(length_unit), Kind.ANGLE: "°", Kind.SHARE: "%"}
    unit = units.get(figure.kind)
    return f"{figure.header} ({unit})" if unit else figure.header


def figure_text(name: str, value: Interval | float | None, length_unit: str = "cm") -> str:
    """A figure without its unit, in the digits of its kind, with its interval where it has one.

    >>> figure_text("no_update_share", 0.125)
    '12.5'
    """
    figure = FIGURES[name]
    if value is None:
        return UNKNOWN
    if isinstance(value, Interval):
        if figure.kind is Kind.LENGTH:
            return interval_text(value, length_unit, is_signed=figure.is_signed)
        scale = {Kind.SHARE: 100.0, Kind.ANGLE: to_degrees(1.0)}.get(figure.kind, 1.0)
        return bracketed(_scaled(value, scale), figure.digits, is_signed=figure.is_signed)
    if figure.kind is Kind.LENGTH:
        return length_text(value, length_unit, is_signed=figure.is_signed)
    if figure.kind is Kind.SHARE:
        return share_text(value)
    if figure.kind is Kind.COUNT:
        return f"{value:,}"
    if figure.kind is Kind.ANGLE:
        value = to_degrees(value)
    return number_text(value, figure.digits, is_signed=figure.is_signed)
