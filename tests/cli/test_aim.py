"""``posefuse aim``: tables for the robot, the page, the fit, and one line for what is wrong."""

import csv
import re
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posefuse.aim.arcs import Arc, solve
from posefuse.aim.fit import MeasuredShots, flown_points_m
from posefuse.aim.table import CAUTION
from posefuse.arena.load import load_arena
from posefuse.cli.kinds import kind_of
from posefuse.cli.lengths import Length
from posefuse.cli.main import run
from posefuse.robot.load import load_rig
from posefuse.robot.shooter import Drag

ROOT = Path(__file__).parents[2]
RIG = ROOT / "datasets" / "orchard" / "rigs" / "four_corners.toml"
ARENA = ROOT / "fieldlayouts" / "orchard_court.toml"

Call = Callable[..., tuple[int, str, str]]


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Call:
    def called(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["posefuse", "aim", *map(str, arguments)])
        with pytest.raises(SystemExit) as caught:
            run()
        captured = capsys.readouterr()
        # a run that meets no compiled kernels says so first
        told = [line for line in captured.err.splitlines() if not line.startswith("First run: ")]
        return int(caught.value.code or 0), captured.out, "\n".join(told).strip("\n ")

    return called


def read(path: Path) -> list[dict[str, str]]:
    lines = path.read_text(encoding="utf-8").splitlines()
    assert lines[0] == f"# {CAUTION}"
    return list(csv.DictReader(lines[1:]))


@pytest.fixture
def robot(tmp_path: Path) -> Path:
    """A rig without cameras whose robot file can be changed."""
    text = (ROOT / "datasets" / "orchard" / "robot.toml").read_text(encoding="utf-8")
    (tmp_path / "robot.toml").write_text(text, encoding="utf-8")
    (tmp_path / "rig.toml").write_text('name = "bare"\nrobot = "robot.toml"\n', encoding="utf-8")
    return tmp_path


