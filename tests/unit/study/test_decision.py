"""Which plan is chosen, by hand-made rankings of three plans with 3, 2 and 1 cameras."""

import math
from dataclasses import replace

import numpy as np
import pytest

from posefuse.build_errors.spreads import BuildSpreads
from posefuse.fusion.settings import BuildErrors
from posefuse.statistics.best import hits_against_best, rms_against_best
from posefuse.statistics.intervals import Interval
from posefuse.study import decision as module
from posefuse.study.budget import error_budget
from posefuse.study.compare import compare
from posefuse.study.comparison import Comparison, PlanHits
from posefuse.study.decision import HitsVerdict, decide
from posefuse.study.whole_course import whole_course_rms_m
from small_court import SHOOTER, armed, small_rig, small_study

THREE, TWO, ONE = "three ways", "two ways", "front <b>&amp;"


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    study = small_study(trials=4)
    front, three = study.plans
    two = replace(three, name=TWO, rig=small_rig("front", "left"))
    return compare(armed(replace(study, plans=(front, three, two)), *[SHOOTER] * 3), workers=1)


def hits(per_100: float, more: tuple[float, float, float] | None) -> PlanHits:
    difference = None if more is None else Interval(value=more[0], low=more[1], high=more[2])
    return PlanHits(
        per_100=Interval(value=per_100, low=per_100 - 1.0, high=per_100 + 1.0),
        difference_to_best=difference,
        is_tie=difference is not None and difference.holds(0.0),
        perfect_per_100=97.0,
        moving=None,
    )


def nees(value: float) -> Interval:
    return Interval(value=value, low=0.8 * value, high=1.3 * value)


def ranked(comparison: Comparison, *rows: tuple[str, bool, PlanHits | None]) -> Comparison:
    """A ranking of plans: name, whether it ties with the best, hits."""
    of_plan = {row.plan: row for row in comparison.ranking}
    ranking = [
        replace(of_plan[name], is_tie=is_tie, hits=of_hits, nees_mean=nees(3.0))
        for name, is_tie, of_hits in rows
    ]
    return replace(comparison, ranking=tuple(ranking))


NEVER = (-1.0, -2.0, -0.5)


@pytest.mark.parametrize(
    ("rows", "chosen", "most_accurate", "cheaper"),
    [
        # alone at the top
        ([(THREE, False, None), (TWO, False, None), (ONE, False, None)], THREE, None, TWO),
        # a tie with fewer cameras
        ([(THREE, False, None), (TWO, True, None), (ONE, False, None)], TWO, THREE, ONE),
        # the fewest of several ties, not the first
        ([(THREE, False, None), (TWO, True, None), (ONE, True, None)], ONE, THREE, None),
        # the best has fewest cameras itself
        ([(ONE, False, None), (THREE, True, None), (TWO, False, None)], ONE, None, None),
        # the most accurate of those with fewer cameras
        ([(THREE, False, None), (ONE, False, None), (TWO, False, None)], THREE, None, ONE),
        # a tie that is known to cost a hit in 100 is not chosen; half a hit is no matter
        (
            [
                (THREE, False, hits(97.0, None)),
                (TWO, True, hits(94.0, (-3.0, -4.0, -1.5))),
                (ONE, False, hits(94.0, (-3.0, -4.0, -1.5))),
            ],
            THREE,
            None,
            TWO,
        ),
        (
            [
                (THREE, False, hits(97.0, None)),
                (TWO, True, hits(96.0, NEVER)),
                (ONE, False, hits(96.0, NEVER)),
            ],
            TWO,
            THREE,
            ONE,
        ),
    ],
)
def test_of_those_that_may_be_best_the_cheapest_is_chosen(
    comparison: Comparison, rows, chosen: str, most_accurate: str | None, cheaper: str | None
) -> None:
    found = decide(ranked(comparison, *rows), workers=1)
    assert found.plan == chosen
    assert found.cameras == {THREE: 3, TWO: 2, ONE: 1}[chosen]
    assert (found.most_accurate and found.most_accurate.plan) == most_accurate
    assert (found.cheaper and found.cheaper.plan) == cheaper
    ties = [name for place, (name, is_tie, _) in enumerate(rows) if is_tie or place == 0]
    assert found.ties == tuple(name for name in ties if name != chosen)
    assert found.plan_count == 3
    assert found.trials == comparison.trials


@pytest.mark.parametrize(
    ("differences", "verdict"),
    [
        ([None, (-0.1, -0.3, 0.1), (0.2, -0.1, 0.4)], HitsVerdict.ALIKE),
        ([None, (-5.0, -11.0, 1.0), (0.2, -0.1, 0.4)], HitsVerdict.ALIKE),
        ([None, (-0.3, -0.6, -0.1), (0.2, -0.1, 0.4)], HitsVerdict.CLOSE),
        ([None, (-0.3, -1.1, -0.1), (0.2, -0.1, 0.4)], HitsVerdict.APART),
        ([None, (-0.3, math.nan, math.nan), (0.9, math.nan, math.nan)], HitsVerdict.CLOSE),
        ([None, (-1.3, math.nan, math.nan), (0.9, math.nan, math.nan)], HitsVerdict.APART),
    ],
)
def test_hits_decide_only_where_they_differ(comparison: Comparison, differences, verdict) -> None:
    rows = [
        (name, False, hits(95.0 + place, difference))
        for place, (name, difference) in enumerate(zip((THREE, TWO, ONE), differences, strict=True))
    ]
    found = decide(ranked(comparison, *rows), workers=1)
    assert found.hits is verdict
    assert found.hits_range_per_100 == (95.0, 97.0)


