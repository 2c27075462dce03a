"""Files that name other files."""

from pathlib import Path

import pytest

from posefuse.errors import InputError
from posefuse.files.references import referenced


def test_seen_from_the_naming_file(tmp_path: Path) -> None:
    (tmp_path / "rigs").mkdir()
    robot = tmp_path / "robot.toml"
    robot.write_text("", encoding="utf-8")
    assert referenced(tmp_path / "rigs" / "a.toml", "../robot.toml").samefile(robot)


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("robto.toml", r"no such file \(got 'robto.toml'\); did you mean 'robot.toml'\?"),
        ("zzz/x.toml", r"no such file \(got 'zzz/x.toml'\); looked for '.*x\.toml'"),
        (".", r"expected a file, got the folder '\.'"),
    ],
)
def test_missing(tmp_path: Path, name: str, message: str) -> None:
    (tmp_path / "robot.toml").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match=message):
        referenced(tmp_path / "a.toml", name)