def change(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_tables_and_page(call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)  # where fieldlayouts/ holds one arena
    monkeypatch.setenv("COLUMNS", "80")
    out = tmp_path / "out"
    status, output, _ = call(RIG.relative_to(ROOT), "--spacing", "50cm", "--out", out)
    assert status == 0
    assert max(len(line) for line in output.splitlines() if "Written" not in line) <= 80
    assert " ".join(output.split()).count(CAUTION) == 1
    assert "Low arc, 0.25 to 0.79 m" in output
    assert "High arc, 1.81 to 5.82 m" in output
    page = (out / "aim.html").read_text(encoding="utf-8")
    assert page.count("eye protection") == 1
    assert page.count("<img ") == 5
    assert "posefuse aim datasets/orchard/rigs/four_corners.toml --spacing 0.5m" in page
    names = {"pivots_low.csv", "pivots_high.csv", "pivots_high_most_tolerant.csv", "aim.html"}
    assert {p.name for p in out.iterdir()} == names  # the low arc, from close by, hits nothing
    goal, shooter = load_arena(ARENA).goal("north crate"), load_rig(RIG).body.shooter
    for arc in Arc:
        rows = read(out / f"pivots_{arc.name.lower()}.csv")
        distances = np.array([float(row["distance_m"]) for row in rows])
        assert np.diff(distances) == pytest.approx(0.5, abs=0.02)  # even over a short stretch
        height_m = float(goal.centre_in_world_m[2])
        found = solve(distances, shooter=shooter, height_m=height_m)
        written_deg = [float(row["pivot_deg"]) for row in rows]
        assert written_deg == pytest.approx(np.degrees(found.pivot_rad[arc]), abs=0.51e-4)
        slopes = [float(row["slope_deg_per_m"]) for row in rows]
        assert slopes == pytest.approx(np.degrees(found.slope_rad_per_m[arc]), abs=0.51e-4)


def test_inches_and_one_arc(call: Call, tmp_path: Path) -> None:
    options = ("--arena", ARENA, "--goal", "south crate", "--arc", "high", "--unit", "in")
    status, output, _ = call(RIG, *options, "--spacing", "20in", "--out", tmp_path / "out")
    assert status == 0
    assert "“south crate”, opening 14.2 by 15.7 inch" in output
    assert "Low arc" not in output
    assert not (tmp_path / "out" / "pivots_low.csv").exists()
    written = read(tmp_path / "out" / "pivots_high.csv")
    rows = re.findall(
        r"^ *(\d+\.\d) +(\d+\.\d+) +(-?\d+\.\d+) ", output.replace("−", "-"), flags=re.MULTILINE
    )
    shown = [[float(number) for number in row] for row in rows]
    assert len(shown) == len(written)
    for (distance_in, pivot_deg, slope_deg_per_in), row in zip(shown, written, strict=True):
        assert distance_in == pytest.approx(float(row["distance_m"]) / 0.0254, abs=0.051)
        assert pivot_deg == pytest.approx(float(row["pivot_deg"]), abs=0.0051)
        assert slope_deg_per_in == pytest.approx(0.0254 * float(row["slope_deg_per_m"]), abs=0.0051)


def test_the_robots_own_table_is_judged(call: Call, tmp_path: Path) -> None:
    own = tmp_path / "own.csv"
    own.write_text("distance_m,pivot_deg\n3,76\n4,74\n5,62.2\n", encoding="utf-8")
    options = ("--arena", ARENA, "--arc", "high", "--table", own, "--spacing", "1m")
    status, output, _ = call(RIG, *options, "--out", tmp_path / "out")
    assert status == 0
    lines = output.partition("own table")[2].splitlines()
    four = next(line.split() for line in lines if line.strip().startswith("4.00"))
    assert four[1:4] == ["74.00", "69.83", "+4.17"]
    assert float(four[5]) < 50.0 < float(four[6])
    page = (tmp_path / "out" / "aim.html").read_text(encoding="utf-8")
    assert "The robot's own table" in page


def test_a_written_table_is_read_again(call: Call, tmp_path: Path) -> None:
    arena = ("--arena", ARENA, "--arc", "high", "--spacing", "50cm")
    assert call(RIG, *arena, "--out", tmp_path / "one")[0] == 0
    written = tmp_path / "one" / "pivots_high.csv"
    status, output, _ = call(RIG, *arena, "--table", written, "--out", tmp_path / "two")
    assert status == 0
    rows = output.partition("own table")[2].partition("The middle")[0].splitlines()
    offs = [line.split()[3] for line in rows if re.match(r" *\d\.\d\d ", line)]
    assert offs
    assert set(offs) == {"0.00"}


def shots_file(path: Path) -> Path:
    """Shots of another exit speed and pivot zero than the file says, that scatter by 2 cm."""
    shooter = load_rig(RIG).body.shooter
    piece = replace(shooter.projectile, drag=Drag.CONSTANT, drag_coefficient=0.5)
    true = replace(shooter, exit_speed_m_per_s=8.2, projectile=piece)
    pivots = np.tile(np.radians(np.arange(20.0, 71.0, 5.0)), 2)
    count = len(pivots)
    shots = MeasuredShots(
        pivots_rad=pivots,
        distances_m=np.ones(count),
        heights_m=np.zeros(count),
        is_height_measured=np.zeros(count, dtype=np.bool_),
    )
    landed = flown_points_m(shots, shooter=true, pivot_offset_rad=np.radians(0.5))
    landed += 0.02 * np.random.default_rng(5).normal(size=count)
    rows = [f"{np.degrees(p):g},{d:.4f},0" for p, d in zip(pivots, landed, strict=True)]
    path.write_text("\n".join(["pivot_deg,distance_m,height_m", *rows, ""]), encoding="utf-8")
    return path


def test_a_fit_finds_what_threw_and_says_what_to_measure_next(call: Call, tmp_path: Path) -> None:
    shots = shots_file(tmp_path / "shots.csv")
    status, output, _ = call("fit", shots, "--rig", RIG, "--arena", ARENA, "--next", "2")
    assert status == 0
    for name, true in (("exit speed", 8.2), ("drag coefficient", 0.5), ("pivot offset", 0.5)):
        line = next(line for line in output.splitlines() if line.lstrip().startswith(name))
        value, low, high = (float(n) for n in re.findall(r"[+-]?\d+\.\d+", line))
        assert low < value < high
        assert low < true < high
    assert "exit_speed_m_per_s = 8." in output
    assert "higher than it is set" in output
    assert " ".join(output.split()).count(CAUTION) == 1
    following = output.partition("Measure next")[2]
    assert len(re.findall(r"^\s*\d\.\d\d +\d", following, flags=re.MULTILINE)) == 2


def test_the_shipped_shots_give_back_what_made_them(call: Call) -> None:
    # its first line says: 8.8 m/s, drag coefficient 0.50, pivot 0.4 degrees too high, 4 cm
    shots = ROOT / "datasets" / "orchard" / "shots.csv"
    options = ("--rig", RIG, "--arena", ARENA, "--arc", "high", "--from", "2m", "--to", "5m")
    status, output, _ = call("fit", shots, *options)
    assert status == 0
    for name, true in (("exit speed", 8.8), ("drag coefficient", 0.5), ("pivot offset", 0.4)):
        line = next(line for line in output.splitlines() if line.lstrip().startswith(name))
        _, low, high = (float(n) for n in re.findall(r"[+-]?\d+\.\d+", line))
        assert low < true < high
    following = output.partition("Measure next")[2]
    chosen = [float(n) for n in re.findall(r"^\s*(\d\.\d\d) +\d", following, flags=re.MULTILINE)]
    assert chosen
    assert all(2.0 <= distance <= 5.0 for distance in chosen)
    nearer = call("fit", shots, *options[:-1], "3m")[1].partition("Measure next")[2]
    chosen = [float(n) for n in re.findall(r"^\s*(\d\.\d\d) +\d", nearer, flags=re.MULTILINE)]
    assert chosen
    assert all(2.0 <= distance <= 3.0 for distance in chosen)
    beyond = call("fit", shots, *options[:6], "--from", "9m")
    assert beyond[0] == 2
    assert "no distance in between is within reach" in beyond[2]


def test_what_is_free_can_be_chosen(call: Call, tmp_path: Path) -> None:
    shots = shots_file(tmp_path / "shots.csv")
    options = ("--rig", RIG, "--arena", ARENA, "--free", "exit_speed")
    status, output, _ = call("fit", shots, *options)
    assert status == 0
    assert "exit speed" in output
    assert "drag coefficient" not in output


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("exit_speed_m_per_s = 8.6", "exit_speed_m_per_s = 3", "1.3 m up, on either arc at 3 m/s"),
        ("exit_speed_m_per_s = 8.6", "exit_speed_m_per_s = nan", "robot.toml:43: shooter.exit_sp"),
        ("exit_speed_m_per_s = 8.6", "exit_speed_m_per_s = 900", "less than or equal to 100 (got"),
        ("pivot_high_deg = 82", "pivot_high_deg = 50", "the pivot is fixed at 50 degrees"),
        ("pivot_high_deg = 82", "pivot_high_deg = 9", "pivot_high_deg must be 50 (pivot_low_deg)"),
        ("diameter_mm = 100", "diameter_mm = 600", "too small for the piece"),
        ("side_std_deg = 0.5", "side_std_deg = -1", "robot.toml:45: shooter.side_std_deg"),
        ("mass_kg = 0.06", "mass_g = 60", "unknown key; did you mean 'mass_kg'?"),
    ],
)
def test_a_shooter_that_cannot_is_reported_in_one_line(
    call: Call, robot: Path, old: str, new: str, message: str
) -> None:
    change(robot / "robot.toml", old, new)
    status, _, error = call(robot / "rig.toml", "--arena", ARENA, "--out", robot / "out")
    assert status == 2
    assert message in error
    assert len(error.splitlines()) == 1
    assert not (robot / "out").exists()


