"""The README keeps its word: its study runs, its Python runs, its commands are the real ones."""

import re
from pathlib import Path

import pytest

from posefuse.cli.main import cli

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)


def _run(*arguments: str) -> None:
    assert cli.main(list(arguments), standalone_mode=False) in (None, 0)


def test_the_study_from_nothing_runs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for block in _blocks("toml"):
        name = re.match(r"# (\w+\.toml)\n", block)[1]
        (tmp_path / name).write_text(block, encoding="utf-8")
    _run("check", *(str(path) for path in sorted(tmp_path.glob("*.toml"))))
    _run("compare", str(tmp_path / "study.toml"), "--trials", "2", "--out", str(tmp_path / "out"))
    told = capsys.readouterr().out
    assert "front and left" in told
    assert (tmp_path / "out" / "report.html").stat().st_size > 10_000


def test_the_python_runs(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(ROOT)
    (block,) = _blocks("python")
    assert len(block.strip().splitlines()) <= 11
    exec(compile(block, "README.md", "exec"), {})
    assert re.search(r"\d\.\d\d cm RMS over \d+ shots", capsys.readouterr().out)


def test_the_commands_name_files_that_exist() -> None:
    named = set(re.findall(r"(?:datasets|fieldlayouts|tests)/[\w/.]+", README))
    assert named
    assert [name for name in sorted(named) if not (ROOT / name.rstrip(".")).exists()] == []