def test_without_hits_nothing_is_said_of_them(comparison: Comparison) -> None:
    rows = [(name, False, None) for name in (THREE, TWO, ONE)]
    found = decide(ranked(comparison, *rows), workers=1)
    assert found.hits is HitsVerdict.UNKNOWN
    assert all(math.isnan(end) for end in found.hits_range_per_100)


def test_costs_are_paired_trial_by_trial(comparison: Comparison) -> None:
    """Against the statistics of the same two plans, from errors and hits read off the cards."""
    ranking = ranked(comparison, (THREE, False, None), (TWO, True, None), (ONE, False, None))
    found = decide(ranking, workers=1)
    (drive,) = comparison.study.courses

    def squares(plan: str) -> list[float]:
        cards = comparison.trials_of(plan, drive.name).cards
        return [float(np.mean(card.shots.distance_error_m**2)) for card in cards]

    def per_100(plan: str) -> list[float]:
        cards = comparison.trials_of(plan, drive.name).cards
        return [100.0 * float(np.mean(card.hits.shares)) for card in cards]

    _, dearer = rms_against_best([squares(TWO), squares(ONE)])
    assert found.cheaper.distance_m == dearer.difference
    rms_m = [math.sqrt(np.mean(squares(plan))) for plan in (TWO, ONE)]
    assert found.cheaper.distance_m.value == pytest.approx(rms_m[1] - rms_m[0])
    lost, _ = hits_against_best([per_100(TWO), per_100(ONE)])
    assert found.cheaper.lost_hits_per_100 == lost.difference
    assert found.cheaper.lost_hits_per_100.value == pytest.approx(
        np.mean(per_100(TWO)) - np.mean(per_100(ONE))
    )
    # what the chosen plan costs against the most accurate
    _, behind = rms_against_best([squares(THREE), squares(TWO)])
    assert found.most_accurate.distance_m == behind.difference


def test_hits_that_are_not_known_cost_nothing_known(comparison: Comparison) -> None:
    trials = tuple(
        replace(of, cards=tuple(replace(card, hits=None) for card in of.cards))
        if of.plan == ONE
        else of
        for of in comparison.plan_trials
    )
    ranking = ranked(comparison, (THREE, False, None), (ONE, False, None), (TWO, False, None))
    found = decide(replace(ranking, plan_trials=trials), workers=1)
    assert found.cheaper.plan == ONE
    assert found.cheaper.lost_hits_per_100 is None


def test_budget_and_filter_are_the_chosen_plans(
    comparison: Comparison, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []
    monkeypatch.setattr(
        module, "retuned", lambda comparison, plan, *, workers: asked.append((plan.name, workers))
    )
    ranking = ranked(comparison, (THREE, False, None), (TWO, True, None), (ONE, False, None))
    found = decide(ranking, workers=3)
    outlook = comparison.trials_of(TWO, "half a round").outlook
    assert found.budget == error_budget([outlook])
    assert found.nees == nees(3.0)
    assert not asked  # a consistent filter needs no other noise
    worse = [replace(row, nees_mean=nees(30.0)) for row in ranking.ranking]
    decide(replace(ranking, ranking=tuple(worse)), workers=3)
    assert asked == [(TWO, 3)]
    assert not found.knows_build
    unknown = [replace(row, nees_mean=nees(math.nan)) for row in ranking.ranking]
    decide(replace(ranking, ranking=tuple(unknown)), workers=3)
    assert len(asked) == 1


def test_a_filter_that_believes_other_spreads_is_told_these_and_no_noise(
    comparison: Comparison, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []
    monkeypatch.setattr(module, "retuned", lambda *given, **named: asked.append(given))

    def decided(believed: BuildSpreads, nees_mean: float):
        plans = tuple(
            replace(
                plan,
                settings=replace(
                    plan.settings, build_errors=BuildErrors.ESTIMATED, believed=believed
                ),
            )
            for plan in comparison.study.plans
        )
        rows = tuple(replace(row, nees_mean=nees(nees_mean)) for row in comparison.ranking)
        given = replace(comparison, study=replace(comparison.study, plans=plans), ranking=rows)
        return decide(given, workers=1)

    built = comparison.study.spreads
    other = built.changed(mount_angle_rad=0.5)
    (change,) = decided(other, 30.0).belief_changes
    assert (change.key, change.old_noise) == ("mount_angle_deg", pytest.approx(math.degrees(0.5)))
    assert change.new_noise == pytest.approx(math.degrees(built["mount_angle_rad"]))
    assert decided(other, 3.0).belief_changes == ()  # nothing shows that it is wrong
    assert not asked
    told = decided(built, 30.0)
    assert (told.belief_changes, told.knows_build) == ((), True)
    assert len(asked) == 1


def test_the_error_all_the_way_counts_every_row_alike(comparison: Comparison) -> None:
    of_plan = comparison.trials_of(TWO, "half a round")
    cards = []
    for card, count, rms_m in zip(
        of_plan.cards, (100, 300, 0, 50), (1.0, 2.0, 9.0, 9.0), strict=True
    ):
        distance = replace(card.whole_course.distance_m, rms=rms_m)
        known = None if rms_m == 9.0 and count else distance
        span = replace(card.whole_course, scored_count=count, distance_m=known)
        cards.append(replace(card, whole_course=span))
    made = replace(of_plan, cards=tuple(cards))
    assert whole_course_rms_m([made]) == pytest.approx(math.sqrt((100 + 300 * 4) / 400))
    unknown = tuple(
        replace(card, whole_course=replace(card.whole_course, distance_m=None)) for card in cards
    )
    assert math.isnan(whole_course_rms_m([replace(made, cards=unknown)]))
