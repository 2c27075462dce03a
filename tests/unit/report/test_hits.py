"""What a comparison says about the shots."""

import re
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from posefuse.aim.arcs import Arc
from posefuse.fusion.fuse import fuse
from posefuse.fusion.settings import FilterSettings
from posefuse.recording.folder import StoredRecording
from posefuse.report.comparison import write_comparison_report
from posefuse.report.comparison_tables import comparison_table, course_rankings
from posefuse.report.hit_pictures import comparison_room
from posefuse.report.hits_section import (
    cost_sentence,
    hits_table,
    moving_sentence,
    moving_table,
    perfect_sentence,
    rivals_sentence,
    terminal_sentences,
)
from posefuse.report.replay import write_replay_report
from posefuse.report.shot_room import shot_room, spreads_at_places
from posefuse.robot.shooter import ShooterSpread
from posefuse.scoring.score import score
from posefuse.simulation.simulate import simulate
from posefuse.statistics.intervals import Interval
from posefuse.study.compare import plan_scene
from posefuse.study.comparison import Comparison, MovingHits, PlanHits
from small_court import SHOOTER, armed, small_study

MADE_AT = datetime(2026, 3, 1, 12, 30)


def hits(per_100: float, more: tuple[float, float, float] | None = None, **changes) -> PlanHits:
    told = {
        "per_100": Interval(value=per_100, low=per_100 - 1.0, high=per_100 + 1.0),
        "more_than_best": None
        if more is None
        else Interval(value=more[0], low=more[1], high=more[2]),
        "is_tie": more is not None and more[1] <= 0.0 <= more[2],
        "perfect_per_100": 95.0,
        "moving": None,
    }
    return PlanHits(**{**told, **changes})


def told(comparison: Comparison, *of_plans: PlanHits | None) -> Comparison:
    rows = zip(comparison.ranking, of_plans, strict=True)
    return replace(comparison, ranking=tuple(replace(row, hits=each) for row, each in rows))


def test_costs_are_told_apart(comparison: Comparison) -> None:
    some = told(comparison, hits(91.5), hits(85.5, (-6.0, -7.5, -4.5)))
    name = comparison.ranking[0].plan
    assert cost_sentence(some) == (
        f"With “{name}” 91.5 of 100 shots go in; a perfect estimate would score 95.0: its errors "
        "cost 3.5 shots in 100, the shooter's own spread 5.0."
    )
    other = comparison.ranking[1].plan
    assert rivals_sentence(some) == (
        f"Against “{name}”, “{other}” costs 6.0 (4.5 to 7.5) shots in 100."
    )
    assert perfect_sentence(some).endswith("a perfect estimate would score 95.0 per 100.")


def test_ties_wins_and_one_trial(comparison: Comparison) -> None:
    tie = told(comparison, hits(91.0), hits(90.0, (-1.0, -2.0, 0.5)))
    assert rivals_sentence(tie).startswith("In hits these trials cannot tell the plans apart")
    win = told(comparison, hits(91.0), hits(92.0, (1.0, 0.5, 2.0)))
    assert "wins 1.0 (0.5 to 2.0) shots in 100" in rivals_sentence(win)
    lone = told(comparison, hits(91.0), hits(90.0, (-1.0, np.nan, np.nan)))
    assert "costs 1.0 shots in 100" in rivals_sentence(lone)
    two = told(comparison, hits(91.0), hits(90.0, (-1.0, -2.0, 0.5), perfect_per_100=99.0))
    assert "95.0 to 99.0 (by the plan) per 100" in perfect_sentence(two)


def test_without_hits_nothing_is_said(comparison: Comparison) -> None:
    assert cost_sentence(comparison) == ""
    assert rivals_sentence(comparison) == ""
    assert perfect_sentence(comparison) == ""
    assert terminal_sentences(comparison) == []
    assert moving_sentence(comparison) == ""
    assert moving_table(comparison) is None
    assert comparison_room(comparison) is None


def test_the_terminal_tells_costs_and_why_hits_are_missing(comparison: Comparison) -> None:
    some = told(comparison, hits(91.5), hits(85.5, (-6.0, -7.5, -4.5)))
    assert terminal_sentences(some) == [perfect_sentence(some), rivals_sentence(some)]
    plain = replace(SHOOTER, projectile=None, spread=ShooterSpread())
    study = armed(comparison.study, plain, plain)
    (why,) = terminal_sentences(replace(comparison, study=study))
    assert why.startswith("Hits are not told: [shooter] has no [shooter.projectile] (")
    assert "no spread such as exit_speed_std_m_per_s (every throw goes as told)." in why


