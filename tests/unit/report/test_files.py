"""Results for other programs: strict, complete, the same for the same comparison."""

import csv
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posefuse.report.files import results_of, write_results
from posefuse.study.comparison import Comparison


def refuse(name: str) -> None:
    raise AssertionError(f"{name} is not JSON")


def read(folder: Path) -> dict:
    text = (folder / "results.json").read_text(encoding="utf-8")
    return json.loads(text, parse_constant=refuse)


def test_json_holds_scenario_seed_version_and_figures(
    comparison: Comparison, tmp_path: Path
) -> None:
    write_results(comparison, tmp_path)
    results = read(tmp_path)
    assert results["study"] == "small <study> & more"
    assert (results["seed"], results["trials"]) == (7, 3)
    assert results["posefuse_version"]
    assert [row["place"] for row in results["ranking"]] == [1, 2]
    best = results["ranking"][0]
    assert best["distance_rms_m"]["value"] == comparison.ranking[0].distance_rms_m.value
    assert best["more_than_best_m"] is None
    assert best["pivot_rms_rad"] is None  # the robot has no shooter
    # RMS over all shots and trials, worked out again from the scorecards
    run = comparison.run(best["plan"], "half a round")
    errors = np.concatenate([card.shots.distance_error_m for card in run.cards])
    assert best["distance_rms_m"]["value"] == pytest.approx(np.sqrt(np.mean(errors**2)))
    fused = sum(card.outcomes["fused"] for card in run.cards)
    assert best["fused_count"] == fused > 0


def test_the_same_comparison_gives_the_same_bytes(comparison: Comparison, tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        write_results(comparison, tmp_path / name)
    for file in ("results.json", "results.csv"):
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes()


def test_csv_has_a_line_for_each_plan_over_all_and_on_each_course(
    comparison: Comparison, tmp_path: Path
) -> None:
    write_results(comparison, tmp_path)
    with (tmp_path / "results.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["course"] for row in rows] == ["all", "all", "half a round", "half a round"]
    assert {row["seed"] for row in rows} == {"7"}
    assert {row["study"] for row in rows} == {"small <study> & more"}
    best = comparison.ranking[0]
    assert rows[0]["plan"] == best.plan
    assert float(rows[0]["distance_rms_m"]) == best.distance_rms_m.value
    assert float(rows[0]["distance_rms_low_m"]) == best.distance_rms_m.low
    assert rows[0]["more_than_best_m"] == ""
    assert rows[0]["pivot_rms_rad"] == ""
    # one course only: its figures are those over all
    assert rows[2]["distance_rms_m"] == rows[0]["distance_rms_m"]
    assert rows[0]["hits_per_100"] == ""  # the robot has no shooter
    units = ("_m", "_rad", "_count", "share", "nees", "place", "trials", "seed", "tie", "per_100")
    names = ("study", "posefuse_version", "course", "plan", "is_tie_in_hits")
    assert all(name in names or name.endswith(units) for name in rows[0])


def test_hits_are_in_both_files(armed_comparison: Comparison, tmp_path: Path) -> None:
    write_results(armed_comparison, tmp_path)
    best, other = read(tmp_path)["ranking"]
    first, second = armed_comparison.ranking
    assert best["hits_per_100"]["value"] == first.hits.per_100.value
    assert best["more_hits_than_best_per_100"] is None
    assert other["more_hits_than_best_per_100"]["low"] == second.hits.more_than_best.low
    assert other["is_tie_in_hits"] == second.hits.is_tie
    assert best["perfect_hits_per_100"] == first.hits.perfect_per_100
    assert best["moving_shots_count"] == 3
    assert best["moving_stopped_hits_per_100"] == first.hits.moving.stopped_per_100
    with (tmp_path / "results.csv").open(encoding="utf-8", newline="") as file:
        row = next(csv.DictReader(file))
    assert float(row["hits_per_100"]) == first.hits.per_100.value
    assert float(row["hits_low_per_100"]) == first.hits.per_100.low
    assert float(row["moving_led_hits_per_100"]) == first.hits.moving.led_per_100


def test_numbers_json_cannot_spell_become_null(comparison: Comparison, tmp_path: Path) -> None:
    first, *rest = comparison.ranking
    unknown = replace(first, nees=math.inf, bound_rms_m=math.nan)
    write_results(replace(comparison, ranking=(unknown, *rest)), tmp_path)
    assert read(tmp_path)["ranking"][0]["nees"] is None
    assert read(tmp_path)["ranking"][0]["bound_rms_m"] is None


def test_results_tell_plans_and_courses(comparison: Comparison) -> None:
    results = results_of(comparison)
    assert [plan["name"] for plan in results["plans"]] == ["front <b>&amp;", "three ways"]
    assert results["courses"] == [{"name": "half a round", "duration_s": 6.0, "shots": 3}]
