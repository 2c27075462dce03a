"""What a comparison means for the shots: sentences and tables."""

import math

from posefuse.report.aim_wording import left_out_sentence
from posefuse.report.comparison_tables import HITS_HEADERS, Table, hits_texts
from posefuse.report.wording import UNKNOWN, number_text
from posefuse.study.comparison import Comparison, MovingHits, PlanHits, PlanRow

__all__ = [
    "best_with_hits",
    "cost_sentence",
    "hits_table",
    "moving_sentence",
    "moving_table",
    "perfect_sentence",
    "rivals_sentence",
    "terminal_sentences",
]


def perfect_sentence(comparison: Comparison) -> str:
    """What a perfect estimate would score; empty where no hits are known."""
    perfect = [row.hits.perfect_per_100 for row in comparison.ranking if row.hits is not None]
    if not perfect:
        return ""
    low, high = number_text(min(perfect), 1), number_text(max(perfect), 1)
    told = low if low == high else f"{low} to {high} (by the plan)"
    return (
        "Hits are expected ones, by each shot's own error and the shooter's spread; a perfect "
        f"estimate would score {told} per 100."
    )


def terminal_sentences(comparison: Comparison) -> list[str]:
    """What goes with the hits in the ranked table; why there are none where a shooter is told."""
    if best_with_hits(comparison) is not None:
        told = [perfect_sentence(comparison), rivals_sentence(comparison)]
        return [sentence for sentence in told if sentence]
    shooters = [plan.rig.body.shooter for plan in comparison.study.plans]
    if not any(plan_shooter is not None for plan_shooter in shooters):
        return []
    left_out = next(left_out_sentence(shooter) for shooter in shooters if shooter is not None)
    if not left_out or not any(course.shots for course in comparison.study.courses):
        return []
    return [f"Hits are not told: {left_out.partition(': ')[0]}."]


def best_with_hits(comparison: Comparison) -> PlanRow | None:
    """The first of the ranking whose hits are known."""
    return next((row for row in comparison.ranking if row.hits is not None), None)


def cost_sentence(comparison: Comparison) -> str:
    """What the best plan's errors and its shooter cost; empty where no hits are known."""
    row = best_with_hits(comparison)
    if row is None or row.hits is None:
        return ""
    hits = row.hits
    lost = hits.perfect_per_100 - hits.per_100.value
    return (
        f"With “{row.plan}” {number_text(hits.per_100.value, 1)} of 100 shots go in; a perfect "
        f"estimate would score {number_text(hits.perfect_per_100, 1)}: its errors cost "
        f"{number_text(lost, 1)} shots in 100, the shooter's own spread "
        f"{number_text(100.0 - hits.perfect_per_100, 1)}."
    )


def rivals_sentence(comparison: Comparison) -> str:
    """How many shots the other plans cost or win."""
    rivals = [
        (row.plan, row.hits)
        for row in comparison.ranking
        if row.hits is not None and row.hits.more_than_best is not None
    ]
    if not rivals:
        return ""
    apart = [(plan, hits) for plan, hits in rivals if not hits.is_tie]
    if not apart:
        return "In hits these trials cannot tell the plans apart: choose by cost, weight or wiring."
    plan, hits = min(apart, key=lambda rival: _more(rival[1]))
    verb = "costs" if _more(hits) < 0.0 else "wins"
    best = comparison.ranking[0].plan
    return f"Against “{best}”, “{plan}” {verb} {_span(hits)} shots in 100."


def _more(hits: PlanHits) -> float:
    return hits.more_than_best.value if hits.more_than_best is not None else 0.0


def _span(hits: PlanHits) -> str:
    more = hits.more_than_best
    if more is None or not math.isfinite(more.low):
        return number_text(abs(_more(hits)), 1)
    low, high = sorted((abs(more.low), abs(more.high)))
    return f"{number_text(abs(more.value), 1)} ({number_text(low, 1)} to {number_text(high, 1)})"


def moving_sentence(comparison: Comparison) -> str:
    """What shooting on the move costs against stopping; empty where no shot is on the move."""
    row = best_with_hits(comparison)
    moving = row.hits.moving if row is not None and row.hits is not None else None
    if row is None or moving is None:
        return ""
    led, unled, stopped = (
        number_text(value, 1)
        for value in (moving.led_per_100, moving.unled_per_100, moving.stopped_per_100)
    )
    gain = moving.stopped_per_100 - moving.led_per_100
    advice = (
        f"stopping would win {number_text(gain, 1)} shots in 100 of these"
        if gain > 0.0
        else "stopping would win nothing"
    )
    return (
        f"{moving.shot_count} shots a trial are taken on the move: with the lead that “{row.plan}” "
        f"works out from its wheels' velocity {led} of 100 go in, aimed as if at rest {unled}, "
        f"from a standstill in the same place {stopped}: {advice}."
    )


def hits_table(comparison: Comparison, rankings: dict[str, tuple[PlanRow, ...]]) -> Table:
    """Hits in 100 shots of each plan, over all and on each course.

    Parameters
    ----------
    rankings
        The ranking on each course alone.
    """
    by_course = {
        (row.plan, course): "–" if row.hits is None else number_text(row.hits.per_100.value, 1)
        for course, rows in rankings.items()
        for row in rows
    }
    return Table(
        ("plan", *HITS_HEADERS, "with a perfect estimate", *rankings),
        tuple(
            (
                row.plan,
                *hits_texts(row),
                UNKNOWN if row.hits is None else number_text(row.hits.perfect_per_100, 1),
                *(by_course[row.plan, course] for course in rankings),
            )
            for row in comparison.ranking
        ),
    )


def moving_table(comparison: Comparison) -> Table | None:
    """Hits in 100 of the shots on the move, led and not, against stopping; ``None`` without any."""
    moving = [
        (row.plan, row.hits.moving)
        for row in comparison.ranking
        if row.hits is not None and row.hits.moving is not None
    ]
    if not moving:
        return None
    return Table(
        ("plan", "shots on the move", "with lead", "aimed as if at rest", "stopping there"),
        tuple((plan, *_moving_texts(hits)) for plan, hits in moving),
    )


def _moving_texts(hits: MovingHits) -> tuple[str, ...]:
    figures = (hits.led_per_100, hits.unled_per_100, hits.stopped_per_100)
    return (str(hits.shot_count), *(number_text(figure, 1) for figure in figures))
