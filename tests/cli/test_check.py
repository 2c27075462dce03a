"""``posefuse check``: knows what a file is, says what it holds, tells every fault."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from posefuse.cli.kinds import kind_of, refuse_other_kinds
from posefuse.cli.main import cli
from posefuse.errors import FileError

ROOT = Path(__file__).parents[2]
ARENA = ROOT / "fieldlayouts" / "orchard_court.toml"
ORCHARD = ROOT / "datasets" / "orchard"
BOARDS = ROOT / "datasets" / "boards"
FILES = sorted([ARENA, *ORCHARD.glob("*.toml"), *ORCHARD.glob("*/*.toml"), *BOARDS.glob("*.toml")])

KINDS = {
    "fieldlayouts": "arena",
    "cameras": "camera",
    "detector": "response",
    "rigs": "rig",
    "boards": "board",
    "courses": "course",
    "robot.toml": "robot",
    "filter.toml": "filter",
    "filter_considered.toml": "filter",
    "filter_estimated.toml": "filter",
    "filter_subpixel.toml": "filter",
    "filters.toml": "study",
    "study.toml": "study",
    "images.toml": "study",
    "refinements.toml": "study",
}


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_shipped_file_is_known_and_sound(path: Path) -> None:
    assert kind_of(path) == KINDS.get(path.name) or kind_of(path) == KINDS[path.parent.name]
    done = CliRunner().invoke(cli, ["check", str(path)])
    assert done.exception is None, done.stderr
    assert done.stdout.startswith(f"{path}: ")
    assert done.stdout.count("\n") <= 12


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ('name = "a"\nlength_m = 1\nwidth_m = 1\n[[beacon]]\nid = 1\n', "arena"),
        ("width_px = 3\nwidth_m = 4\n", "camera"),
        ("tag_edge_in = 6\n", "arena"),
        ('robot = "r.toml"\n', "rig"),
        ("[[waypoint]]\n[[shot]]\n", "course"),
        ('measurement = "pose"\n', "filter"),
        ('arena = "a"\nfilter = "b"\n[[plan]]\n', "study"),
        ("[drivetrain]\n[[box]]\nlength_m = 1\n", "robot"),
    ],
)
def test_kinds_are_known_by_keys(tmp_path: Path, text: str, kind: str) -> None:
    path = tmp_path / "a.toml"
    path.write_text(text, encoding="utf-8")
    assert kind_of(path) == kind


def test_what_is_of_no_known_kind(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text("zzz = 1\nqqq = 2\n", encoding="utf-8")
    with pytest.raises(FileError, match=r"of no known kind; .*\(got zzz, qqq\)"):
        kind_of(path)
    with pytest.raises(FileError, match=r"holds no recording\.toml"):
        kind_of(tmp_path)
    with pytest.raises(FileError, match="a table: name the folder of the recording"):
        kind_of(tmp_path / "odometry.csv")


def test_a_recipe_whose_table_is_gone(tmp_path: Path) -> None:
    recipe = tmp_path / "wide.toml"
    shipped = ORCHARD / "detector" / "wide_mono.toml"
    recipe.write_text(shipped.read_text(encoding="utf-8"), encoding="utf-8")
    done = CliRunner().invoke(cli, ["check", str(recipe)])
    assert done.exit_code == 2
    assert str(tmp_path / "wide.csv") in done.stderr
    assert done.stderr.count("\n") == 1


def test_what_a_response_and_its_camera_hold() -> None:
    files = [ORCHARD / "detector/wide_mono_edges.toml", ORCHARD / "cameras/wide_mono_edges.toml"]
    done = CliRunner().invoke(cli, ["check", *map(str, files)])
    assert "refinement of corners: edges\n" in done.stdout
    assert "463 of 202893 tags found are left out: no line fits one of their sides" in done.stdout
    assert "detector measured on tags of 10 to 90 px, refinement edges, seen up to" in done.stdout
    rival = CliRunner().invoke(cli, ["check", str(ORCHARD / "detector/wide_mono.toml")]).stdout
    assert "refinement of corners: subpixel" in rival
    assert "left out" not in rival


def test_a_recording_is_known_by_its_folder_or_its_file(tmp_path: Path) -> None:
    path = tmp_path / "recording.toml"
    path.write_text('name = "a"\n', encoding="utf-8")
    assert kind_of(tmp_path) == kind_of(path) == "recording"


def test_the_others_are_still_checked_when_one_is_faulty(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(
        ARENA.read_text(encoding="utf-8").replace("length_m = 13.2", "length_m = -1\nheigth = 3"),
        encoding="utf-8",
    )
    done = CliRunner().invoke(cli, ["check", str(bad), str(tmp_path / "no.toml"), str(ARENA)])
    assert done.exit_code == 2
    line = bad.read_text(encoding="utf-8").split("\n").index("length_m = -1") + 1
    assert done.stderr.split("\n")[:3] == [
        f"{bad}:{line}: length_m: must be greater than 0 (got -1)",
        f"{bad}:{line + 1}: heigth: unknown key; allowed: name, length_m, width_m, tag_family, "
        "tag_edge_m, tag, goal, obstacle, beacon (got heigth = 3)",
        f"{tmp_path / 'no.toml'}: no such file",
    ]
    assert done.stdout.startswith(f"{ARENA}: arena 'Orchard court', 13.2 x 6.6 m\n")


def test_what_a_arena_and_a_rig_hold() -> None:
    done = CliRunner().invoke(cli, ["check", str(ARENA), str(ORCHARD / "rigs/four_corners.toml")])
    assert "12 tags of 36h11, edge 150 mm (ids 0, 1, 2, " in done.stdout
    assert (
        "goal 'north crate': opening 0.36 x 0.4 m, its middle at (12.7, 3.3, 1.3) m, facing 180, "
        "tilt 40 deg\n" in done.stdout
    )
    assert (
        "mount 'rear left': 'wide mono, edges' at (-0.32, 0.32, 0.5) m, pan 135, tilt 15 deg"
        in (done.stdout)
    )


def test_what_goes_wrong_in_a_camera_is_told_where_it_does(tmp_path: Path) -> None:
    law = (ORCHARD / "cameras" / "wide_mono_law.toml").read_text(encoding="utf-8")
    plain, faulty = tmp_path / "plain.toml", tmp_path / "faulty.toml"
    plain.write_text(law, encoding="utf-8")
    for before, after in (
        ("outages_per_minute = 0 ", "outages_per_minute = 0.5 "),
        ("false_id_rate = 0.0 ", "false_id_rate = 0.002 "),
        ("wrong_corners_rate = 0.0 ", "wrong_corners_rate = 0.01 "),
    ):
        assert before in law
        law = law.replace(before, after)
    faulty.write_text(law, encoding="utf-8")
    told = [CliRunner().invoke(cli, ["check", str(path)]).stdout for path in (plain, faulty)]
    assert "outages" not in told[0]
    assert (
        "0.5 outages a minute of 1 s on average, 0.2% of the tags read with another id,"
        " 1.0% of them with corners 20 px off" in told[1]
    )


def test_a_command_refuses_another_kind_in_one_line() -> None:
    arena = ROOT / "fieldlayouts" / "orchard_court.toml"
    with pytest.raises(FileError, match="expected a study file, got an arena file"):
        refuse_other_kinds(arena, "study")


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("filter.toml", "errors of the build: ignored"),
        (
            "filter_considered.toml",
            "errors of the build: considered\n  believed spreads: mount angle ±0.7°, "
            "mount position ±5 mm, "
            "focal length ±0.3 %, clock offset ±3 ms, tag position ±20 mm, tag heading ±1.5°, "
            "tag lean ±1.5°, chassis lean ±0.2°, wheel radius ±0.5 %",
        ),
    ],
)
def test_a_filter_tells_what_it_knows_of_the_build(name: str, line: str) -> None:
    done = CliRunner().invoke(cli, ["check", str(ORCHARD / name)])
    assert done.exception is None, done.stderr
    assert f"  {line}\n" in done.stdout
