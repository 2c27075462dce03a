"""Result folders appear whole or not at all."""

from pathlib import Path

import pytest

from posefuse.errors import FileError
from posefuse.files.result_folder import new_folder


def tree(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def test_appears_when_the_block_ends_well(tmp_path: Path) -> None:
    out = tmp_path / "results" / "first"
    with new_folder(out) as folder:
        (folder / "a.txt").write_text("a", encoding="utf-8")
        assert not out.exists()
        assert folder.parent == out.parent
    assert tree(tmp_path) == [
        "results",
        str(Path("results/first")),
        str(Path("results/first/a.txt")),
    ]


def test_nothing_is_left_of_a_failure(tmp_path: Path) -> None:
    out = tmp_path / "deep" / "er" / "out"
    with pytest.raises(KeyboardInterrupt), new_folder(out) as folder:  # noqa: PT012
        (folder / "a.txt").write_text("a", encoding="utf-8")
        raise KeyboardInterrupt
    assert tree(tmp_path) == []


def test_a_filled_folder_is_refused_and_untouched(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(FileError, match="the folder is not empty: name a new one"), new_folder(out):
        pytest.fail("entered")
    assert tree(tmp_path) == ["out", str(Path("out/mine.txt"))]


def test_a_file_of_that_name_is_refused(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.write_text("mine", encoding="utf-8")
    with pytest.raises(FileError, match="a file of that name exists"), new_folder(out):
        pytest.fail("entered")
    assert out.read_text(encoding="utf-8") == "mine"


def test_a_file_in_the_way_of_the_parents(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with (
        pytest.raises(FileError, match="the folder cannot be created"),
        new_folder(tmp_path / "file" / "out"),
    ):
        pytest.fail("entered")


def test_an_empty_folder_is_filled(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    with new_folder(out) as folder:
        (folder / "a.txt").write_text("a", encoding="utf-8")
    assert tree(tmp_path) == ["out", str(Path("out/a.txt"))]


def test_filled_meanwhile_by_another(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with (  # noqa: PT012
        pytest.raises(
            FileError, match="the folder is not empty: name a new one; the results are kept"
        ),
        new_folder(out) as folder,
    ):
        (folder / "a.txt").write_text("a", encoding="utf-8")
        out.mkdir()
        (out / "theirs.txt").write_text("theirs", encoding="utf-8")
    assert (out / "theirs.txt").read_text(encoding="utf-8") == "theirs"
    assert (folder / "a.txt").read_text(encoding="utf-8") == "a"


def test_a_bare_name_goes_into_the_working_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with new_folder(Path("out")):
        pass
    assert tree(tmp_path) == ["out"]


def test_the_working_folder_itself_when_it_is_empty(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "out").mkdir()
    monkeypatch.chdir(tmp_path / "out")
    with new_folder(Path()) as folder:
        (folder / "a.txt").write_text("a", encoding="utf-8")
    assert tree(tmp_path) == ["out", str(Path("out/a.txt"))]
