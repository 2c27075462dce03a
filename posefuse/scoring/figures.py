"""The one vocabulary of figures: what each is called in files and in tables, and its unit.

The name of a figure is that of the field that holds it in code, its key in ``results.json`` and its
column in CSV files, where lengths are in metres and angles in radians. Tables and pages show the
header with the unit asked for.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from posefuse.fusion.estimate import Outcome

__all__ = ["FIGURES", "OUTCOME_COUNTS", "Figure", "Kind", "bound_names"]


class Kind(Enum):
    """What a figure measures; the value ends its name."""

    LENGTH = "_m"
    ANGLE = "_rad"
    SHARE = "_share"
    COUNT = "_count"
    PER_100 = "_per_100"
    NUMBER = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """How one figure is named and shown.

    Parameters
    ----------
    name
        Ends in the unit.
    header
        Without the unit.
    digits
        Decimals shown, of figures that are no lengths, shares or counts.
    is_signed
        Whether a plus is shown.
    """

    name: str
    header: str
    kind: Kind
    digits: int = 1
    is_signed: bool = False


def _figures(kind: Kind, headers: Mapping[str, str], *, digits: int = 1) -> list[Figure]:
    return [
        Figure(
            name=f"{stem}{kind.value}",
            header=header,
            kind=kind,
            digits=digits,
            is_signed="bias" in stem or "difference" in stem,
        )
        for stem, header in headers.items()
    ]


_ERRORS = {
    "bearing": "bearing error",
    "pivot": "pivot error",
    "heading": "heading error",
}
_STATISTICS = {"rms": "RMS", "bias": "bias", "p95": "95th percentile"}

OUTCOME_COUNTS = {
    f"{outcome.name.lower()}_count": outcome.name.lower().replace("_", " ") for outcome in Outcome
}
"""Header of the count of each outcome that a measurement can meet, by the name of the figure."""

_ALL = [
    *_figures(
        Kind.LENGTH,
        {
            "distance_rms": "distance error RMS",
            "distance_bias": "distance error bias",
            "distance_p95": "distance error 95th percentile",
            "distance_forecast_rms": "forecast",
            "distance_attainable_rms": "attainable",
            "distance_bound_rms": "white-noise bound",
            "difference_to_best": "difference to the best",
            "position_rms": "position error RMS",
            "aligned_position_rms": "position error RMS, paths aligned",
            "shift": "shift that aligns the paths",
            "piece_position_rms": "position error RMS of 1 s pieces",
        },
    ),
    *_figures(
        Kind.ANGLE,
        {
            **{
                f"{error}_{statistic}": f"{name} {suffix}"
                for error, name in _ERRORS.items()
                for statistic, suffix in _STATISTICS.items()
            },
            "turn": "turn that aligns the paths",
            "piece_heading_rms": "heading error RMS of 1 s pieces",
        },
        digits=2,
    ),
    *_figures(
        Kind.SHARE,
        {
            "no_update": "no recent update",
            "nees_inside": "NEES inside its 95 % region",
            "gated": "share gated",
        },
    ),
    *_figures(
        Kind.PER_100,
        {
            "hits": "hits per 100",
            "hits_difference_to_best": "hits: difference to the best",
            "perfect_hits": "hits per 100 with a perfect estimate",
            "moving_led_hits": "hits per 100 on the move",
            "moving_unled_hits": "hits per 100 on the move, aimed as if at rest",
            "moving_stopped_hits": "hits per 100 from a standstill instead",
        },
    ),
    *_figures(
        Kind.COUNT,
        {
            "instant": "instants",
            "scored": "instants scored",
            "unreachable": "instants out of the shooter's reach",
            "moving_shot": "shots on the move",
            "nis": "innovations",
            **{name.removesuffix("_count"): header for name, header in OUTCOME_COUNTS.items()},
            "dropped_frame": "frames lost",
        },
    ),
    *_figures(Kind.NUMBER, {"best_probability": "probability of being the best"}, digits=2),
    *_figures(Kind.NUMBER, {"nees_mean": "NEES"}),
    *_figures(Kind.NUMBER, {"nis_mean": "NIS"}, digits=2),
]
FIGURES: Mapping[str, Figure] = {figure.name: figure for figure in _ALL}
"""Every figure by its name."""


def bound_names(name: str) -> tuple[str, str]:
    """The columns of a figure's interval: the unit stays at the end.

    >>> bound_names("distance_rms_m")
    ('distance_rms_low_m', 'distance_rms_high_m')
    """
    unit = FIGURES[name].kind.value
    stem = name.removesuffix(unit)
    return f"{stem}_low{unit}", f"{stem}_high{unit}"
