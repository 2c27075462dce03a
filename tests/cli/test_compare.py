"""``posefuse compare`` on the demo: its table, its files, and that workers decide nothing."""

import json
from dataclasses import asdict
from pathlib import Path

import pytest

import posefuse as pf
from posefuse.cli.main import cli
from posefuse.errors import FileError, InputError

ROOT = Path(__file__).parents[2]
STUDY = ROOT / "datasets" / "orchard" / "study.toml"


def _run(*arguments: str | Path) -> None:
    assert cli.main([str(a) for a in arguments], standalone_mode=False) in (None, 0)


@pytest.fixture(scope="module")
def study() -> pf.Study:
    return pf.load_study(STUDY)


def test_the_demo_holds_what_it_promises(study: pf.Study) -> None:
    assert len(study.plans) == 6
    assert [course.name for course in study.courses] == ["easy", "fast spins", "bumps"]
    for course in study.courses:
        assert course.path.end_s - course.path.start_s == pytest.approx(120.0)
        assert len(course.shots) >= 12
    assert len({tuple(m.tilt_rad for m in plan.rig.mounts) for plan in study.plans}) > 2


def test_the_command_writes_table_results_and_report(
    tmp_path: Path, capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    out = tmp_path / "out"
    _run("compare", STUDY, "--trials", "2", "--seed", "5", "--out", out)
    shown = capsys.readouterr().out
    assert {p.name for p in out.iterdir()} == {"results.json", "results.csv", "report.html"}
    assert "four corners" in shown
    assert max(len(line) for line in shown.splitlines() if "Written" not in line) <= 80
    assert "hits per 100" in shown
    assert "a perfect estimate would score" in " ".join(shown.split())
    assert "NEES" in shown
    assert "…" not in shown
    assert "only 2 trials" in shown
    words = " ".join(shown.split())
    assert words.index("only 2 trials") < words.index("Choose “") < words.index("Why: ")
    for label in ("Fewer cameras: ", "Fix first: ", "Its filter: "):
        assert label in words
    results = json.loads((out / "results.json").read_text(encoding="utf-8"))
    assert "5" in json.dumps(results)
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "http://" not in page.replace("http://www.w3.org", "")


def test_the_result_does_not_depend_on_the_workers(study: pf.Study) -> None:
    one, three = (pf.compare(study, trials=2, workers=w) for w in (1, 3))
    for left, right in zip(one.plan_trials, three.plan_trials, strict=True):
        for a, b in zip(left.cards, right.cards, strict=True):
            assert a.at_shots == b.at_shots
            assert a.outcomes == b.outcomes
    for a, b in zip(one.ranking, three.ranking, strict=True):
        assert asdict(a) == asdict(b)


def test_fewer_trials_are_the_first_of_more(study: pf.Study) -> None:
    few, more = (pf.compare(study, trials=n) for n in (1, 2))
    for left, right in zip(few.plan_trials, more.plan_trials, strict=True):
        assert left.cards[0].at_shots == right.cards[0].at_shots


def test_a_plan_that_sees_nothing_is_named(tmp_path: Path, capsys) -> None:
    for name in ("robot.toml", "filter.toml", "cameras/wide_mono_law.toml", "courses/easy.toml"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes((STUDY.parent / name).read_bytes())
    (tmp_path / "down.toml").write_text(
        'name = "down"\nrobot = "robot.toml"\n[[mount]]\nname = "down"\n'
        'camera = "cameras/wide_mono_law.toml"\nposition_m = [0.3, 0.0, 0.6]\n'
        "pan_deg = 0\ntilt_deg = -89\n",
        encoding="utf-8",
    )
    arena = (ROOT / "fieldlayouts" / "orchard_court.toml").read_bytes()
    (tmp_path / "court.toml").write_bytes(arena)
    (tmp_path / "study.toml").write_text(
        'name = "floor"\narena = "court.toml"\ngoal = "north crate"\n'
        'courses = ["courses/easy.toml"]\nfilter = "filter.toml"\ntrials = 2\nseed = 1\n'
        "[start]\nposition_std_m = 0.03\nheading_std_deg = 1\n"
        '[[plan]]\nname = "looks down"\nrig = "down.toml"\n',
        encoding="utf-8",
    )
    _run("compare", tmp_path / "study.toml", "--out", tmp_path / "out")
    shown = " ".join(capsys.readouterr().out.split())
    assert "plan 'looks down' never sees a tag on course 'easy'" in shown


@pytest.mark.parametrize(
    ("line", "shown"),
    [
        ("trials = 0", "trials"),
        ('goal = "east crate"', "goal: no goal is named 'east crate'"),
        ('arena = "court.tml"', "no such file"),
        ("speed = 3", "unknown key"),
        ("trials = nan", "trials"),
    ],
)
def test_a_faulty_study_is_refused_by_line(tmp_path: Path, line: str, shown: str) -> None:
    key = line.split(" = ")[0]
    text = STUDY.read_text(encoding="utf-8").replace('"../../', f'"{ROOT.as_posix()}/')
    for name in ("courses/", "rigs/", "filter.toml"):
        text = text.replace(f'"{name}', f'"{STUDY.parent.as_posix()}/{name}')
    lines = [row for row in text.splitlines() if not row.startswith(f"{key} =")]
    path = tmp_path / "study.toml"
    path.write_text("\n".join([line, *lines]), encoding="utf-8")
    with pytest.raises(FileError) as caught:
        pf.load_study(path)
    assert str(caught.value).startswith(f"{path}:1: ")
    assert shown in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


def test_a_course_through_a_post_is_refused(tmp_path: Path) -> None:
    study_folder = STUDY.parent
    course = (study_folder / "courses" / "easy.toml").read_text(encoding="utf-8")
    head, _, _ = course.partition("[[waypoint]]")
    arena = pf.load_arena(ROOT / "fieldlayouts" / "orchard_court.toml")
    post = next(o for o in arena.obstacles if "post" in o.name)
    x, y = post.centre_in_world_m[:2]
    (tmp_path / "course.toml").write_text(
        f"{head}[[waypoint]]\nposition_m = [{x - 2}, {y}]\nheading_deg = 0\n"
        f"[[waypoint]]\nposition_m = [{x + 2}, {y}]\nheading_deg = 0\n",
        encoding="utf-8",
    )
    text = STUDY.read_text(encoding="utf-8").replace('"../../', f'"{ROOT.as_posix()}/')
    for name in ("rigs/", "filter.toml"):
        text = text.replace(f'"{name}', f'"{study_folder.as_posix()}/{name}')
    rows = [
        r if not r.startswith("courses") else 'courses = ["course.toml"]' for r in text.splitlines()
    ]
    (tmp_path / "study.toml").write_text("\n".join(rows), encoding="utf-8")
    with pytest.raises(FileError, match=f"courses.1: .*{post.name}"):
        pf.load_study(tmp_path / "study.toml")


def test_bad_numbers_in_code_are_refused() -> None:
    study = pf.load_study(STUDY)
    for name, value in (("trials", 0), ("seed", -1), ("workers", 0)):
        with pytest.raises(InputError, match=f"{name}: must be"):
            pf.compare(study, **{name: value})