def test_a_robot_without_a_shooter_is_reported(call: Call, robot: Path) -> None:
    text = (robot / "robot.toml").read_text(encoding="utf-8")
    (robot / "robot.toml").write_text(text.partition("[shooter]")[0], encoding="utf-8")
    status, _, error = call(robot / "rig.toml", "--arena", ARENA)
    assert (status, error) == (
        2,
        f"{robot / 'rig.toml'}: no shooter: neither it nor its robot file has a [shooter]",
    )


def test_a_rig_may_have_a_shooter_of_its_own(call: Call, robot: Path) -> None:
    text = (robot / "robot.toml").read_text(encoding="utf-8")
    bare, name, own = text.partition("[shooter]")
    (robot / "robot.toml").write_text(bare, encoding="utf-8")
    rig = robot / "rig.toml"
    rig.write_text(rig.read_text(encoding="utf-8") + name + own, encoding="utf-8")
    assert kind_of(rig) == "rig"
    options = ("--arena", ARENA, "--arc", "low", "--spacing", "1m")
    status, output, _ = call(rig, *options, "--out", robot / "own")
    assert status == 0
    (robot / "robot.toml").write_text(
        text.replace("exit_speed_m_per_s = 8.6", "exit_speed_m_per_s = 7"), encoding="utf-8"
    )
    again = call(rig, *options, "--out", robot / "again")[1]
    assert again.partition("Written")[0] == output.partition("Written")[0]  # its own goes first


