"""Findings against what the scorecards, the parts and plain figures say."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from posefuse.fusion.estimate import Outcome
from posefuse.fusion.fuse import fuse
from posefuse.motion.course import Lift
from posefuse.study.compare import compare
from posefuse.study.comparison import Comparison
from posefuse.study.findings import MOST_PLANS, Findings, findings_of
from posefuse.study.floor_map import floor_map
from posefuse.study.hit_map import hit_map
from posefuse.study.ranking import rank_plans
from posefuse.study.shot_room import spreads_at_places
from posefuse.study.whole_course import whole_course_rms_m
from small_court import SHOOTER, armed, small_study

COURSES = ("easy", "hard")


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    """Two plans, one of them with a shooter, on two courses of unlike shots."""
    study = armed(small_study(trials=2), None, SHOOTER)
    (drive,) = study.courses
    easy = replace(drive, name="easy", shots=drive.shots[:1])
    return compare(replace(study, courses=(easy, replace(drive, name="hard"))), workers=1)


@pytest.fixture(scope="module")
def findings(comparison: Comparison) -> Findings:
    return findings_of(comparison, workers=1)


def test_each_course_has_its_own_ranking(comparison: Comparison, findings: Findings) -> None:
    assert tuple(findings.course_rankings) == COURSES
    for course, rows in findings.course_rankings.items():
        own = [trials for trials in comparison.plan_trials if trials.course == course]
        assert repr(rows) == repr(rank_plans(comparison.study, own))
    assert repr(findings.course_rankings["easy"]) != repr(findings.course_rankings["hard"])


def test_counts_are_those_of_all_trials(comparison: Comparison, findings: Findings) -> None:
    for trials in comparison.plan_trials:
        counts = findings.counts[trials.plan, trials.course]
        for outcome in Outcome:
            name = outcome.name.lower()
            expected = sum(card.outcomes[name] for card in trials.cards)
            assert counts[f"{name}_count"] == expected
        lost = sum(card.dropped_frame_count for card in trials.cards)
        assert counts["dropped_frame_count"] == lost
    plan = comparison.study.plans[0].name
    easy, hard = (findings.counts[plan, course] for course in COURSES)
    whole = findings.counts_of(plan)
    assert whole == {name: easy[name] + hard[name] for name in easy}
    assert whole["fused_count"] > easy["fused_count"] > 0


def test_errors_are_those_at_the_shots(comparison: Comparison, findings: Findings) -> None:
    assert findings.shown_plans == tuple(row.plan for row in comparison.ranking)
    for plan in findings.shown_plans:
        of_course = [comparison.trials_of(plan, course) for course in COURSES]
        parts = [
            np.concatenate([card.shots.distance_error_m for card in trials.cards])
            for trials in of_course
        ]
        for course, part in zip(COURSES, parts, strict=True):
            assert findings.course_errors_m[plan, course].tolist() == part.tolist()
        assert findings.errors_m[plan].tolist() == np.concatenate(parts).tolist()


def test_nees_is_averaged_over_the_trials_and_judged(
    comparison: Comparison, findings: Findings
) -> None:
    for plan in findings.shown_plans:
        averages = [
            np.mean([card.shots.nees for card in comparison.trials_of(plan, course).cards], axis=0)
            for course in COURSES
        ]
        of_plan = findings.nees_at_shots[plan]
        assert of_plan.at_shots == pytest.approx(np.concatenate(averages))
        (row,) = (row for row in comparison.ranking if row.plan == plan)
        for end in ("value", "low", "high"):
            assert getattr(of_plan.mean, end) == pytest.approx(getattr(row.nees_mean, end))
    low, high = stats.chi2(6).ppf([0.025, 0.975]) / 2.0  # two trials of three numbers
    assert findings.nees_region == pytest.approx((low, high))
    every = np.concatenate([each.at_shots for each in findings.nees_at_shots.values()])
    assert findings.consistent_share == pytest.approx(np.mean((every >= low) & (every <= high)))
    at_shots = np.array([*findings.nees_region, 0.9 * low, np.nan, 99.0])
    some = replace(findings, nees_at_shots={"a": replace(of_plan, at_shots=at_shots)})
    assert some.consistent_share == 0.5
    assert math.isnan(replace(findings, nees_at_shots={}).consistent_share)


def test_maps_are_of_each_plan_with_its_own_errors(
    comparison: Comparison, findings: Findings
) -> None:
    study = comparison.study
    assert set(findings.floor_maps) == {plan.name for plan in study.plans}
    for plan in study.plans:
        expected = floor_map(
            arena=study.arena,
            rig=plan.rig,
            goal=study.goal,
            settings=plan.settings,
            spreads=study.spreads,
            cell_m=0.3,
        )
        np.testing.assert_allclose(
            findings.floor_maps[plan.name].distance_rms_m, expected.distance_rms_m, rtol=1e-12
        )
        assert findings.floor_maps[plan.name].x_edges_m[1] == pytest.approx(0.3)
    with_shooter = study.plans[1].name
    assert list(findings.hit_maps) == [with_shooter]
    expected = hit_map(findings.floor_maps[with_shooter], shooter=SHOOTER)
    np.testing.assert_array_equal(findings.hit_maps[with_shooter].shares, expected.shares)


def test_other_maps_are_differences_to_the_chosen_plans(findings: Findings) -> None:
    (base,) = findings.hit_maps
    assert findings.hit_base == base
    assert findings.hit_differences_per_100 == {}
    assert findings.hit_difference_span_per_100 == 1.0
    steps = np.linspace(-7.0, 1.0, 101)
    some = replace(findings, hit_differences_per_100={"a": steps, "b": np.array([np.nan])})
    assert some.hit_difference_span_per_100 == 10.0  # 2 in 100 exceed 6.84: the next round number


def test_hits_are_subtracted_where_both_can_stand() -> None:
    study = armed(small_study(trials=2), SHOOTER, SHOOTER)
    found = findings_of(compare(study, workers=1), workers=1)
    base = found.decision.plan
    assert found.hit_base == base
    (other,) = found.hit_differences_per_100
    assert {base, other} == set(found.hit_maps)
    np.testing.assert_allclose(
        found.hit_differences_per_100[other],
        100.0 * found.hit_maps[other].shares - 100.0 * found.hit_maps[base].shares,
        atol=1e-9,
    )
    assert np.nanmax(np.abs(found.hit_differences_per_100[other])) > 0.0


def test_a_lift_is_known_by_its_greatest_rise(findings: Findings) -> None:
    assert findings.lift_travel_m == {}
    study = small_study(trials=1)
    (drive,) = study.courses
    lifts = [Lift(box="mast", at_s=[1.0, 2.0], raise_m=[0.0, up_m]) for up_m in (0.35, 0.2)]
    courses = tuple(
        replace(drive, name=f"lift {place}", lifts=(lift,)) for place, lift in enumerate(lifts)
    )
    made = findings_of(compare(replace(study, courses=courses), workers=1), workers=1)
    assert made.lift_travel_m == {"mast": 0.35}


def test_errors_all_the_way_are_by_plan_and_course(
    comparison: Comparison, findings: Findings
) -> None:
    for plan in comparison.study.plans:
        of_plan = [comparison.trials_of(plan.name, course) for course in COURSES]
        assert findings.whole_rms_m[plan.name] == whole_course_rms_m(of_plan)
        for course, trials in zip(COURSES, of_plan, strict=True):
            expected = whole_course_rms_m([trials])
            assert findings.whole_course_rms_m[plan.name, course] == expected > 0.0


def test_figures_of_a_map_are_over_the_floor_where_the_robot_can_stand(findings: Findings) -> None:
    one = next(iter(findings.hit_maps.values()))
    stands, floor = one.floor.is_standable, one.floor
    assert floor.median_distance_rms_m == np.median(floor.distance_rms_m[stands])
    assert floor.no_tag_share == np.mean(floor.tags_seen[stands] < 0.5)
    assert one.likely_share == np.mean(one.shares[stands] >= 0.9)
    assert 0.0 < one.likely_share < 1.0
    assert 0 < stands.sum() < stands.size


def test_room_and_spreads_are_those_of_the_shots(
    comparison: Comparison, findings: Findings
) -> None:
    study = comparison.study
    assert findings.room.goal is study.goal
    for plan in findings.shown_plans:
        shots = [
            card.shots for course in COURSES for card in comparison.trials_of(plan, course).cards
        ]
        expected = spreads_at_places(shots, arena=study.arena, goal=study.goal)
        assert findings.spreads[plan].distance.means.tolist() == expected.distance.means.tolist()


def test_the_trials_shown_are_the_first_of_best_and_last_on_the_hardest_course(
    comparison: Comparison, findings: Findings
) -> None:
    best, last = comparison.ranking
    rms_m = {
        course: row.distance_rms_m.value
        for course, rows in findings.course_rankings.items()
        for row in rows
        if row.plan == best.plan
    }
    hardest = max(rms_m, key=rms_m.get)
    assert [trial.title for trial in findings.trials] == [
        f"{row.plan}, {hardest}, first trial" for row in (best, last)
    ]
    for row, trial in zip((best, last), findings.trials, strict=True):
        plan = comparison.study.plan(row.plan)
        recording = comparison.trials_of(row.plan, hardest).first
        estimate = fuse(
            recording, rig=plan.rig, arena=comparison.study.arena, settings=plan.settings
        )
        assert trial.recording is recording
        np.testing.assert_array_equal(trial.estimate.poses, estimate.poses)
    assert findings.strip.title == findings.trials[0].title
    shots = comparison.study.course(hardest).shots[:2]
    assert [instant.at_s for instant in findings.strip.instants] == [shot.at_s for shot in shots]
    mounts = len(comparison.study.plan(best.plan).rig.mounts)
    assert all(len(row) == mounts for row in findings.strip.frames)


def test_little_is_found_of_a_lone_plan_without_shots_tags_or_shooter() -> None:
    study = small_study(trials=1)
    tags = tuple(replace(tag, family="49h12") for tag in study.arena.tags)
    lone = replace(
        study,
        arena=replace(study.arena, tags=tags),
        plans=study.plans[:1],
        courses=(replace(study.courses[0], shots=()),),
    )
    found = findings_of(compare(lone, workers=1), workers=1)
    assert found.nees_at_shots == found.hit_maps == found.spreads == {}
    assert found.room is found.strip is None
    assert "OpenCV carries no tag family '49h12'" in found.no_images
    assert len(found.trials) == 1


def test_of_many_plans_the_last_are_not_worked_out() -> None:
    study = small_study(trials=1)
    plans = tuple(replace(study.plans[0], name=f"plan {n}") for n in range(MOST_PLANS + 2))
    found = findings_of(compare(replace(study, plans=plans), workers=1), workers=1)
    ranked = [row.plan for row in found.comparison.ranking]
    assert found.shown_plans == tuple(ranked[:12])
    assert set(found.floor_maps) == set(found.errors_m) == set(ranked[:12])
    assert {plan for plan, _ in found.counts} == set(ranked)
