"""Results for other programs: strict, complete, the same for the same command."""

import csv
import json
import math
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest

from made_decision import DECISION, interval
from posefuse.fusion.settings import BuildErrors, FilterSettings
from posefuse.report.files import (
    comparison_results,
    write_comparison_results,
    write_replay_results,
)
from posefuse.scoring.figures import FIGURES
from posefuse.statistics.intervals import Interval
from posefuse.study.findings import Findings
from posefuse.study.replay import Replay, replay
from posefuse.study.retuning import KeyChange
from small_court import small_study, stored_drive


def refuse(name: str) -> None:
    raise AssertionError(f"{name} is not JSON")


def read(folder: Path) -> dict:
    text = (folder / "results.json").read_text(encoding="utf-8")
    return json.loads(text, parse_constant=refuse)


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_json_holds_scenario_seed_version_and_figures(findings: Findings, tmp_path: Path) -> None:
    write_comparison_results(findings, tmp_path)
    comparison, results = findings.comparison, read(tmp_path)
    assert results["study"] == "small <study> & more"
    assert (results["seed"], results["trials"]) == (7, 3)
    assert results["posefuse_version"]
    assert [row["place"] for row in results["ranking"]] == [1, 2]
    best = results["ranking"][0]
    assert best["distance_rms_m"]["value"] == comparison.ranking[0].distance_rms_m.value
    assert best["difference_to_best_m"] is None
    assert best["pivot_rms_rad"] is None  # the robot has no shooter
    # RMS over all shots and trials, worked out again from the scorecards
    trials = comparison.trials_of(best["plan"], "half a round")
    errors = np.concatenate([card.shots.distance_error_m for card in trials.cards])
    assert best["distance_rms_m"]["value"] == pytest.approx(np.sqrt(np.mean(errors**2)))
    fused = sum(card.outcomes["fused"] for card in trials.cards)
    assert best["fused_count"] == fused > 0
    assert best["dropped_frame_count"] == sum(card.dropped_frame_count for card in trials.cards)


def test_every_figure_of_the_ranking_is_in_json_as_it_is_in_code(
    armed_findings: Findings, tmp_path: Path
) -> None:
    write_comparison_results(armed_findings, tmp_path)
    ranking = armed_findings.comparison.ranking
    for written, row in zip(read(tmp_path)["ranking"], ranking, strict=True):
        for name, value in row.figures().items():
            expected = asdict(value) if isinstance(value, Interval) else value
            assert written[name] == expected
        hits = row.hits
        assert written["hits_per_100"]["value"] == hits.per_100.value
        assert written["perfect_hits_per_100"] == hits.perfect_per_100
        assert written["moving_shot_count"] == hits.moving.shot_count == 3
        assert written["moving_led_hits_per_100"] == hits.moving.led_per_100
        assert written["moving_unled_hits_per_100"] == hits.moving.unled_per_100
        assert written["moving_stopped_hits_per_100"] == hits.moving.stopped_per_100
        assert (written["is_tie"], written["is_tie_in_hits"]) == (row.is_tie, hits.is_tie)
    other = ranking[1].hits.difference_to_best
    assert read(tmp_path)["ranking"][1]["hits_difference_to_best_per_100"]["low"] == other.low


def test_the_decision_is_in_json(findings: Findings, tmp_path: Path) -> None:
    write_comparison_results(replace(findings, decision=DECISION), tmp_path)
    assert read(tmp_path)["decision"] == {
        "plan": "four",
        "cameras": 4,
        "ties": ["five"],
        "hits": "apart",
        "most_accurate": None,
        "cheaper": {
            "plan": "two",
            "cameras": 2,
            "distance_m": {"value": 0.027, "low": 0.021, "high": 0.034, "level": 0.95},
            "lost_hits_per_100": {"value": 5.62, "low": 4.04, "high": 7.0, "level": 0.95},
        },
        "error_shares": {
            "mount angle": 0.36,
            "tag position": 0.25,
            "bias of detector and motion": 0.21,
            "noise": 0.14,
            "lean": 0.04,
        },
        "filter": "overconfident",
        "nees_mean": {"value": 12.0, "low": 10.1, "high": 15.3, "level": 0.95},
        "as_built_changes": {},
        "retuning": {
            "noise": {"position_floor_m": 0.13, "heading_floor_deg": 3.3},
            "trials": 10,
            "nees_mean": {"value": 3.1, "low": 2.2, "high": 5.2, "level": 0.95},
            "distance_rms_m": 0.0185,
        },
    }
    bare = replace(
        DECISION,
        most_accurate=replace(DECISION.cheaper, lost_hits_per_100=None),
        cheaper=None,
        budget=None,
        nees=interval(math.nan),
        belief_changes=(KeyChange(key="mount_angle_deg", old_noise=0.2, new_noise=0.5),),
        retuning=None,
    )
    write_comparison_results(replace(findings, decision=bare), tmp_path)
    written = read(tmp_path)["decision"]
    assert written["most_accurate"]["lost_hits_per_100"] is None
    assert written["cheaper"] is written["retuning"] is None
    assert written["filter"] == "unknown"
    assert written["nees_mean"]["value"] is None
    assert written["error_shares"] == {}
    assert written["as_built_changes"] == {"mount_angle_deg": 0.5}


