"""What a comparison means for the shots: sentences and tables."""

from posefuse.report.aim_wording import left_out_sentence
from posefuse.report.tables import Table, plan_texts
from posefuse.report.wording import figure_header, figure_text, number_text
from posefuse.statistics.intervals import Interval
from posefuse.study.comparison import Comparison
from posefuse.study.findings import Findings

__all__ = [
    "cost_sentence",
    "hits_table",
    "moving_sentence",
    "moving_table",
    "perfect_sentence",
    "rivals_sentence",
    "terminal_sentences",
]

_HITS = ("hits_per_100", "hits_difference_to_best_per_100", "perfect_hits_per_100")
_MOVING = (
    "moving_shot_count",
    "moving_led_hits_per_100",
    "moving_unled_hits_per_100",
    "moving_stopped_hits_per_100",
)


def perfect_sentence(comparison: Comparison) -> str:
    """What a perfect estimate would score; empty where no hits are known."""
    perfect = [row.hits.perfect_per_100 for row in comparison.ranking if row.hits is not None]
    if not perfect:
        return ""
    low, high = number_text(min(perfect), 1), number_text(max(perfect), 1)
    score = low if low == high else f"{low} to {high} (by the plan)"
    return (
        "Hits are expected values, from each shot's own error and the shooter's spread; a perfect "
        f"estimate would score {score} per 100."
    )


def terminal_sentences(comparison: Comparison) -> list[str]:
    """What goes with the hits in the ranked table, or why a study with a shooter has none."""
    if comparison.best_with_hits is not None:
        sentences = [perfect_sentence(comparison), rivals_sentence(comparison)]
        return [sentence for sentence in sentences if sentence]
    shooters = [plan.rig.body.shooter for plan in comparison.study.plans]
    shooter = next((one for one in shooters if one is not None), None)
    left_out = "" if shooter is None else left_out_sentence(shooter)
    if not left_out or not any(course.shots for course in comparison.study.courses):
        return []
    return [f"No hits are given: {left_out.partition(': ')[0]}."]


def cost_sentence(comparison: Comparison) -> str:
    """What the best plan's errors and its shooter cost; empty where no hits are known."""
    row = comparison.best_with_hits
    if row is None or row.hits is None:
        return ""
    hits, perfect, lost, spread = (
        number_text(value, 1)
        for value in (
            row.hits.per_100.value,
            row.hits.perfect_per_100,
            row.hits.lost_by_errors_per_100,
            row.hits.lost_by_shooter_per_100,
        )
    )
    return (
        f"With “{row.plan}” {hits} of 100 shots go in; a perfect estimate would score {perfect}: "
        f"its errors cost {lost} shots in 100, the shooter's own spread {spread}."
    )


def rivals_sentence(comparison: Comparison) -> str:
    """How many shots the other plans cost against the one of which the most go in."""
    rivals = [
        (row.plan, row.hits.difference_to_best, row.hits.is_tie)
        for row in comparison.ranking
        if row.hits is not None and row.hits.difference_to_best is not None
    ]
    if not rivals:
        return ""
    apart = [(plan, difference) for plan, difference, is_tie in rivals if not is_tie]
    if not apart:
        return "In hits these trials cannot separate the plans: choose by cost, weight or wiring."
    plan, difference = min(apart, key=lambda rival: rival[1].value)
    best = next(
        row.plan
        for row in comparison.ranking
        if row.hits is not None and row.hits.difference_to_best is None
    )
    return (
        f"The most go in with “{best}”; against it “{plan}” costs {_cost(difference)} shots in 100."
    )


def _cost(difference: Interval) -> str:
    least, cost, most = (
        number_text(-end, 1) for end in (difference.high, difference.value, difference.low)
    )
    return f"{cost} ({least} to {most})" if difference.is_known else cost


def moving_sentence(comparison: Comparison) -> str:
    """What shooting on the move costs against stopping; empty where no shot is on the move."""
    row = comparison.best_with_hits
    moving = row.hits.moving if row is not None and row.hits is not None else None
    if row is None or moving is None:
        return ""
    led, unled, stopped, gain = (
        number_text(value, 1)
        for value in (
            moving.led_per_100,
            moving.unled_per_100,
            moving.stopped_per_100,
            moving.stopping_gain_per_100,
        )
    )
    advice = (
        f"stopping would win {gain} shots in 100 of these"
        if moving.stopping_gain_per_100 > 0.0
        else "stopping would win nothing"
    )
    return (
        f"{moving.shot_count} shots a trial are taken on the move: with the lead that “{row.plan}” "
        f"works out from its wheels' velocity {led} of 100 go in, aimed as if at rest {unled}, "
        f"from a standstill in the same place {stopped}: {advice}."
    )


def hits_table(findings: Findings) -> Table:
    """Hits per 100 shots of each plan, over all and on each course."""
    rankings = findings.course_rankings
    by_course = {
        (row.plan, course): figure_text(
            "hits_per_100", None if row.hits is None else row.hits.per_100.value
        )
        for course, rows in rankings.items()
        for row in rows
    }
    return Table(
        ("plan", *(figure_header(name) for name in _HITS), *rankings),
        tuple(
            (
                row.plan,
                *plan_texts(row, _HITS),
                *(by_course[row.plan, course] for course in rankings),
            )
            for row in findings.comparison.ranking
        ),
    )


def moving_table(comparison: Comparison) -> Table | None:
    """Hits per 100 of the shots on the move, led and not, against stopping; ``None`` without."""
    rows = [
        row for row in comparison.ranking if row.hits is not None and row.hits.moving is not None
    ]
    if not rows:
        return None
    return Table(
        ("plan", *(figure_header(name) for name in _MOVING)),
        tuple((row.plan, *plan_texts(row, _MOVING)) for row in rows),
    )