@pytest.mark.parametrize(
    ("stopped", "words"),
    [(99.0, "stopping would win 9.0 shots in 100 of these."), (88.0, "would win nothing.")],
)
def test_moving_is_set_against_stopping(comparison: Comparison, stopped: float, words: str) -> None:
    moving = MovingHits(shot_count=4, led_per_100=90.0, unled_per_100=20.0, stopped_per_100=stopped)
    some = told(comparison, hits(91.0, moving=moving), hits(90.0, (-1.0, -2.0, 0.5)))
    assert moving_sentence(some).startswith("4 shots a trial are taken on the move: ")
    assert moving_sentence(some).endswith(words)
    table = moving_table(some)
    assert table.rows == ((comparison.ranking[0].plan, "4", "90.0", "20.0", f"{stopped:.1f}"),)


def test_the_table_has_a_column_a_course(armed_comparison: Comparison) -> None:
    rankings = course_rankings(armed_comparison)
    table = hits_table(armed_comparison, rankings)
    assert table.headers[-2:] == ("with a perfect estimate", "half a round")
    for row, plan in zip(table.rows, armed_comparison.ranking, strict=True):
        assert len(row) == len(table.headers)
        assert row[-1] == f"{plan.hits.per_100.value:.1f}"  # one course: that over all
    assert "hits per 100" not in comparison_table(armed_comparison).without("hits per 100").headers


def test_room_and_errors_at_the_places_shot_from(armed_comparison: Comparison) -> None:
    study = armed_comparison.study
    room = comparison_room(armed_comparison)
    runs = armed_comparison.run(study.plans[0].name, "half a round")
    shots = [card.shots for card in runs.cards]
    true_m = np.sort(shots[0].true_distance_m)
    assert room.arc is Arc.LOW
    assert room.places_m == pytest.approx(true_m)
    assert room.band.distances_m[0] <= true_m[0] < true_m[-1] <= room.band.distances_m[-1]
    assert (room.places_enough_m > 0.0).all()
    distance, bearing = spreads_at_places("a", 0, shots, arena=study.arena, goal=study.goal)
    nearest = np.argmin(shots[0].true_distance_m)
    errors = np.array([each.distance_error_m[nearest] for each in shots])
    assert distance.means[0] == pytest.approx(errors.mean())
    assert (distance.lows[0], distance.highs[0]) == pytest.approx(
        tuple(np.percentile(errors, [2.5, 97.5]))
    )
    assert bearing.means[0] == pytest.approx(
        np.mean([each.bearing_error_rad[nearest] for each in shots])
    )
    sentence = room.sentence("cm")
    assert len(re.findall(r" cm at \d\.\d\d m", sentence)) == 3


def test_out_of_reach_there_is_no_room(armed_comparison: Comparison) -> None:
    study = armed_comparison.study
    shots = [armed_comparison.runs[0].cards[0].shots]
    weak = replace(SHOOTER, exit_speed_m_per_s=3.0)
    assert shot_room(shots, arena=study.arena, goal=study.goal, shooter=weak) is None
    tall = replace(study.goal, name="tall", height_m=0.9)
    arena = replace(study.arena, goals=(*study.arena.goals, tall))
    assert shot_room(shots, arena=arena, goal=tall, shooter=SHOOTER) is None


def test_the_page_tells_shots_and_shows_room_and_map(
    armed_comparison: Comparison, tmp_path: Path
) -> None:
    write_comparison_report(armed_comparison, tmp_path / "r.html", made_at=MADE_AT)
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    figures = re.findall(r'<figure id="(\w+)"', page)
    first = figures.index("tolerance")
    assert figures[first - 1 : first + 3] == ["rigs", "tolerance", "hit_map", "expected_error"]
    assert "What it means for the shots" in page
    assert "Better vision adds less than one hit in 100 once" in page
    assert "taken on the move" in page
    assert "build errors included" in page
    assert "<dt>Hits per 100</dt>" in page
    assert page.count("the supervising adult decide") == 1
    assert "nan" not in page.lower().split()


def test_a_replay_tells_hits_and_room(tmp_path: Path) -> None:
    study = armed(small_study(), SHOOTER, SHOOTER)
    plan = study.plans[1]
    recording = simulate(plan_scene(study, plan, study.courses[0]), seed=3, trial=0)
    stored = StoredRecording(
        recording=recording,
        rig=plan.rig,
        arena=study.arena,
        rig_path=Path("rig.toml"),
        arena_path=Path("arena.toml"),
        goal=None,
    )
    settings = FilterSettings()
    estimate = fuse(recording, rig=plan.rig, arena=study.arena, settings=settings)
    card = score(
        recording,
        estimate=estimate,
        truth=recording.truth,
        arena=study.arena,
        shooter=plan.rig.body.shooter,
    )
    write_replay_report(
        stored,
        tmp_path / "r.html",
        estimate=estimate,
        card=card,
        settings=settings,
        made_at=MADE_AT,
    )
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert f"Of 100 such shots {100.0 * card.hits.shares.mean():.1f} go in" in page
    assert '<figure id="tolerance"' in page