def test_an_arc_that_reaches_nothing_is_named(call: Call, robot: Path) -> None:
    change(robot / "robot.toml", "pivot_low_deg = 50", "pivot_low_deg = 15")
    change(robot / "robot.toml", "pivot_high_deg = 82", "pivot_high_deg = 40")
    status, _, error = call(robot / "rig.toml", "--arena", ARENA, "--arc", "high")
    assert status == 2
    assert "no pivot between 15 and 40 degrees" in error
    assert "on the high arc at 8.6 m/s" in error


BINARY = bytes(range(256))


@pytest.mark.parametrize(
    ("content", "message"),
    [(b"", "the file is empty"), (BINARY, "expected text in UTF-8, got a binary file")],
    ids=["empty", "binary"],
)
@pytest.mark.parametrize("place", ["rig", "arena", "table", "shots"])
def test_empty_and_binary_files_are_reported_in_one_line(
    call: Call, tmp_path: Path, place: str, content: bytes, message: str
) -> None:
    bad = tmp_path / "bad.txt"
    bad.write_bytes(content)
    words = {
        "rig": (bad, "--arena", ARENA),
        "arena": (RIG, "--arena", bad),
        "table": (RIG, "--arena", ARENA, "--arc", "low", "--table", bad),
        "shots": ("fit", bad, "--rig", RIG, "--arena", ARENA),
    }
    assert call(*words[place]) == (2, "", f"{bad}: {message}")


def test_files_of_another_kind_are_reported_in_one_line(call: Call, robot: Path) -> None:
    kinds = {RIG: "a rig", ARENA: "an arena", robot / "robot.toml": "a robot"}
    for path, kind in kinds.items():
        if kind != "a rig":
            message = f"{path}: expected a rig file, got {kind} file"
            assert call(path, "--arena", ARENA) == (2, "", message)
        if kind != "an arena":
            message = f"{path}: expected an arena file, got {kind} file"
            assert call(RIG, "--arena", path) == (2, "", message)