def test_the_same_comparison_gives_the_same_bytes(findings: Findings, tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        write_comparison_results(findings, tmp_path / name)
    for file in ("results.json", "results.csv"):
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes()


def test_csv_has_a_line_for_each_plan_over_all_and_on_each_course(
    findings: Findings, tmp_path: Path
) -> None:
    write_comparison_results(findings, tmp_path)
    rows = table(tmp_path / "results.csv")
    assert [row["course"] for row in rows] == ["all", "all", "half a round", "half a round"]
    assert {row["seed"] for row in rows} == {"7"}
    assert {row["study"] for row in rows} == {"small <study> & more"}
    best = findings.comparison.ranking[0]
    assert rows[0]["plan"] == best.plan
    assert float(rows[0]["distance_rms_m"]) == best.distance_rms_m.value
    assert float(rows[0]["distance_rms_low_m"]) == best.distance_rms_m.low
    assert float(rows[0]["distance_rms_high_m"]) == best.distance_rms_m.high
    assert rows[0]["difference_to_best_m"] == rows[0]["difference_to_best_high_m"] == ""
    assert rows[0]["pivot_rms_rad"] == ""
    # one course only: its figures are those over all
    assert rows[2]["distance_rms_m"] == rows[0]["distance_rms_m"]
    assert rows[0]["hits_per_100"] == ""  # the robot has no shooter


def test_hits_are_in_the_csv_with_their_interval(armed_findings: Findings, tmp_path: Path) -> None:
    write_comparison_results(armed_findings, tmp_path)
    row = table(tmp_path / "results.csv")[0]
    hits = armed_findings.comparison.ranking[0].hits
    assert float(row["hits_per_100"]) == hits.per_100.value
    assert float(row["hits_low_per_100"]) == hits.per_100.low
    assert float(row["moving_led_hits_per_100"]) == hits.moving.led_per_100


def test_both_commands_use_the_names_of_the_vocabulary(
    armed_findings: Findings, armed_replay: Replay, tmp_path: Path
) -> None:
    ranked = comparison_results(armed_findings)["ranking"][0]
    scored = {row.figure for row in armed_replay.rows}
    facts = {"place", "plan", "is_tie", "is_tie_in_hits"}
    assert set(ranked) - facts <= set(FIGURES)
    assert scored <= set(FIGURES)
    shared = {"distance_rms_m", "distance_bias_m", "no_update_share", "nees_mean", "fused_count"}
    assert shared <= set(ranked) & scored
    write_replay_results(armed_replay, tmp_path, source=Path("run"))
    assert {row["figure"] for row in table(tmp_path / "scorecard.csv")} == scored


def test_numbers_json_cannot_spell_become_null(findings: Findings, tmp_path: Path) -> None:
    comparison = findings.comparison
    first, *rest = comparison.ranking
    unknown = replace(first, position_rms_m=math.inf, distance_bound_rms_m=math.nan)
    odd = replace(comparison, ranking=(unknown, *rest))
    write_comparison_results(replace(findings, comparison=odd), tmp_path)
    assert read(tmp_path)["ranking"][0]["position_rms_m"] is None
    assert read(tmp_path)["ranking"][0]["distance_bound_rms_m"] is None
    assert table(tmp_path / "results.csv")[0]["position_rms_m"] == ""


def test_results_name_plans_and_courses(findings: Findings) -> None:
    results = comparison_results(findings)
    assert [plan["name"] for plan in results["plans"]] == ["front <b>&amp;", "three ways"]
    assert results["courses"] == [{"name": "half a round", "duration_s": 6.0, "shots": 3}]


def test_a_replay_writes_its_figures_its_estimate_and_its_shots(
    armed_replay: Replay, tmp_path: Path
) -> None:
    write_replay_results(armed_replay, tmp_path, source=Path("runs") / "first")
    results, estimate = read(tmp_path), armed_replay.estimate
    assert results["recording"] == armed_replay.stored.recording.name
    assert results["recording_folder"] == "runs/first"
    assert results["posefuse_version"]
    assert results["filter"]["measurement"] == "pose"
    assert results["filter"]["process"]["position_m_per_sqrt_m"] == 0.02
    figures = {(row["span"], row["figure"], row["dof"]): row for row in results["figures"]}
    assert len(figures) == len(results["figures"])
    rows = table(tmp_path / "scorecard.csv")
    for row in rows:
        figure = figures[row["span"], row["figure"], int(row["dof"]) if row["dof"] else None]
        assert float(row["value"]) == figure["value"]
        assert [float(row[end]) if row[end] else None for end in ("low", "high")] == [
            figure["low"],
            figure["high"],
        ]
    assert figures["course", "instant_count", None]["value"] == len(estimate.stamps_s)
    written = np.loadtxt(tmp_path / "estimate.csv", delimiter=",", skiprows=1)
    assert (written[:, 0] == estimate.stamps_s).all()
    assert (written[:, 1:4] == estimate.poses).all()
    stds = np.sqrt(np.stack([cov.diagonal() for cov in estimate.covs]))
    assert written[:, 4:] == pytest.approx(stds)


def test_each_shot_has_its_line(armed_replay: Replay, tmp_path: Path) -> None:
    write_replay_results(armed_replay, tmp_path, source=Path("run"))
    card = armed_replay.card
    rows = table(tmp_path / "shots.csv")
    columns = {
        "t_s": card.shots.stamps_s,
        "true_distance_m": card.shots.true_distance_m,
        "distance_error_m": card.shots.distance_error_m,
        "bearing_error_rad": card.shots.bearing_error_rad,
        "pivot_error_rad": card.shots.pivot_error_rad,
        "heading_error_rad": card.shots.errors[:, 2],
        "position_error_m": np.hypot(card.shots.errors[:, 0], card.shots.errors[:, 1]),
        "nees": card.shots.nees,
        "since_update_s": card.shots_since_update_s,
        "hit_probability": card.hits.shares,
        "perfect_hit_probability": card.hits.perfect_shares,
    }
    assert list(rows[0]) == ["t_s", "goal", *list(columns)[1:]]
    assert {row["goal"] for row in rows} == {"<east> & crate"}
    for name, values in columns.items():
        assert [float(row[name]) for row in rows] == values.tolist()


def test_what_a_shot_does_not_have_is_an_empty_cell(armed_replay: Replay, tmp_path: Path) -> None:
    card = armed_replay.card
    first = np.array([math.inf, *card.shots_since_update_s[1:]])
    odd = replace(
        card,
        hits=None,
        shots_since_update_s=first,
        shots=replace(card.shots, pivot_error_rad=np.full(3, math.nan)),
    )
    write_replay_results(replace(armed_replay, card=odd), tmp_path, source=Path("run"))
    rows = table(tmp_path / "shots.csv")
    assert [row["since_update_s"] == "" for row in rows] == [True, False, False]
    assert [row["pivot_error_rad"] for row in rows] == ["", "", ""]
    assert "hit_probability" not in rows[0]


def test_without_shots_there_is_no_file_of_them(tmp_path: Path) -> None:
    bare = replay(stored_drive(small_study(), goal=None, truth=None, shots=None))
    write_replay_results(bare, tmp_path, source=Path("run"))
    assert not (tmp_path / "shots.csv").exists()
    assert (tmp_path / "estimate.csv").exists()
    assert {row["span"] for row in read(tmp_path)["figures"]} == {"course", "run"}


def test_a_replay_that_estimates_the_build_writes_it(tmp_path: Path) -> None:
    """Mounts half a degree off at one sigma: each constant with its estimate, in its own unit."""
    study = small_study()
    settings = FilterSettings(build_errors=BuildErrors.ESTIMATED, believed=study.spreads)
    replayed = replay(stored_drive(study, goal=None), settings=settings)
    write_replay_results(replayed, tmp_path, source=Path("run"))
    rows, build = table(tmp_path / "build.csv"), replayed.estimate.build
    assert build is not None
    assert len(rows) == len(build.members) == 9
    estimates = {
        (one.owner, one.error.name, one.axis): value
        for one, value in zip(build.members, build.values, strict=True)
    }
    for row in rows:
        assert float(row["value"]) == estimates[row["owner"], row["error"], row["axis"]]
        assert float(row["believed_std"]) == 0.005
        assert 0.0 < float(row["std"]) <= 0.005
    assert min(float(row["std"]) for row in rows) < 0.004
    assert read(tmp_path)["filter"]["build_errors"] == "estimated"
    assert read(tmp_path)["filter"]["believed"]["values"]["mount_angle_rad"] == 0.005