@pytest.mark.parametrize("goal", ["east", ""])
def test_an_unknown_goal_is_reported_in_one_line(call: Call, goal: str) -> None:
    message = f"no goal is named {goal!r} (the arena has: north crate, south crate)"
    assert call(RIG, "--arena", ARENA, "--goal", goal) == (2, "", f"{ARENA}: goal: {message}")


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("distance_m,pivot_deg\n2,36\n3,32\n3,32\n", "the distance 3 m appears twice"),
        ("distance_m,pivot_deg\n3,36\n2,32\n", "distances must rise (got 2 m after 3 m)"),
        ("distance_m,pivot_deg\n3,36\n", "needs 2 distances or more (got 1)"),
        ("distance_m\n3\n", "1: missing column: pivot_deg"),
        ("# a remark\ndistance_m,pivot\n3,1\n", "2: unknown column 'pivot'; did you mean"),
        ("distance_m,pivot_deg\n2,36\nnan,32\n", "3: distance_m: must be a finite number"),
        ("# a remark\ndistance_m,pivot_deg\n3,x\n", "3: pivot_deg: must be a finite number"),
        (
            "distance_m,pivot_deg\n3,76\n9,74\n",
            "with a pivot of 74 degrees the piece does not come",
        ),
        (
            "distance_m,pivot_deg\n3,76\n4,300\n",
            "pivot_deg: must be within the shooter's 50 to 82 degrees (got 300 at 4 m)",
        ),
    ],
)
def test_a_faulty_table_is_reported_in_one_line(
    call: Call, tmp_path: Path, rows: str, message: str
) -> None:
    own = tmp_path / "own.csv"
    own.write_text(rows, encoding="utf-8")
    status, _, error = call(RIG, "--arena", ARENA, "--arc", "low", "--table", own)
    assert status == 2
    assert error.splitlines()[0].startswith(f"{own}:")
    assert message in error.splitlines()[0]


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("pivot_deg,distance_m\n30,2\n", "1: missing column: height_m"),
        ("pivot_deg,distance_m,height_m\n30,2,0\n", "fit: 4 shots or more are needed"),
        ("pivot_deg,distance_m,height_m\n", "holds no shot: only the names of the columns"),
        ("pivot_deg,distance_m,height_m\n30,nan,0\n", "2: distance_m: must be a finite number"),
        ("pivot_deg,distance_m,height_m\n95,2,0\n", "pivots must be between 0 and 90 degrees (g"),
        (  # centimetres taken for metres
            "pivot_deg,distance_m,height_m\n30,500,0\n40,600,0\n50,510,0\n60,500,0\n35,550,0\n",
            "fit: no plausible exit_speed fits these shots (the search ended at 99 m/s)",
        ),
        ("pivot_deg,distance_m,height_m\n30,-2,0\n", "distances must be above 0 (got -2 m)"),
        (
            "pivot_deg,distance_m,height_m,measured\n30,2,0,depth\n",
            "measured: must be distance or height (got 'depth')",
        ),
    ],
)
def test_faulty_shots_are_reported_in_one_line(
    call: Call, tmp_path: Path, rows: str, message: str
) -> None:
    shots = tmp_path / "shots.csv"
    shots.write_text(rows, encoding="utf-8")
    status, _, error = call("fit", shots, "--rig", RIG, "--arena", ARENA)
    assert status == 2
    assert message in error
    assert len(error.splitlines()) == 1


def test_goals_and_arenas_are_asked_for(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert call(RIG)[1:] == (
        "",
        "--arena FILE: name the arena with the goal (found: none in fieldlayouts/)",
    )
    court = tmp_path / "court.toml"
    court.write_text(
        ARENA.read_text(encoding="utf-8").replace("height_cm = 40", "height_cm = 45", 1),
        encoding="utf-8",
    )
    assert "its goals differ: choose one by --goal NAME" in call(RIG, "--arena", court)[2]
    assert "no goal is named 'east'" in call(RIG, "--arena", court, "--goal", "east")[2]


def test_a_table_needs_its_arc(call: Call) -> None:
    status, _, error = call(RIG, "--arena", ARENA, "--table", "own.csv")
    assert status == 2
    assert "--arc low or --arc high" in error


@pytest.mark.parametrize("word", ["25", "cm", "-1m", "2ft", "1e3m"])
def test_a_length_needs_its_unit(call: Call, word: str) -> None:
    status, _, error = call(RIG, "--arena", ARENA, f"--spacing={word}")
    assert status == 2
    assert "expected a number with its unit (m, cm, mm, in), such as 25cm" in error
    assert Length().convert("10in", None, None) == pytest.approx(0.254)
